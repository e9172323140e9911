"""Rows that decimal commas have split, and how to put them together again.

``84,2`` in a comma-separated file is two cells.  What was meant is plain only where there is
one single way to join the cells so that every number stands in a column of numbers.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

_HEAD_OF_NUMBER = re.compile(r"[<>]? *[+\-\u2212]?\d+|.*\.\.\d+")
_TAIL = re.compile(r"\d{1,3}( ?[A-Za-z°%]{1,3})?")
_SPLIT_NUMBER = re.compile(r"[<>]? *[+\-\u2212]?\d+,\d+(\.\.\d+(,\d+)?)?( *[^\d,]+.*)?")


def width_of(cells: Sequence[str]) -> int:
    """Count the cells up to the last that has anything in it."""
    return max((place for place, cell in enumerate(cells, 1) if cell), default=0)


@dataclass(frozen=True, slots=True)
class NumberColumns:
    """Which columns hold numbers, and after which of them bare digits cannot be meant."""

    numeric: tuple[bool, ...]
    alone: tuple[bool, ...]

    def tails(self, record: Sequence[str]) -> bool:
        """Tell whether some number seems to go on in the next cell."""
        return any(
            alone and _HEAD_OF_NUMBER.fullmatch(number) and _TAIL.fullmatch(after)
            for alone, number, after in zip(self.alone, record, record[1:], strict=False)
        )


def fitted(
    record: tuple[str, ...], numbers: NumberColumns, delimiter: str, *, mend: bool
) -> tuple[str, ...] | None:
    """Return the record as long as the header, or None where it cannot be.

    Short rows are filled up (spreadsheets leave out what is empty at the end).  In a
    comma-separated file a number followed by bare digits is a decimal comma, even where the
    number of columns happens to be right.
    """
    width = len(numbers.numeric)
    too_wide = width_of(record) > width
    if delimiter == ",":
        # Every cell beyond the header is one comma too many, blank cells at the end included.
        joined = _joined(record, numbers, exact=True) if len(record) > width else []
        if joined or too_wide or numbers.tails(record):
            joined = joined or _joined(record[: width_of(record)], numbers, exact=False)
            return joined[0] if mend and len(joined) == 1 else None
    if too_wide:
        return None
    return (*record, *[""] * (width - len(record)))[:width]


def _joined(cells: Sequence[str], numbers: NumberColumns, *, exact: bool) -> list[tuple[str, ...]]:
    """Join numbers that decimal commas split; two ways are enough to know it is not plain.

    Parameters
    ----------
    exact
        True when the cells must fill the header's columns to the last.
    """
    width = len(numbers.numeric)
    found: list[tuple[str, ...]] = []

    def walk(at: int, done: tuple[str, ...]) -> None:
        if at == len(cells):
            row = (*done, *[""] * (width - len(done)))
            if not numbers.tails(row) and (len(done) == width or not exact):
                found.append(row)
        elif len(done) < width and len(found) < 2:
            if numbers.numeric[len(done)]:
                for size in (2, 3):
                    joined = ",".join(cells[at : at + size])
                    if at + size <= len(cells) and _SPLIT_NUMBER.fullmatch(joined):
                        walk(at + size, (*done, joined))
            walk(at + 1, (*done, cells[at]))

    walk(0, ())
    return found
