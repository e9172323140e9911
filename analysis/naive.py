"""What counting coupons instead of set-ups costs, exactly."""

from __future__ import annotations

import numpy as np
from scipy import special

from weldtrial.analysis.linear import Floats

NODES = 64
"""Gauss-Jacobi nodes of the integral over how the scatter divides."""


def naive_false_alarm(
    setups_per_gas: int,
    coupons_per_setup: int,
    sd_coupon: float,
    sd_setup: float,
    alpha: float = 0.05,
) -> float:
    """Chance that a two-sample t test on coupons calls two equal gases different.

    Parameters
    ----------
    setups_per_gas
        Set-ups of each of the two gases, at least 1.
    coupons_per_setup
        Coupons in every set-up, at least 1; each gas needs two coupons.
    sd_coupon
        Standard deviation of coupons within a set-up, above 0, response unit.
    sd_setup
        Standard deviation between set-ups, 0 or more, response unit.
    alpha
        What the test promises, between 0 and 1.

    Returns
    -------
    float
        The chance, from alpha (one coupon a set-up, or no set-up scatter) upwards.

    Notes
    -----
    In a balanced layout the difference of means and both sums of squares are independent, so
    t^2 = F(1, nu) / (U + r (1 - U)), with r the coupon mean square over the set-up mean square and
    U, the set-ups' share of chi-square, beta distributed and independent of F. One integral over
    U is left (derived here; Snedecor, G. W. & Cochran, W. G., Statistical Methods, for the sums of
    squares of nested samples).
    """
    if setups_per_gas < 1 or coupons_per_setup < 1 or setups_per_gas * coupons_per_setup < 2:
        raise ValueError("each gas needs a set-up and two coupons")
    if not sd_coupon > 0.0 or not sd_setup >= 0.0 or not 0.0 < alpha < 1.0:
        raise ValueError("sd_coupon must be above 0, sd_setup 0 or more, alpha between 0 and 1")
    ratio = sd_coupon**2 / (sd_coupon**2 + coupons_per_setup * sd_setup**2)
    between = 2 * (setups_per_gas - 1)
    within = 2 * setups_per_gas * (coupons_per_setup - 1)
    df = between + within
    critical = float(special.stdtrit(df, 1.0 - alpha / 2.0))
    if within == 0:
        return alpha
    if between == 0:
        return float(2.0 * special.stdtr(df, -critical * ratio**0.5))
    share, weights = _beta_rule(between / 2.0, within / 2.0)
    tail = 2.0 * special.stdtr(df, -critical * np.sqrt(share + ratio * (1.0 - share)))
    return float(weights @ tail)


def _beta_rule(first: float, second: float) -> tuple[Floats, Floats]:
    """Gauss nodes and weights for the mean over a beta(first, second) variable.

    Eigenvalues of the Jacobi matrix (Golub, G. H. & Welsch, J. H. (1969), Mathematics of
    Computation 23, 221-230); scipy's own rule overflows beyond a thousand coupons.
    """
    a, b = second - 1.0, first - 1.0
    n = np.arange(1.0, NODES)
    total = 2.0 * n + a + b
    middle = np.append((b - a) / (a + b + 2.0), (b - a) * (b + a) / (total * (total + 2.0)))
    side = 4.0 * n[1:] * (n[1:] + a) * (n[1:] + b) * (n[1:] + a + b)
    side /= total[1:] ** 2 * (total[1:] + 1.0) * (total[1:] - 1.0)
    start = 4.0 * (1.0 + a) * (1.0 + b) / ((2.0 + a + b) ** 2 * (3.0 + a + b))
    off = np.sqrt(np.append(start, side))
    nodes, vectors = np.linalg.eigh(np.diag(middle) + np.diag(off, 1) + np.diag(off, -1))
    return (1.0 + nodes) / 2.0, np.asarray(vectors[0] ** 2, dtype=np.float64)
