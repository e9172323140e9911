"""Contrasts of a fitted linear model: one test and one interval for every kind of fit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from weldtrial.shared.problems import NotEstimable

Floats = NDArray[np.float64]

DEPENDENT = 1e-9
"""Share of a column's length left after the columns before it, below which it adds nothing."""


@dataclass(frozen=True, slots=True)
class Denominator:
    """What the F statistic of a contrast is referred to: its error degrees of freedom and scale.

    Attributes
    ----------
    df
        Denominator degrees of freedom, above 0.
    scale
        Factor applied to the Wald F before it is looked up (1 for least squares).
    """

    df: float
    scale: float = 1.0


class LinearFit(Protocol):
    """What a fit must offer so that `term_test` and `estimate` can question it."""

    @property
    def coefficients(self) -> Floats:
        """Estimated coefficients, shape (p,)."""

    @property
    def covariance(self) -> Floats:
        """Covariance of the coefficients used for tests and intervals, shape (p, p)."""

    def denominator(self, contrasts: Floats) -> Denominator:
        """Error degrees of freedom and scale for contrasts of shape (q, p)."""

    @property
    def yardstick(self) -> Yardstick | None:
        """What takes the place of Student's t, None where that is right."""


@dataclass(frozen=True, slots=True)
class TermTest:
    """F test of several contrasts at once.

    Attributes
    ----------
    df_num, df_den
        Numerator and denominator degrees of freedom.
    statistic
        F, already scaled.
    p
        Chance of an F at least as large when every contrast is truly zero.
    """

    df_num: int
    df_den: float
    statistic: float
    p: float


class Yardstick(Protocol):
    """What takes the place of Student's t where nothing was replicated."""

    def critical(self, confidence: float) -> float:
        """Multiple of the standard error of a two-sided interval."""

    def p(self, ratio: float) -> float:
        """Two-sided p of an estimate so many standard errors from zero."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """One contrast: estimate and standard error in the response's unit, degrees of freedom.

    `yardstick` replaces Student's t where it is given; `df` is then not a number.
    """

    estimate: float
    se: float
    df: float
    yardstick: Yardstick | None = None

    @property
    def p(self) -> float:
        """Two-sided p of the contrast being zero."""
        ratio = abs(self.ratio)
        if self.yardstick is not None:
            return self.yardstick.p(ratio)
        return float(2.0 * special.stdtr(self.df, -ratio))

    def critical(self, confidence: float = 0.95) -> float:
        """Multiple of the standard error on either side of the estimate."""
        if not 0.0 < confidence < 1.0:
            raise ValueError(f"confidence must be between 0 and 1, got {confidence!r}")
        if self.yardstick is not None:
            return self.yardstick.critical(confidence)
        return float(special.stdtrit(self.df, 0.5 + confidence / 2.0))

    def interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Two-sided t interval.

        Parameters
        ----------
        confidence
            Between 0 and 1, both excluded.
        """
        return self.within(self.critical(confidence))

    @property
    def ratio(self) -> float:
        """How many standard errors the estimate is from zero."""
        return self.estimate / self.se

    def within(self, critical: float) -> tuple[float, float]:
        """Return the ends of `critical` standard errors on either side."""
        half = critical * self.se
        return self.estimate - half, self.estimate + half


@dataclass(frozen=True, slots=True, eq=False)
class BatchContrasts:
    """Several contrasts in m responses.

    Attributes
    ----------
    estimate, df
        Shape (m, q): estimates and degrees of freedom.
    covariance
        Of the estimates, shape (m, q, q).
    near_bound
        Whether a set-up fit sits at its negative bound, shape (m,).
    """

    estimate: Floats
    covariance: Floats
    df: Floats
    near_bound: NDArray[np.bool_]

    @property
    def se(self) -> Floats:
        """Standard errors, shape (m, q)."""
        return np.sqrt(np.diagonal(self.covariance, axis1=1, axis2=2))


def term_test(fit: LinearFit, contrasts: ArrayLike) -> TermTest:
    """F test that all `contrasts` of the coefficients are zero.

    Parameters
    ----------
    fit
        A `SetupFit` or a `LeastSquaresFit`.
    contrasts
        Shape (q, p), rows independent; one row may be given as shape (p,).

    Raises
    ------
    NotEstimable
        The rows repeat one another.
    """
    rows = contrast_rows(contrasts, len(fit.coefficients))
    reference = fit.denominator(rows)
    values = rows @ fit.coefficients
    wald = float(values @ np.linalg.solve(rows @ fit.covariance @ rows.T, values)) / len(rows)
    statistic = reference.scale * wald
    p = float(special.fdtrc(len(rows), reference.df, statistic))
    return TermTest(len(rows), reference.df, statistic, p)


def estimate(fit: LinearFit, contrast: ArrayLike) -> Estimate:
    """Estimate one contrast, shape (p,), with its standard error and degrees of freedom."""
    rows = contrast_rows(contrast, len(fit.coefficients))
    if len(rows) != 1:
        raise ValueError(f"an estimate takes one contrast, got {len(rows)}")
    variance = float((rows @ fit.covariance @ rows.T)[0, 0])
    value = float((rows @ fit.coefficients)[0])
    return Estimate(value, variance**0.5, fit.denominator(rows).df, fit.yardstick)


def contrast_rows(contrasts: ArrayLike, p: int) -> Floats:
    """Contrasts as independent rows of shape (q, p)."""
    rows = np.atleast_2d(np.asarray(contrasts, dtype=float))
    if rows.ndim != 2 or rows.shape[1] != p or not len(rows):
        raise ValueError(f"contrasts must have {p} columns, got shape {np.shape(contrasts)}")
    if not np.all(np.isfinite(rows)):
        raise ValueError("contrasts must be finite numbers")
    if np.linalg.matrix_rank(rows) < len(rows):
        raise NotEstimable(f"{len(rows)} contrasts repeat one another: test fewer at a time")
    return rows


def inverse(matrices: Floats) -> Floats:
    """Inverse of one matrix or of a stack of them."""
    return np.asarray(np.linalg.inv(matrices), dtype=np.float64)


def orthonormal_basis(x: ArrayLike) -> tuple[Floats, Floats]:
    """Split a model matrix as ``x = q @ r``, `q` orthonormal, `r` upper triangular.

    Columns are brought to unit length first, so units of measurement do not decide the rank.

    Raises
    ------
    NotEstimable
        A column can be made from the columns before it (columns are counted from 0).
    """
    matrix = np.asarray(x, dtype=float)
    if matrix.ndim != 2 or 0 in matrix.shape or not np.all(np.isfinite(matrix)):
        raise ValueError(f"x must be a finite (n, p) matrix, got shape {matrix.shape}")
    n, p = matrix.shape
    if n < p:
        raise NotEstimable(f"{n} coupons cannot settle {p} coefficients")
    lengths = np.linalg.norm(matrix, axis=0)
    lengths[lengths == 0.0] = 1.0
    q, r = np.linalg.qr(matrix / lengths)
    dependent = np.flatnonzero(np.abs(np.diag(r)) < DEPENDENT)
    if len(dependent):
        names = ", ".join(str(column) for column in dependent)
        raise NotEstimable(
            f"the model has more terms than the settings can tell apart: column {names} "
            "can be made from the columns before it",
            hint="leave a term out, or weld the missing combination of settings",
        )
    return q, r * lengths


def responses(y: ArrayLike, n: int) -> Floats:
    """Responses as finite columns, shape (n, m); refuses a column in which nothing varies.

    Raises
    ------
    NotEstimable
        Every value of a response is the same, so no scatter can be seen.
    """
    columns = np.asarray(y, dtype=float)
    columns = columns[:, None] if columns.ndim == 1 else columns
    if columns.ndim != 2 or len(columns) != n:
        raise ValueError(f"y must have {n} rows, got shape {np.shape(y)}")
    if not np.all(np.isfinite(columns)):
        raise ValueError("y must be finite numbers: leave lost coupons out of x and y alike")
    if np.any(columns.max(axis=0) == columns.min(axis=0)):
        raise NotEstimable(
            f"all {n} coupons read the same: no scatter, so nothing to judge a change by",
            hint="check that the gauge can show coupon differences",
        )
    return columns


def centring(x: ArrayLike) -> Floats:
    """Coefficients (p,) that make a constant 1 out of the columns of x; zeros if nothing does.

    Subtracting a constant from the response before fitting keeps the digits of values such as
    1 000 000.4 and 1 000 000.6; the constant comes back through these coefficients, exactly where
    x has a constant column.
    """
    matrix = np.asarray(x, dtype=float)
    weights = np.zeros(matrix.shape[1])
    constant = np.flatnonzero((matrix == matrix[0]).all(axis=0) & (matrix[0] != 0.0))
    if len(constant):
        weights[constant[0]] = 1.0 / matrix[0, constant[0]]
        return weights
    ones = np.ones(len(matrix))
    found = np.linalg.lstsq(matrix, ones)[0]
    if np.max(np.abs(matrix @ found - ones)) > DEPENDENT:
        return weights
    return np.asarray(found, dtype=np.float64)


def reference_level(columns: Floats, ones: Floats) -> Floats:
    """What to subtract from every response before fitting, shape (m,): its mean, or zeros."""
    if not np.any(ones):
        return np.zeros(columns.shape[1])
    first = columns[0]
    return np.asarray(first + (columns - first).mean(axis=0), dtype=np.float64)


def rounding(columns: Floats) -> Floats:
    """Sum of squares that rounding alone can leave in every response (n, m), shape (m,)."""
    unit = 4.0 * np.finfo(np.float64).eps * np.abs(columns).max(axis=0)
    return np.asarray(len(columns) * unit**2, dtype=np.float64)
