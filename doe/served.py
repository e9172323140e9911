"""What a trial file may ask for that this version cannot lay out yet, said in words."""

from __future__ import annotations

from collections.abc import Iterator

from weldtrial.shared.fair import slider_of
from weldtrial.shared.problems import NotYet
from weldtrial.shared.trial import Trial


def refuse_unserved(trial: Trial) -> None:
    """Raise for everything in `trial` that this version cannot lay out, all of it at once.

    Raises
    ------
    NotYet
        Naming each key and what to do meanwhile.
    """
    reasons = tuple(_unserved(trial))
    if reasons:
        raise NotYet("\n".join(reasons))


def _unserved(trial: Trial) -> Iterator[str]:
    if trial.fair.rule == "both":
        yield from _unserved_both(trial)


def _unserved_both(trial: Trial) -> Iterator[str]:
    """Say what cannot go with both readings of fair in this version."""
    slider = slider_of(trial)
    gas = next((one for one in trial.factors if slider and one.name == slider.slides_with), None)
    if slider is None or gas is None:
        yield (
            'fair.rule = "both" needs a factor with the roles own and same, and there is none. '
            'Meanwhile choose one reading, such as  rule = "each-gas-own-setting".'
        )
        return
    if len(gas.levels) > 2:
        yield (
            f'fair.rule = "both" compares two levels of {gas.name} in this version; this trial has '
            f"{len(gas.levels)}. Meanwhile weld them two and two, or choose one reading."
        )
    if slider.hard_to_change:
        yield (
            f'fair.rule = "both" with {slider.name} hard to change is not in this version yet. '
            "Both roles are welded in every set-up: take hard_to_change out of it."
        )
    if trial.looks is not None:
        yield (
            'fair.rule = "both" does not go with [looks] in this version yet. Meanwhile leave '
            "[looks] out, or choose one reading."
        )
    if trial.design.centre_points:
        yield (
            'fair.rule = "both" has no middle between its roles, so centre points are not in this '
            "version yet. Meanwhile leave centre_points out."
        )
    if trial.design.kind != "factorial":
        yield (
            'fair.rule = "both" is laid out as a factorial in this version. Write  kind = '
            '"factorial".'
        )
