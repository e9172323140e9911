"""A second entry of the same sheet, compared cell by cell with the first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from weldtrial.shared.overlay import same_text
from weldtrial.shared.reading_sheet import Sheet
from weldtrial.shared.readings import same_reading
from weldtrial.shared.record import Reading


@dataclass(frozen=True, slots=True)
class Difference:
    """One cell that two entries do not agree on; empty where one of them has nothing."""

    stamp: str
    column: str
    here: str
    second: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two entries compared.

    Attributes
    ----------
    agree
        Readings that both have, saying the same.
    """

    agree: int
    differences: tuple[Difference, ...]


def compare(first: Sheet, second: Sheet) -> Comparison:
    """Compare two entries of one sheet, both ways: neither is taken for the right one."""
    agree = 0
    differences: list[Difference] = []
    for stamp in dict.fromkeys([*first.readings, *second.readings]):
        here = list(first.readings.get(stamp, ()))
        there = list(second.readings.get(stamp, ()))
        for one in list(here):
            match = next((other for other in there if _say_the_same(one, other)), None)
            if match is None:
                continue
            here.remove(one)
            there.remove(match)
            agree += 1
            differences += _beside(stamp, one, match)
        differences += _unmatched(stamp, here, there)
    return Comparison(agree, tuple(differences))


def _say_the_same(one: Reading, other: Reading) -> bool:
    if one.failed_at and other.failed_at and one.failed_at != other.failed_at:
        return same_text(one.text, other.text)
    return same_reading(one, other) or same_text(one.text, other.text)


def _beside(stamp: str, one: Reading, other: Reading) -> list[Difference]:
    """Compare what stands beside a reading, where both entries have it."""
    pairs = (("failed_at", one.failed_at, other.failed_at), ("note", one.note, other.note))
    return [
        Difference(stamp, column, here, there)
        for column, here, there in pairs
        if here and there and not same_text(here, there)
    ]


def _unmatched(stamp: str, here: Sequence[Reading], there: Sequence[Reading]) -> list[Difference]:
    found = []
    for place in range(max(len(here), len(there))):
        one = here[place].text if place < len(here) else ""
        other = there[place].text if place < len(there) else ""
        found.append(Difference(stamp, "reading", one, other))
    return found
