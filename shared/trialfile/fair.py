"""What contradicts the rule of fairness that a trial names."""

from __future__ import annotations

from weldtrial.shared.factors import Factor
from weldtrial.shared.fair import OWN, SAME, slider_of
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile.faults import Faults, as_number


def check_fair(trial: Trial, faults: Faults) -> None:
    """Report what the factors and the rule of fairness say against each other."""
    sliding = [factor for factor in trial.factors if factor.slides_with]
    rule = trial.fair.rule
    compares = any(factor.kind == "category" and factor.varied for factor in trial.factors)
    if rule is None and trial.purpose == "compare" and compares:
        faults.warn(
            "fair",
            "the file does not say what a fair comparison means. Add [fair] with  rule = "
            '"same-setting"  or another; readers will ask.',
        )
    if rule == "both":
        _both(trial, sliding, faults)
        return
    if (roles := slider_of(trial)) is not None and rule is not None:
        faults.warn(
            f"factor.{trial.factors.index(roles)}.levels",
            f"{roles.name} has the roles own and same, which are both readings of fair, but rule "
            f'= "{rule}". Write  rule = "both"  to have a verdict on each.',
        )
    if rule == "same-setting":
        _same_setting(sliding, faults)
    if rule == "each-gas-own-setting" and not sliding:
        faults.warn(
            "fair.rule",
            'rule = "each-gas-own-setting", but no factor slides with another. Add slides_with to '
            "the factor whose numbers differ, or change the rule.",
        )
    if rule == "each-gas-own-setting" and sliding and not trial.fair.how.strip():
        _how(faults)


def _how(faults: Faults) -> None:
    faults.warn(
        "fair.rule",
        "the own settings are only as fair as the tuning behind them. Add  how = "
        '"..."  : who tuned each gas, for how long, and when they stopped.',
    )


def _same_setting(sliding: list[Factor], faults: Faults) -> None:
    moved = [one for one in sliding if len(set(one.settings.values())) > 1]
    for one in moved[:1]:
        faults.wrong(
            "fair.rule",
            f'rule = "same-setting", but {one.name} has its own numbers at each level of '
            f"{one.slides_with}. Change the rule, or give it the same numbers.",
        )


def _both(trial: Trial, sliding: list[Factor], faults: Faults) -> None:
    slider = slider_of(trial)
    if slider is None or not slider.slides_with:
        names = [one.name for one in sliding]
        where = f"levels of {names[0]}" if names else "levels of the factor that slides"
        faults.wrong(
            "fair.rule",
            'rule = "both" welds each gas at its own setting and at the same one, so one factor '
            f'needs both roles. Write  levels = ["own", "same"]  as the {where}, and under '
            "[factor.at] a number of each for every gas.",
        )
        return
    for other in sliding:
        if other is not slider:
            faults.wrong(
                f"factor.{trial.factors.index(other)}.slides_with",
                f'rule = "both" turns on {slider.name} alone, but {other.name} slides too, so '
                "neither reading would be clean. Give it the same numbers for all gases.",
            )
    place = f"factor.{trial.factors.index(slider)}.at"
    _numbers(trial, slider, place, faults)
    if trial.design.model == "main":
        faults.wrong(
            "design.model",
            'model = "main" lets the gases differ by one amount at every setting, and rule = '
            '"both" asks whether they do. Write  model = "two-factor"  or leave it out.',
        )
    if not trial.fair.how.strip():
        _how(faults)


def _numbers(trial: Trial, slider: Factor, place: str, faults: Faults) -> None:
    own = {gas: slider.setting(OWN, gas) for gas in slider.settings}
    same = {gas: slider.setting(SAME, gas) for gas in slider.settings}
    if len(set(same.values())) > 1:
        said = ", ".join(f"{gas} {as_number(value)}" for gas, value in same.items())
        faults.wrong(
            place,
            f"{slider.name} is not the same under the role same: {said}. Give every gas one "
            "number there; what is each gas's own goes under own.",
        )
    elif own == same:
        faults.wrong(
            place,
            f"{slider.name} has one number everywhere, so the two readings of fair are one. Write "
            ' rule = "same-setting"  and hold it, or give a gas its own number under own.',
        )
