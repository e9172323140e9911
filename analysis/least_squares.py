"""Least squares, fitted by statsmodels, with the surface that `term_test` and `estimate` ask for.

The right analysis where nothing was hard to change, and the second opinion beside every set-up
analysis: the answer if every coupon had its own set-up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from statsmodels.regression.linear_model import OLS

from weldtrial.analysis.linear import (
    BatchContrasts,
    Denominator,
    Floats,
    centring,
    inverse,
    orthonormal_basis,
    reference_level,
    responses,
    rounding,
)
from weldtrial.shared.problems import NotEstimable


@dataclass(frozen=True, slots=True, eq=False)
class LeastSquaresFit:
    """A response fitted by ordinary least squares.

    Attributes
    ----------
    coefficients
        Shape (p,), response unit per coded unit.
    covariance
        Of the coefficients, shape (p, p).
    residual_variance
        Residual mean square.
    df_resid
        Coupons less coefficients, at least 1.
    r_squared
        Share of the corrected sum of squares explained (uncorrected where the columns of the
        model cannot make a constant).
    fitted, residuals
        Shape (n,), response unit.
    leverage
        Diagonal of the hat matrix, shape (n,), from 0 to 1.
    """

    coefficients: Floats
    covariance: Floats
    residual_variance: float
    df_resid: int
    r_squared: float
    fitted: Floats
    residuals: Floats
    leverage: Floats

    @property
    def yardstick(self) -> None:
        """Student's t is right here."""
        return None

    def denominator(self, contrasts: Floats) -> Denominator:
        """Residual degrees of freedom, whatever the contrasts."""
        return Denominator(float(self.df_resid))


def fit_least_squares(x: ArrayLike, y: ArrayLike) -> LeastSquaresFit:
    """Fit y (n,) on the independent columns of x (n, p).

    statsmodels is handed an orthonormal basis of x and a response brought near zero, which keeps
    the digits of badly scaled data; coefficients are turned back afterwards.

    Raises
    ------
    NotEstimable
        Columns repeat one another, all y are equal, as many coefficients as coupons, or a model
        that fits every coupon exactly.
    """
    q, r, ones = _prepared(x)
    values = responses(y, len(q))[:, 0]
    level = float(reference_level(values[:, None], ones)[0])
    result = OLS(values - level, q, hasconst=bool(np.any(ones))).fit()
    residuals = np.asarray(result.resid)
    if residuals @ residuals <= rounding(values[:, None])[0]:
        raise NotEstimable(
            "the model fits every coupon exactly: no scatter, so nothing to judge a change by",
            hint="check that the readings were measured and not worked out from the settings",
        )
    back = inverse(r)
    return LeastSquaresFit(
        coefficients=back @ result.params + level * ones,
        covariance=float(result.mse_resid) * back @ back.T,
        residual_variance=float(result.mse_resid),
        df_resid=len(q) - q.shape[1],
        r_squared=float(result.rsquared),
        fitted=values - residuals,
        residuals=residuals,
        leverage=np.sum(q**2, axis=1),
    )


def _prepared(x: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Return basis, triangle and the coefficients of a constant; refuse where nothing is left."""
    q, r = orthonormal_basis(x)
    if len(q) == q.shape[1]:
        raise NotEstimable(
            f"{len(q)} coupons and {q.shape[1]} coefficients: nothing is left over to show scatter",
            hint="weld more coupons, or leave a term out",
        )
    return q, r, centring(x)


def batch_least_squares(x: ArrayLike, ys: Floats, rows: Floats) -> BatchContrasts:
    """Estimate contrasts, rows (q, p), in every column of `ys` (n, m), as `fit_least_squares` does.

    Columns that it would refuse come back as not a number.
    """
    q, r, ones = _prepared(x)
    level = reference_level(ys, ones)
    centred = ys - level
    params = q.T @ centred
    squares = np.sum((centred - q @ params) ** 2, axis=0)
    squares = np.where(squares <= rounding(ys), np.nan, squares)
    line = rows @ inverse(r)
    df = len(q) - q.shape[1]
    return BatchContrasts(
        estimate=params.T @ line.T + np.outer(level, rows @ ones),
        covariance=(squares / df)[:, None, None] * (line @ line.T),
        df=np.full((ys.shape[1], len(rows)), float(df)),
        near_bound=np.zeros(ys.shape[1], dtype=bool),
    )
