"""Odd coupons, odd set-ups, drift and unequal spread: what the residuals can show.

Outliers are judged by the externally studentised residual with Bonferroni's correction (Cook &
Weisberg 1982, Residuals and Influence in Regression, section 2.2), at one in a hundred a check.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from weldtrial.analysis.least_squares import LeastSquaresFit, fit_least_squares
from weldtrial.analysis.model import ModelFit, fit_within
from weldtrial.analysis.model_frame import Vector, sum_to_zero
from weldtrial.analysis.observations import Observation
from weldtrial.shared.coding import model_matrix
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.terms import Term

ALARM = 0.01
"""Level of every check: one false alarm in a hundred."""


@dataclass(frozen=True, slots=True)
class Odd:
    """The most extreme unit and its Bonferroni-corrected p."""

    index: int
    statistic: float
    p: float


def most_extreme(core: LeastSquaresFit) -> Odd | None:
    """Return the unit with the largest externally studentised residual, None below 3 df."""
    df = core.df_resid
    if df < 3:
        return None
    free = np.clip(1 - core.leverage, 1e-12, None)
    deleted = (core.residual_variance * df - core.residuals**2 / free) / (df - 1)
    tiny = 1e-12 * core.residual_variance
    t = core.residuals / np.sqrt(np.clip(deleted, tiny, None) * free)
    t[core.leverage > 1 - 1e-9] = 0.0
    index = int(np.argmax(np.abs(t)))
    n = len(t)
    p = min(1.0, n * 2 * float(special.stdtr(df - 1, -abs(t[index]))))
    return Odd(index, float(t[index]), p)


def coupon_core(
    fit: ModelFit, terms: Sequence[Term], observations: Sequence[Observation]
) -> LeastSquaresFit | None:
    """Return the least-squares fit that shows coupon scatter: set-ups fixed where there are any."""
    if isinstance(fit.core, LeastSquaresFit):
        return fit.core
    if fit.setup is None or fit.limited:
        return None
    points = [o.point for o in observations]
    try:
        within = fit_within(fit.factors, list(terms), points, fit.setup, fit.y)
    except NotEstimable:
        return None
    assert isinstance(within.core, LeastSquaresFit)
    return within.core


def setup_means(fit: ModelFit, hard: frozenset[str]) -> Vector:
    """Return the mean of each set-up, cleared of the fitted effects of easy factors.

    Parameters
    ----------
    fit
        A fit with set-ups.
    hard
        Names of the hard-to-change factors, whose effects are kept.
    """
    assert fit.setup is not None
    easy = np.zeros(fit.x.shape[1])
    for term, columns in fit.model.columns.items():
        names = {name.split("^")[0] for name in term.split(":")}
        if not names <= hard:
            easy[list(columns)] = fit.core.coefficients[list(columns)]
    cleared = fit.y - fit.x @ easy
    return np.array([cleared[fit.setup == code].mean() for code in range(int(fit.setup.max()) + 1)])


def setup_core(
    fit: ModelFit, observations: Sequence[Observation], hard: frozenset[str]
) -> LeastSquaresFit | None:
    """Return the least-squares fit of set-up means on hard factors and rounds."""
    if fit.setup is None or fit.limited:
        return None
    firsts = [int(np.flatnonzero(fit.setup == c)[0]) for c in range(int(fit.setup.max()) + 1)]
    units = [observations[i] for i in firsts]
    terms = [Term(((f.name, 1),)) for f in fit.factors if f.name in hard]
    matrix = model_matrix(fit.factors, terms, [u.point for u in units]).matrix
    x = np.column_stack([matrix, sum_to_zero([u.round for u in units])])
    try:
        return fit_least_squares(x, setup_means(fit, hard))
    except NotEstimable:
        return None


def spread_ratio(
    core: LeastSquaresFit, groups: Sequence[str], names: tuple[str, str]
) -> tuple[float, float] | None:
    """Return the ratio of residual variances of two groups and its two-sided F test p.

    Each group's share of the residual degrees of freedom is the sum of 1 - leverage.
    """
    labels = np.array(groups)
    sums, dfs = [], []
    for name in names:
        mine = labels == name
        sums.append(float((core.residuals[mine] ** 2).sum()))
        dfs.append(float((1 - core.leverage[mine]).sum()))
    if min(dfs) < 2 or min(sums) <= 0:
        return None
    ratio = (sums[0] / dfs[0]) / (sums[1] / dfs[1])
    upper = float(special.fdtrc(dfs[0], dfs[1], ratio))
    return ratio, 2 * min(upper, 1 - upper)


def agreement_p(
    fit: ModelFit, core: LeastSquaresFit | None, within: LeastSquaresFit | None, sizes: Vector
) -> float | None:
    """Return the chance of set-up means agreeing this well if set-ups added no scatter at all."""
    if core is None or within is None:
        return None
    n = len(sizes) / float((1 / sizes).sum())
    ratio = core.residual_variance * n / within.residual_variance
    return float(special.fdtr(core.df_resid, within.df_resid, ratio))
