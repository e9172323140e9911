"""What would settle a question that this trial left open, from the scatter it found."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Sequence
from math import ceil, isfinite, isnan, sqrt

from weldtrial.analysis.compare import Contrast
from weldtrial.analysis.limited import CENSORED_SETUPS
from weldtrial.analysis.model import KENWARD_ROGER, ModelFit
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.power import power_difference, power_equivalent, power_no_worse
from weldtrial.analysis.question import Question
from weldtrial.analysis.shape import error_rates
from weldtrial.shared.responses import Response

CHANCE = 0.8
MOST = 400
ASSUMED = {
    "no-worse": "if the two are truly equal",
    "equal-enough": "if the two are truly equal",
    "difference": "if the margin is the true change",
}


def what_would_settle(
    fit: ModelFit, question: Question, found: Contrast, observations: Sequence[Observation]
) -> str:
    """Say how many set-ups (or coupons) a level like these would settle it 8 times in 10.

    The planning rule is that of `weldtrial.analysis.power`, with this trial's scatter put in the
    place of the guess; never a chance computed from the observed change (Hoenig & Heisey 2001,
    Am. Stat. 55, 19-24).  Empty without a margin.
    """
    # Lenth's yardstick has no degrees of freedom, and so no planning rule.
    if found.margin is None or not found.margin > 0 or isnan(found.difference.df):
        return ""
    if not isfinite(found.difference.se):
        return ""
    setups = fit.method in (KENWARD_ROGER, CENSORED_SETUPS) and question.factor.hard_to_change
    units = _units(question, observations, setups=setups)
    needed = _needed(question, found, units)
    thing = "set-ups" if setups else "coupons"
    if needed is None:
        return (
            f"With scatter like this, no practical number of {thing} would settle it: find out "
            "where the scatter comes from first."
        )
    per_setup = len(observations) / len({o.setup for o in observations}) if setups else 1
    in_all = ceil(needed * len(question.factor.levels) * per_setup)
    coupons = f" ({in_all} coupons in all)" if setups else ""
    return (
        f"With scatter like this, about {needed} {thing} of each{coupons} would settle it 8 times "
        f"in 10 {ASSUMED[question.response.ask]}."
    )


def _units(question: Question, observations: Sequence[Observation], *, setups: bool) -> int:
    """Return set-ups or coupons of the scarcer of the two levels."""
    seen = {(o.levels[question.factor.name], o.setup if setups else o.stamp) for o in observations}
    pair = (question.level, question.reference)
    return min(sum(level == name for level, _ in seen) for name in pair)


def _of_percent(response: Response) -> float:
    """Return the standard error of what a percent margin tests, over that of the difference.

    mean(level) - (1 - m) mean(reference) scatters a little less, or more where lower is better;
    equal within a percentage is tested both ways, and the wider is taken.
    """
    margin = response.margin
    if margin is None or not margin.percent or response.ask == "difference":
        return 1.0
    sign = -1 if response.ask == "equal-enough" else response.sign
    return sqrt((1 + (1 - sign * margin.value) ** 2) / 2)


def _needed(question: Question, found: Contrast, units: int) -> int | None:
    margin = found.margin or 0.0
    # Read as one of several where it is; many more df would change these rates little.
    levels, df_now = question.compared_together, max(1, round(found.difference.df))
    both, one = error_rates(found.together.family, levels, df_now)
    chances: dict[str, Callable[[float, float], float]] = {
        "no-worse": lambda se, df: power_no_worse(margin, se, df, alpha=one),
        "equal-enough": lambda se, df: power_equivalent(margin, se, df, alpha=one),
        "difference": lambda se, df: power_difference(margin, se, df, alpha=both),
    }
    chance = chances[question.response.ask]
    per_unit = found.difference.df / max(1, units - 1)
    tested = found.difference.se * _of_percent(question.response)

    def enough(number: int) -> bool:
        return chance(tested * sqrt(units / number), per_unit * (number - 1)) >= CHANCE

    if units + 1 > MOST or not enough(MOST):
        return None
    # More units never show less, so the fewest that are enough are found by halving.
    return bisect_left(range(MOST), True, lo=units + 1, key=enough)
