"""The factors of a trial file: which are categories, which have numbers, which slide."""

from __future__ import annotations

from collections.abc import Sequence

from weldtrial.shared.factors import Factor
from weldtrial.shared.names import level_fault
from weldtrial.shared.trialfile.categories import read_category
from weldtrial.shared.trialfile.draft import Draft, Plain
from weldtrial.shared.trialfile.faults import Faults
from weldtrial.shared.trialfile.numbers import read_numeric


def read_factors(raws: Sequence[Plain], system: str, faults: Faults) -> tuple[Factor, ...]:
    """Return the factors that can be used, in the order of the file.

    Parameters
    ----------
    raws
        One dict of good settings for each ``[[factor]]``, as `check_shape` returns them.
    system
        ``metric`` or ``us``, for suggestions.
    faults
        Gathers what is wrong.
    """
    owners = {raw["name"]: _names_of(raw) for raw in raws if "name" in raw and _is_category(raw)}
    numeric = frozenset(raw["name"] for raw in raws if "name" in raw and not _is_category(raw))
    all_named = all("name" in raw for raw in raws)
    drafts = [
        Draft(raw, f"factor.{place}", owners, numeric, all_named, system, faults)
        for place, raw in enumerate(raws)
    ]
    read = [read_category(one) if _is_category(one.raw) else read_numeric(one) for one in drafts]
    return tuple(factor for factor in read if factor is not None)


def _names_of(raw: Plain) -> tuple[str, ...]:
    """Return a category's level names, or none when any of them will be refused."""
    levels = raw.get("levels")
    if not isinstance(levels, list) or not all(isinstance(level, str) for level in levels):
        return ()
    different = {level.casefold() for level in levels}
    if len(different) < len(levels) or any(level_fault(level) for level in levels):
        return ()
    return tuple(levels)


def _is_category(raw: Plain) -> bool:
    if "low_high" in raw or "slides_with" in raw or "at" in raw:
        return False
    levels = raw.get("levels")
    return not isinstance(levels, list) or not levels or any(isinstance(one, str) for one in levels)
