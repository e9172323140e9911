"""Factors whose levels are numbers: volts, wire feed, travel, preheat."""

from __future__ import annotations

from itertools import pairwise

from weldtrial.shared.factors import Factor
from weldtrial.shared.trialfile.draft import (
    Draft,
    Settings,
    common,
    list_of_levels,
    numbers_of,
    one_level,
    pair_of,
)
from weldtrial.shared.trialfile.faults import as_number
from weldtrial.shared.trialfile.hints import unit_clash, usual_unit
from weldtrial.shared.trialfile.sliding import read_sliding

_MAY_BE_NEGATIVE = ("temperature", "angle", "length", "plain number", "percentage")


def read_numeric(draft: Draft) -> Factor | None:
    """Return the numeric factor, or None when it cannot be used."""
    raw = draft.raw
    if "levels" in raw and "low_high" in raw:
        draft.wrong(
            "low_high", f"factor '{draft.name}' has both levels and low_high. Keep one of them."
        )
        return None
    for key in ("control", "about"):
        if key in raw:
            draft.wrong(
                key,
                f"{key} belongs to a factor whose levels are names; '{draft.name}' has numbers.",
            )
    unit = raw.get("unit")
    # A unit that was refused by itself is not also missing.
    if unit is None and not draft.faults.stands(f"{draft.path}.unit"):
        _no_unit(draft)
    read = read_sliding(draft) if "slides_with" in raw or "at" in raw else _plain(draft)
    if read is None or unit is None or "name" not in raw:
        return None
    levels, settings = read
    factor = Factor(
        name=draft.name,
        kind="numeric",
        levels=levels,
        unit=unit,
        settings=settings,
        slides_with=raw.get("slides_with"),
        step=raw.get("step"),
        tolerance=raw.get("tolerance"),
        **common(draft),
    )
    _plausible(draft, factor)
    _apart(draft, factor)
    return factor


def _no_unit(draft: Draft) -> None:
    usual = usual_unit(draft.name, draft.system)
    hint = f'Add  unit = "{usual}".' if usual else 'Add its unit, or  unit = "1"  if it has none.'
    draft.wrong("name", f"factor '{draft.name}' has numbers but no unit. {hint}")


def _plain(draft: Draft) -> tuple[tuple[str, ...], Settings] | None:
    if "low_high" in draft.raw:
        pair = draft.raw["low_high"]
        if isinstance(pair, dict):
            draft.wrong(
                "low_high",
                f"low_high of factor '{draft.name}' has a pair for each level, but the factor "
                "does not say which levels. Add  slides_with = ...",
            )
            return None
        row = pair_of(draft, "low_high", f"low_high of factor '{draft.name}'", pair)
        return None if row is None else (("low", "high"), {"": row})
    levels = list_of_levels(draft)
    if levels is None:
        return None
    numbers = numbers_of(draft, "levels", f"levels of factor '{draft.name}'", levels)
    if numbers is None:
        return None
    if len(numbers) == 1:
        one_level(draft)
        return None
    return tuple(as_number(number) for number in numbers), {"": numbers}


def _plausible(draft: Draft, factor: Factor) -> None:
    """Look for a slip of unit, an impossible sign, and settings between two steps."""
    from weldtrial.shared.units import kind

    assert factor.unit is not None
    key = "low_high" if "low_high" in draft.raw else "at" if "at" in draft.raw else "levels"
    for owner, row in factor.settings.items():
        place = f"{key}.{owner}" if owner else key
        for value in row:
            if words := unit_clash(factor.name, "setting", value, factor.unit):
                draft.wrong(place, words, value)
                break
            if value < 0 and kind(factor.unit) not in _MAY_BE_NEGATIVE:
                draft.wrong(
                    place, f"{factor.name} cannot be {as_number(value)} {factor.unit}.", value
                )
                break
            if factor.step and abs(value / factor.step - round(value / factor.step)) > 1e-6:
                draft.faults.warn(
                    f"{draft.path}.{place}",
                    f"{factor.name} {as_number(value)} {factor.unit} is not a whole number of "
                    f"steps of {as_number(factor.step)} {factor.unit}: the machine cannot be set "
                    "to it. Change the level or the step.",
                    value,
                )


def _apart(draft: Draft, factor: Factor) -> None:
    """Warn of a tolerance within which coupons of neighbouring levels are welded alike."""
    if factor.tolerance is None:
        return
    pairs = [pair for row in factor.settings.values() for pair in pairwise(row)]
    if not pairs:
        return
    low, high = min(pairs, key=lambda pair: pair[1] - pair[0])
    gap = high - low
    if factor.tolerance <= gap / 2 * (1 + 1e-9):
        return
    draft.faults.warn(
        f"{draft.path}.tolerance",
        f"a tolerance of ± {as_number(factor.tolerance)} {factor.unit} is more than half of the "
        f"{float(f'{gap:.6g}'):g} {factor.unit} between {factor.name} {as_number(low)} and "
        f"{as_number(high)}: the two overlap, and a coupon asked for at {as_number(low)} may be "
        f"welded above one asked for at {as_number(high)}. Set the levels wider apart, or hold it "
        "better.",
        factor.tolerance,
    )
