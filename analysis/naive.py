"""What counting coupons instead of set-ups costs, exactly."""

from __future__ import annotations

import numpy as np
from scipy import special

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
    # Jacobi's weight (1 - x)^a (1 + x)^b is the beta density of U = (1 + x) / 2.
    nodes, weights = special.roots_jacobi(NODES, within / 2.0 - 1.0, between / 2.0 - 1.0)
    share = (1.0 + nodes) / 2.0
    tail = 2.0 * special.stdtr(df, -critical * np.sqrt(share + ratio * (1.0 - share)))
    return float(weights @ tail / weights.sum())
