"""A factor while it is being read, and what reading categories and numbers shares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from weldtrial.shared.problems import nearest
from weldtrial.shared.schema import SECTION
from weldtrial.shared.trialfile.faults import Faults, as_number, as_written, shortened
from weldtrial.shared.trialfile.values import plain_number

Plain = dict[str, Any]
Settings = dict[str, tuple[float, ...]]

_MOST_LEVELS = 50


@dataclass(frozen=True, slots=True)
class Draft:
    """A factor being read.

    Attributes
    ----------
    raw
        Its good values, as the schema checked them.
    path
        Where it stands: ``factor.1``.
    owners, numeric
        Level names of every category, and the names of all numeric factors.
    all_named
        Whether every factor has a good name: only then is an unknown name a fault by itself.
    system
        ``metric`` or ``us``, for suggestions.
    """

    raw: Plain
    path: str
    owners: dict[str, tuple[str, ...]]
    numeric: frozenset[str]
    all_named: bool
    system: str
    faults: Faults

    @property
    def name(self) -> str:
        """Its name, or a question mark."""
        return str(self.raw.get("name", "?"))

    def wrong(self, key: str, words: str, value: object = None) -> None:
        """Report something that has to be mended in setting `key`."""
        self.faults.wrong(f"{self.path}.{key}", words, value)


def list_of_levels(draft: Draft) -> list[Any] | None:
    """Return the entries of ``levels`` as they stand, or None when there is no list to read."""
    if "levels" not in draft.raw:
        draft.faults.wrong(
            draft.path,
            f"factor '{draft.name}' has no levels. Add  levels = [...]  or, for a range of "
            "numbers,  low_high = [..., ...].",
        )
        return None
    levels = draft.raw["levels"]
    if not isinstance(levels, list) or not levels:
        draft.wrong(
            "levels",
            f"levels of factor '{draft.name}' must be a list with at least two entries; it says "
            f"{as_written(levels)}.",
            levels,
        )
        return None
    if len(levels) > _MOST_LEVELS:
        draft.wrong("levels", f"factor '{draft.name}' has over {_MOST_LEVELS} levels. Use fewer.")
        return None
    return levels


def one_level(draft: Draft) -> None:
    """Report that a factor has a single level."""
    draft.wrong(
        "levels",
        f"Factor '{draft.name}' has one level, so there is nothing to compare. Add a second, or "
        "move it to [[held]].",
    )


def common(draft: Draft) -> Plain:
    """Return the settings that every factor may have."""
    if draft.raw.get("one_setup") and not draft.raw.get("hard_to_change"):
        draft.faults.warn(
            f"{draft.path}.one_setup",
            f"factor '{draft.name}' says what a fresh set-up needs, but is not hard_to_change. "
            "Add  hard_to_change = true, or take one_setup out.",
        )
    texts = {
        key: draft.raw.get(key, "") for key in ("label", "one_setup", "hold_by", "measured_by")
    }
    return {**texts, "hard_to_change": draft.raw.get("hard_to_change", False)}


def row_known(draft: Draft, table: str, level: str, levels: Sequence[str]) -> bool:
    """Tell whether a line of ``at``, ``about`` or ``low_high`` is for a level there is."""
    if level in levels:
        return True
    if len(levels) < 2:
        return False
    close = nearest(level, levels)
    if SECTION["factor"].key(level) is not None:
        hint = f"It is a setting of the factor: move it above [factor.{table}]."
    elif close:
        hint = f"Did you mean '{close}'?"
    else:
        hint = f"The levels are {', '.join(levels)}."
    draft.wrong(
        f"{table}.{level}",
        f"'{shortened(level)}' in {table} of factor '{draft.name}' is not a level. {hint}",
    )
    return False


def pair_of(draft: Draft, key: str, where: str, value: Any) -> tuple[float, ...] | None:
    """Return two numbers, the lower first, or None when they are not."""
    if not isinstance(value, list) or len(value) != 2:
        draft.wrong(
            key,
            f"{where} must be two numbers, such as [30, 50]; it says {as_written(value)}.",
            value,
        )
        return None
    return numbers_of(draft, key, where, value)


def numbers_of(draft: Draft, key: str, where: str, values: list[Any]) -> tuple[float, ...] | None:
    """Return finite numbers, each above the one before."""
    numbers: list[float] = []
    for place, value in enumerate(values):
        number = plain_number(value)
        if number is None:
            draft.wrong(
                f"{key}.{place}",
                f"{where} must be numbers without quotes; one of them is {as_written(value)}.",
                value,
            )
            return None
        numbers.append(float(number))
    for before, after in pairwise(numbers):
        if before == after:
            draft.wrong(key, f"{where} has {as_number(after)} twice. Levels must differ.", values)
            return None
        if before > after:
            rising = ", ".join(as_number(number) for number in sorted(numbers))
            draft.wrong(key, f"{where} must go from low to high:  [{rising}].", values)
            return None
    return tuple(numbers)
