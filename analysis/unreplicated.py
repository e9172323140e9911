"""A saturated fit: as many coefficients as coupons, judged by Lenth's yardstick or not at all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldtrial.analysis.lenth import Lenth
from weldtrial.analysis.linear import Denominator, Floats
from weldtrial.shared.problems import NotEstimable

TILTED = 1e-8


@dataclass(frozen=True, slots=True)
class NoYardstick:
    """Nothing shows scatter: every critical value and every p is not a number."""

    def critical(self, confidence: float) -> float:
        """Not a number."""
        return float("nan")

    def p(self, ratio: float) -> float:
        """Not a number."""
        return float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class UnreplicatedFit:
    """Coefficients of a saturated orthogonal design.

    Attributes
    ----------
    coefficients
        Shape (p,), response unit per coded unit.
    covariance
        Diagonal, from the pseudo standard error: shape (p, p).
    yardstick
        Lenth's, taken from every coefficient but the intercept and the blocks; none at all where
        there are too few.
    residual_variance
        Variance of a coupon that the pseudo standard error stands for.
    fitted, residuals
        Shape (n,); nothing is left over.
    """

    coefficients: Floats
    covariance: Floats
    yardstick: Lenth | NoYardstick
    residual_variance: float
    fitted: Floats
    residuals: Floats

    def denominator(self, contrasts: Floats) -> Denominator:
        """There are no error degrees of freedom."""
        return Denominator(float("nan"))


def fit_unreplicated(x: Floats, y: Floats, contrasts: int) -> UnreplicatedFit:
    """Fit a saturated design.

    Parameters
    ----------
    x
        Model matrix, shape (n, n): the intercept, `contrasts` single-column terms, blocks.
        The terms must be orthogonal to each other and to the rest, and of one length.
    y
        Response, shape (n,).
    contrasts
        How many columns after the intercept are effects to be judged.

    Raises
    ------
    NotEstimable
        With fewer than seven contrasts, or when they do not share one variance.
    """
    if not contrasts:
        raise NotEstimable(f"{len(y)} coupons cannot show both a level and the scatter around it")
    terms = x[:, 1 : 1 + contrasts]
    lengths = (terms**2).sum(axis=0)
    cross = x.T @ terms
    cross[1 : 1 + contrasts] -= np.diag(lengths)
    if np.max(np.abs(cross)) > TILTED * lengths.max() or np.ptp(lengths) > TILTED * lengths.max():
        raise NotEstimable(
            "as many unknowns as coupons, and unbalanced settings: nothing is left to show scatter",
            hint="weld replicates, or leave out terms",
        )
    centre = float(y.mean())
    coefficients = np.asarray(np.linalg.solve(x, y - centre), dtype=np.float64)
    coefficients[0] += centre
    yardstick = Lenth.of(coefficients[1 : 1 + contrasts])
    return UnreplicatedFit(
        coefficients=coefficients,
        covariance=yardstick.pse**2 * np.eye(len(y)),
        yardstick=yardstick,
        residual_variance=yardstick.pse**2 * float(lengths[0]),
        fitted=y.copy(),
        residuals=np.zeros(len(y)),
    )


def fit_bare(x: Floats, y: Floats) -> UnreplicatedFit:
    """Fit a saturated design of which nothing shows scatter: estimates and no error at all."""
    centre = float(y.mean())
    coefficients = np.asarray(np.linalg.solve(x, y - centre), dtype=np.float64)
    ones = np.linalg.solve(x, np.ones(len(y)))
    return UnreplicatedFit(
        coefficients=coefficients + centre * ones,
        covariance=np.full((len(y), len(y)), np.nan),
        yardstick=NoYardstick(),
        residual_variance=float("nan"),
        fitted=y.copy(),
        residuals=np.zeros(len(y)),
    )
