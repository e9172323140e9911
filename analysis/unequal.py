"""The comparison where the two levels scatter unequally: each level's own variance.

Only where the levels are changed coupon by coupon, or between set-ups shuffled freely.  Within
rounds the gap of each round is taken by itself, and unequal scatter does no harm.

References
----------
Welch, B. L. (1947). *Biometrika* 34:28-35; Satterthwaite, F. E. (1946). *Biometrics Bulletin*
2:110-114.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from weldtrial.analysis.compare import bounds
from weldtrial.analysis.findings import Alternative
from weldtrial.analysis.judge import Bounds, Evidence, judge
from weldtrial.analysis.least_squares import LeastSquaresFit
from weldtrial.analysis.linear import Estimate
from weldtrial.analysis.model import ModelFit
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.question import Question
from weldtrial.analysis.residual_views import setup_core
from weldtrial.analysis.simultaneous import alone

NAME = "each level's own scatter"


@dataclass(frozen=True, slots=True)
class Side:
    """One level: mean, variance of one unit, degrees of freedom of that variance, units."""

    mean: float
    variance: float
    df: float
    units: int


def unequal(
    question: Question, fit: ModelFit, observations: Sequence[Observation]
) -> Alternative | None:
    """Return the comparison with each level's own scatter, None where rounds pair the levels."""
    core, levels = _units(question, fit, observations)
    if core is None or question.at is not None:
        return None
    sides = [
        _side(question, fit, core, levels, one) for one in (question.level, question.reference)
    ]
    if any(side is None for side in sides):
        return None
    one, zero = (side for side in sides if side is not None)
    found = difference(one, zero)
    low, high = alone(found, question.read).interval(found, 0.95)
    return Alternative(
        NAME, f"with {NAME}", found.estimate, low, high, found.df, found.p,
        judge(_evidence(question, one, zero), question.response.ask), len(observations),
    )  # fmt: skip


def difference(one: Side, zero: Side, scale: float = 1.0) -> Estimate:
    """Return one mean less `scale` times the other, with Satterthwaite's degrees of freedom."""
    parts = (one.variance / one.units, scale**2 * zero.variance / zero.units)
    total = sum(parts)
    df = total**2 / (parts[0] ** 2 / one.df + parts[1] ** 2 / zero.df)
    return Estimate(one.mean - scale * zero.mean, sqrt(total), df)


def _evidence(question: Question, one: Side, zero: Side) -> Evidence:
    sign, margin = question.response.sign, question.response.margin

    def ends(scale: float) -> Bounds:
        found = difference(one, zero, scale)
        return bounds(found, sign, alone(found, question.read))

    change = ends(1.0)
    if margin is None or not margin.percent:
        return Evidence.of(change, margin.value if margin else None)
    return Evidence(change, ends(1 - sign * margin.value), ends(1 + sign * margin.value))


def _units(
    question: Question, fit: ModelFit, observations: Sequence[Observation]
) -> tuple[LeastSquaresFit | None, list[str]]:
    """Return the fit whose residuals show the scatter of what is compared, and its levels."""
    if len({o.round for o in observations}) > 1:
        return None, []
    factor = question.factor.name
    if fit.setup is None:
        core = fit.core if isinstance(fit.core, LeastSquaresFit) else None
        return core, [o.levels[factor] for o in observations]
    if not question.factor.hard_to_change:
        return None, []
    hard = frozenset(f.name for f in question.factors if f.hard_to_change)
    firsts = [int(np.flatnonzero(fit.setup == c)[0]) for c in range(int(fit.setup.max()) + 1)]
    return setup_core(fit, observations, hard), [observations[i].levels[factor] for i in firsts]


def _side(
    question: Question, fit: ModelFit, core: LeastSquaresFit, levels: Sequence[str], level: str
) -> Side | None:
    mine = np.array([one == level for one in levels])
    df = float((1 - core.leverage[mine]).sum())
    square = float((core.residuals[mine] ** 2).sum())
    if df < 1 or square <= 0:
        return None
    mean = float(fit.mean_vector(question.factor, level) @ fit.core.coefficients)
    return Side(mean, square / df, df, int(mine.sum()))
