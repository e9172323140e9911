"""Set-ups as a random factor: REML and Kenward-Roger tests, for one response or ten thousand.

The model is y = X b + Z u + e: fixed columns X (rounds and other blocks among them), one random
set-up effect u of variance s2s, coupon scatter e of variance s2e. The covariance is used in its
linear form V = s2e I + s2s ZZ' with expected information. The set-up variance is free to go
negative, down to -s2e / n for the largest set-up of n coupons (bound excluded): holding it at
zero or above costs power, and in balanced layouts the free form equals the strata ANOVA.

In unbalanced layouts the degrees of freedom are held between 1 and what the strata behind the
estimate can give: the published form is liberal with three or four set-ups of unequal size (8 to
12 false alarms in 100 by simulation), and collapses towards 0 at the bound. In balanced layouts
the rule changes nothing for terms that lie in one stratum.

Where every set-up holds one coupon, coupon and set-up are one and the same: least squares on the
coupons is then the right analysis, and this module refuses.

References
----------
Kenward, M. G. & Roger, J. H. (1997), Biometrics 53, 983-997.
Halekoh, U. & Hojsgaard, S. (2014), Journal of Statistical Software 59(9).
Schluchter, M. D. & Elashoff, J. T. (1990), J. Statist. Comput. Simul. 37, 69-87 (why tests of
between-unit terms need the degrees of freedom of their own stratum).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from weldtrial.analysis.kenward_roger import State, solve
from weldtrial.analysis.linear import (
    BatchContrasts,
    Denominator,
    Floats,
    contrast_rows,
    inverse,
    responses,
)
from weldtrial.analysis.setup_layout import SetupLayout, lay_out

CHUNK_BYTES = 32_000_000
"""Rough size of the temporary arrays of one pass over a batch."""


@dataclass(frozen=True, slots=True, eq=False)
class SetupFit:
    """A response fitted with set-ups random.

    Attributes
    ----------
    coefficients
        Generalised least-squares coefficients, shape (p,), response unit per coded unit.
    covariance
        Their covariance with the Kenward-Roger adjustment, shape (p, p).
    model_covariance
        The same without the adjustment, shape (p, p).
    setup_variance
        Set-up variance, raw: may be negative.
    coupon_variance
        Variance of coupons within a set-up, above 0.
    ratio
        setup_variance / coupon_variance, above -1 / (largest set-up).
    df_setup, df_within
        Degrees of freedom left between and within set-ups after the model.
    near_bound
        True when set-ups agree so much better than chance that the ratio sits at or near its
        negative bound. In unbalanced layouts Kenward-Roger turns timid there: the truth about a
        set-up-level factor is then better read from set-up means.
    iterations
        Steps the likelihood search took.
    fitted, residuals
        X b and y - X b, shape (n,), response unit.
    setup_effects
        Predicted set-up effects, shape (k,), in sorted order of the codes; they use
        max(0, set-up variance).
    """

    coefficients: Floats
    covariance: Floats
    model_covariance: Floats
    setup_variance: float
    coupon_variance: float
    ratio: float
    df_setup: int
    df_within: int
    near_bound: bool
    iterations: int
    fitted: Floats
    residuals: Floats
    setup_effects: Floats
    state: State = field(repr=False)

    @property
    def yardstick(self) -> None:
        """Student's t is right here."""
        return None

    def denominator(self, contrasts: Floats) -> Denominator:
        """Kenward-Roger degrees of freedom and scale, held to what the strata can give."""
        df, scale = self.state.denominators(contrasts)
        return Denominator(float(df[0]), float(scale[0]))

    def widening(self, contrast: Floats) -> float:
        """How much wider the 95 % interval of a contrast is than its strata call for, from 1.

        Parameters
        ----------
        contrast
            Shape (p,) or (1, p).

        Notes
        -----
        Half-width used, over that with the degrees of freedom of the strata and no adjustment of
        the covariance.  It is 1 in a balanced layout; far above 1 the test is timid.
        """
        rows = contrast_rows(contrast, len(self.coefficients))
        used, strata = self.denominator(rows).df, float(self.state.strata_df(rows)[0])
        spread = (rows @ self.covariance @ rows.T) / (rows @ self.model_covariance @ rows.T)
        points = special.stdtrit(np.array([used, strata]), 0.975)
        return float(points[0] / points[1] * spread[0, 0] ** 0.5)

    def kenward_roger(self, contrasts: Floats) -> Denominator:
        """The published Kenward-Roger degrees of freedom and scale, not held."""
        df, scale = self.state.kenward_roger(contrasts)
        return Denominator(float(df[0]), float(scale[0]))


@dataclass(frozen=True, slots=True, eq=False)
class BatchEstimates:
    """One contrast in m responses: estimate, standard error and degrees of freedom, each (m,)."""

    estimate: Floats
    se: Floats
    df: Floats
    near_bound: np.ndarray[tuple[int], np.dtype[np.bool_]]

    @property
    def p(self) -> Floats:
        """Two-sided p of the contrast being zero, shape (m,)."""
        return np.asarray(2.0 * special.stdtr(self.df, -np.abs(self.estimate / self.se)))

    def interval(self, confidence: float = 0.95) -> tuple[Floats, Floats]:
        """Two-sided t intervals, two arrays of shape (m,)."""
        half = special.stdtrit(self.df, 0.5 + confidence / 2.0) * self.se
        return self.estimate - half, self.estimate + half


@dataclass(frozen=True, slots=True, eq=False)
class BatchTests:
    """One F test in m responses; `df_den`, `statistic` and `p` have shape (m,)."""

    df_num: int
    df_den: Floats
    statistic: Floats
    p: Floats


def fit_setups(x: ArrayLike, setup: ArrayLike, y: ArrayLike) -> SetupFit:
    """Fit one response with set-ups random.

    Parameters
    ----------
    x
        Model matrix, shape (n, p), independent columns.
    setup
        Set-up of every coupon, shape (n,), any integer codes.
    y
        Response of every coupon, shape (n,), finite.

    Raises
    ------
    NotEstimable
        Columns of x repeat one another, all y are equal, or set-up and coupon scatter cannot be
        told apart (nothing left between set-ups, or nothing left within them).
    """
    layout = lay_out(x, setup)
    columns = responses(y, len(layout.q))
    state = solve(layout, columns)
    ratio, coupon = float(state.ratio[0]), float(state.coupon[0])
    back = inverse(layout.r)
    moved = layout.q @ state.basis_coefficients()[0]
    residuals = columns[:, 0] - state.level[0] - moved
    kept = max(0.0, ratio)
    effects = kept / (1.0 + kept * layout.sizes) * layout.totals(residuals[:, None])[:, 0]
    return SetupFit(
        coefficients=state.values(np.eye(layout.q.shape[1]))[0],
        covariance=coupon * back @ state.adjusted[0] @ back.T,
        model_covariance=coupon * back @ state.phi[0] @ back.T,
        setup_variance=ratio * coupon,
        coupon_variance=coupon,
        ratio=ratio,
        df_setup=layout.df_setup,
        df_within=layout.df_within,
        near_bound=bool(state.near_bound[0]),
        iterations=state.iterations,
        fitted=state.level[0] + moved,
        residuals=residuals,
        setup_effects=effects,
        state=state,
    )


def batch_estimates(
    x: ArrayLike, setup: ArrayLike, ys: ArrayLike, contrast: ArrayLike
) -> BatchEstimates:
    """Estimate one contrast (p,) in every column of `ys` (n, m), as `fit_setups` would.

    Raises
    ------
    NotEstimable
        As `fit_setups`, for any of the responses.
    """
    layout = lay_out(x, setup)
    rows = contrast_rows(contrast, layout.q.shape[1])
    found = batch_contrasts(layout, ys, rows)
    return BatchEstimates(found.estimate[:, 0], found.se[:, 0], found.df[:, 0], found.near_bound)


def batch_contrasts(layout: SetupLayout, ys: ArrayLike, rows: Floats) -> BatchContrasts:
    """Estimate several contrasts, rows (q, p), in every column of `ys` (n, m), in one pass.

    Each row is judged by itself; they may repeat one another.  Raises as `fit_setups` does, for
    any of the responses; `flat` of `weldtrial.analysis.setup_layout` says which.
    """
    line = rows @ inverse(layout.r)
    parts = []
    for state in _chunks(layout, ys):
        covariance = (line @ state.adjusted @ line.T) * state.coupon[:, None, None]
        df = [state.denominators(row[None])[0] for row in rows]
        parts.append((state.values(rows), covariance, np.column_stack(df), state.near_bound))
    value, covariance, df_all, near = (np.concatenate(part) for part in zip(*parts, strict=True))
    return BatchContrasts(value, covariance, df_all, near)


def batch_tests(x: ArrayLike, setup: ArrayLike, ys: ArrayLike, contrasts: ArrayLike) -> BatchTests:
    """F test of contrasts (q, p) in every column of `ys` (n, m), as `term_test` would."""
    layout = lay_out(x, setup)
    rows = contrast_rows(contrasts, layout.q.shape[1])
    line = rows @ inverse(layout.r)
    parts = []
    for state in _chunks(layout, ys):
        values = state.values(rows)[:, :, None]
        covariance = (line @ state.adjusted @ line.T) * state.coupon[:, None, None]
        wald = (values * np.linalg.solve(covariance, values)).sum(axis=(1, 2)) / len(rows)
        df, scale = state.denominators(rows)
        parts.append((df, scale * wald))
    df, statistic = (np.concatenate(part) for part in zip(*parts, strict=True))
    p = np.asarray(special.fdtrc(len(rows), df, statistic), dtype=float)
    return BatchTests(len(rows), df, statistic, p)


def _chunks(layout: SetupLayout, ys: ArrayLike) -> list[State]:
    columns = responses(ys, len(layout.q))
    n, p = layout.q.shape
    size = max(1, CHUNK_BYTES // (8 * (4 * n + 12 * p * p + 160)))
    return [solve(layout, columns[:, i : i + size]) for i in range(0, columns.shape[1], size)]
