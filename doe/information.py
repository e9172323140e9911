"""The information that coupons carry when those of one set-up scatter together.

Coupons of one set-up share its scatter: V = I + g ZZ', in coupon variances, with g the ratio of
set-up to coupon variance.  So X'V⁻¹X is the gram matrix within set-ups, and the set-ups' sums at
the variance that a sum of m coupons has, m (1 + g m).

References
----------
Goos & Vandebroek (2001). Optimal split-plot designs. *Journal of Quality Technology* 33:436-450
(from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from weldtrial.shared.coding import contrast_columns
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term

Matrix = NDArray[np.float64]
Codes = NDArray[np.intp]

NONE = 1e-10
"""Share of a column's sum of squares below which nothing of it is left."""
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Scatter:
    """Standard deviations to plan with, in the response's unit.

    Attributes
    ----------
    coupon
        Between coupons of one set-up, as the analysis sees it (readings averaged); above 0.
    setup
        Between set-ups, 0 or more.
    """

    coupon: float
    setup: float = 0.0

    @property
    def ratio(self) -> float:
        """Set-up variance in coupon variances."""
        return (self.setup / self.coupon) ** 2


def information(matrix: Matrix, setup: Codes | None, ratio: float) -> Matrix:
    """Return X'V⁻¹X in coupon variances.

    Parameters
    ----------
    matrix
        Shape (n, p).
    setup
        Set-up of every coupon, shape (n,), from 0; None where coupons scatter one by one.
    ratio
        Set-up variance in coupon variances, 0 or more; without set-ups of no account.
    """
    if setup is None:
        return np.asarray(matrix.T @ matrix)
    sizes, sums, within = split(matrix, setup)
    weights = 1.0 / (sizes * (1.0 + ratio * sizes))
    return np.asarray(within + (sums.T * weights) @ sums)


def split(matrix: Matrix, setup: Codes) -> tuple[Matrix, Matrix, Matrix]:
    """Return the sizes of set-ups, their sums of the columns, and the gram matrix within them."""
    sizes = np.bincount(setup).astype(float)
    sums = np.zeros((len(sizes), matrix.shape[1]))
    np.add.at(sums, setup, matrix)
    inside = matrix - (sums / np.maximum(sizes, 1.0)[:, None])[setup]
    return sizes, sums, np.asarray(inside.T @ inside)


def covariance(matrix: Matrix, setup: Codes | None, ratio: float) -> Matrix:
    """Return the covariance of the coefficients in coupon variances; arguments as `information`.

    Raises
    ------
    ValueError
        When the columns are not independent.
    """
    found = information(matrix, setup, ratio)
    scale = np.sqrt(np.maximum(np.diag(found), 1e-300))
    scaled = found / np.outer(scale, scale)
    if np.linalg.eigvalsh(scaled)[0] < NONE:
        raise ValueError("the columns of the matrix are not independent")
    return np.asarray(np.linalg.inv(scaled) / np.outer(scale, scale))


def effect_rows(factors: Sequence[Factor], term: Term) -> Matrix:
    """Return what turns the coefficients of a term into its effects, one row for each.

    The effect of a number is low to high; that of its square is the coefficient; of a category
    there is one for each two levels; an interaction is half the difference of two effects, as for
    two factors of two levels (`weldtrial.shared.coding.unit_effects` says the same backwards).

    Returns
    -------
    Shape (effects, columns of the term).
    """
    known = {factor.name: factor for factor in factors}
    rows = np.array([[1.0 if any(power > 1 for _, power in term.powers) else 2.0]])
    for name, _ in term.powers:
        factor = known[name]
        if factor.kind == "category":
            coded = np.array([contrast_columns(factor, level) for level in factor.levels])
            pairs = [coded[a] - coded[b] for a in range(len(coded)) for b in range(a)]
            rows = np.kron(rows, np.array(pairs) / 2.0)
    return np.asarray(rows)


def t_quantile(df: float) -> float:
    """Return the two-sided 95 % quantile of t; infinite without degrees of freedom."""
    return float(stdtrit(df, 0.5 + CONFIDENCE / 2)) if df > 0 else float("inf")
