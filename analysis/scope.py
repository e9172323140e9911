"""The scope sentence and the place of comparison: what an answer applies to, and nothing else."""

from __future__ import annotations

from weldtrial.shared.factors import Factor
from weldtrial.shared.fair import OWN, SAME, readings_of
from weldtrial.shared.rounding import plain, spaced
from weldtrial.shared.trial import Quantity, Trial

NOT_A_QUALIFICATION = (
    "This is a comparison trial, not a procedure or welder qualification to any code."
)


def _quantity(quantity: Quantity | None) -> str:
    return "" if quantity is None else f"{plain(quantity.value)} {quantity.unit}"


def _joined(*parts: str) -> str:
    return " ".join(part for part in parts if part)


def _joint_words(trial: Trial) -> list[str]:
    joint = trial.joint
    return [
        _joined(joint.type, f"leg {_quantity(joint.leg)}" if joint.leg else ""),
        _joined(joint.plate_grade, _quantity(joint.plate_thickness)),
        f"plate heat {joint.plate_heat}" if joint.plate_heat else "",
        f"position {joint.position}" if joint.position else "",
        f"process {joint.process}" if joint.process else "",
        _joined(joint.wire_class, _quantity(joint.wire_diameter)),
    ]


def _settings_words(trial: Trial) -> list[str]:
    words = [f"{held.title} {plain(held.target)}{spaced(held.unit)}" for held in trial.held]
    for factor in trial.factors:
        if factor.kind == "category":
            words.append(
                f"{factor.title} {' and '.join(_level_words(factor, v) for v in factor.levels)}"
            )
        elif factor.slides_with:
            rows = ", ".join(
                f"{_span(row)}{spaced(factor.unit)} for {owner}"
                for owner, row in factor.settings.items()
            )
            words.append(f"{factor.title} {rows}")
        else:
            words.append(f"{factor.title} {_span(factor.settings[''])}{spaced(factor.unit)}")
    return words


def _level_words(factor: Factor, level: str) -> str:
    symbol = factor.about.get(level, {}).get("iso14175", "")
    return f"{level} ({symbol})" if symbol else level


def _span(row: tuple[float, ...]) -> str:
    low, high = min(row), max(row)
    return plain(low) if low == high else f"{plain(low)} to {plain(high)}"


def scope(trial: Trial) -> str:
    """Return the compulsory sentence: joint, gases, settings, welder, and nothing else."""
    parts = [part for part in [*_joint_words(trial), *_settings_words(trial)] if part]
    who = f"welded by {trial.welder or 'one welder (not named)'} on one machine"
    if trial.adopted is not None:
        who = "who welded, on what machine and what joint, is not in the data"
    return f"Applies to {'; '.join(parts)}; {who}. Nothing else. {NOT_A_QUALIFICATION}"


def comparison_point(trial: Trial) -> str:
    """Return the sentence saying at which settings levels are compared."""
    places = []
    both = readings_of(trial)
    for factor in trial.factors:
        if factor.kind != "numeric" or any(factor == one.slider for one in both):
            continue
        if factor.slides_with:
            own = " / ".join(
                f"{plain(factor.centre(owner))}{spaced(factor.unit)} ({owner})"
                for owner in factor.settings
            )
            places.append(f"{factor.title} {own}")
        else:
            places.append(f"{factor.title} {plain(factor.centre())}{spaced(factor.unit)}")
    if both:
        return " ".join([_both_points(both[0].slider), *_at_middle(places)])
    if not places:
        return ""
    note = (
        " Settings that shift with the gas are compared each at its own centre."
        if any(f.slides_with for f in trial.factors)
        else ""
    )
    return f"Compared at the middle of what was welded: {'; '.join(places)}.{note}"


def _at_middle(places: list[str]) -> list[str]:
    return [f"Else at the middle of what was welded: {'; '.join(places)}."] if places else []


def _both_points(slider: Factor) -> str:
    """Return at which settings the gases are compared where both readings of fair are welded."""
    unit = spaced(slider.unit)
    own = " / ".join(f"{plain(slider.setting(OWN, gas))}{unit} ({gas})" for gas in slider.settings)
    same = plain(slider.setting(SAME, next(iter(slider.settings))))
    title = slider.title[:1].lower() + slider.title[1:]
    return f"Compared twice: each gas at its own {title}, {own}; and all at the same, {same}{unit}."
