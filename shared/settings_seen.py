"""Settings as the welder saw them, held against what was planned."""

from __future__ import annotations

from dataclasses import dataclass

from weldtrial.shared.factors import Factor
from weldtrial.shared.plan import Run
from weldtrial.shared.rounding import brief, plain
from weldtrial.shared.trial import Held, Trial
from weldtrial.shared.units import kind, likely_other_unit

STRAY = 0.1
"""How far a setting with one planned value may stray before it is mentioned, as a fraction."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """What is odd about a setting; a warning when the number can be used as it is."""

    words: str
    warning: bool = True


def travel_settings(trial: Trial) -> dict[str, str]:
    """Return the settings that bead length over arc seconds measures, and their units.

    They are travel speeds: factors said to be measured by arc seconds, and speeds called travel.
    """
    found = {
        factor.name: factor.unit
        for factor in trial.factors
        if factor.unit is not None
        and kind(factor.unit) == "speed"
        and ("arc" in factor.measured_by.casefold() or "travel" in factor.name.casefold())
    }
    for held in trial.held:
        if kind(held.unit) == "speed" and "travel" in held.name.casefold():
            found.setdefault(held.name, held.unit)
    return found


def doubt(name: str, value: float, trial: Trial, run: Run) -> Doubt | None:
    """Return what is odd about a setting seen on one coupon, or None.

    Parameters
    ----------
    value
        In the unit of the factor or held setting called `name`.
    run
        The coupon's row of the plan.
    """
    factor = next((one for one in trial.factors if one.name == name), None)
    held = next((one for one in trial.held if one.name == name), None)
    unit = (factor.unit if factor else held.unit if held else "") or "1"
    other = likely_other_unit(value, unit)
    if other is not None:
        words = f"{value:g} {unit} looks like {other[0]}: {value:g} {other[0]} is {other[1]:.3g} "
        return Doubt(f"{words}{unit}. Write the unit with the number.", warning=False)
    if factor is not None:
        return _against_plan(factor, value, run)
    return _against_tolerance(held, value) if held is not None else None


def _against_plan(factor: Factor, value: float, run: Run) -> Doubt | None:
    planned = run.settings.get(factor.name)
    if not isinstance(planned, float | int):
        return None
    if factor.tolerance is not None:
        return _against_stated(factor, value, planned)
    owner = run.levels.get(factor.slides_with or "", "")
    levels = factor.settings.get(owner if factor.slides_with else "", ())
    off = abs(value - planned)
    others = [level for level in levels if level != planned]
    allowed = min((abs(level - planned) / 2 for level in others), default=STRAY * abs(planned))
    if off <= allowed:
        return None
    # Travel is worked out of seconds and millimetres, which carry no six figures.
    words = f"{brief(value)} {factor.unit} was seen, {planned:g} planned"
    closest = min(levels, key=lambda one: abs(one - value), default=planned)
    if closest != planned:
        words += f": nearer {closest:g}"
    return Doubt(f"{words}. It will be shown, not dropped.")


def _against_stated(factor: Factor, value: float, planned: float) -> Doubt | None:
    """Hold a setting as run against the tolerance that its factor states."""
    if not factor.strays(value, planned):
        return None
    assert factor.tolerance is not None
    side, edge = ("low", -factor.tolerance) if value < planned else ("high", factor.tolerance)
    words = (
        f"{factor.title} {side} ({value:g} {factor.unit}, planned {planned:g}, limit "
        f"{plain(planned + edge)})"
    )
    return Doubt(f"{words} – will be shown, not dropped.")


def _against_tolerance(held: Held, value: float) -> Doubt | None:
    if held.tolerance is None:
        return None
    low, high = held.target - held.tolerance, held.target + held.tolerance
    slack = 1e-9 * max(abs(held.target), 1.0)
    if low - slack <= value <= high + slack:
        return None
    side, limit = ("low", low) if value < low else ("high", high)
    words = f"{held.title} {side} ({value:g} {held.unit}, limit {limit:g})"
    return Doubt(f"{words} – will be shown, not dropped.")
