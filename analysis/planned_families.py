"""Critical values of several comparisons read together, quickly, for balanced plans.

A plan weighs hundreds of ways to weld, each with degrees of freedom of its own, so its critical
values are worked out by fixed quadrature (to about 1e-7) instead of one by one with scipy; the
analysis of results (`weldtrial.analysis.simultaneous`) takes its own, for any covariance.

References
----------
Dunnett (1955). *J. Am. Stat. Assoc.* 50:1096-1121 (several with one reference, equal numbers).
Kramer (1956). *Biometrics* 12:307-310 (all pairs; the studentised range).
"""

from __future__ import annotations

from functools import cache
from math import comb, sqrt
from typing import Literal

import numpy as np
from scipy import optimize, special

from weldtrial.analysis.tails import Floats, over_sd

_NODES = 64
_FAR = 8.5


@cache
def _nodes() -> tuple[Floats, Floats]:
    """Return points and weights that integrate over a standard normal variable."""
    at, weights = special.roots_legendre(_NODES)
    z = _FAR * np.asarray(at)
    return z, np.asarray(weights) * _FAR * np.exp(-z * z / 2) / sqrt(2 * np.pi)


def chance_within(
    critical: float, family: Literal["reference", "pairs"], levels: int, df: float
) -> float:
    """Return the chance that every |t| of a family stays within a critical value.

    Parameters
    ----------
    critical
        0 or more.
    levels
        Levels compared, 3 or more, with equal numbers of coupons (or set-ups).
    df
        Degrees of freedom, 1 or more.
    """
    z, weights = _nodes()

    def with_reference(s: Floats) -> Floats:
        # All share the reference's mean, so they correlate by a half.
        bound = critical * sqrt(2.0) * s[:, None]
        inside = special.ndtr(z + bound) - special.ndtr(z - bound)
        return np.asarray(inside ** (levels - 1) @ weights)

    def among_pairs(s: Floats) -> Floats:
        reach = critical * sqrt(2.0) * s[:, None]
        inside = special.ndtr(z + reach) - special.ndtr(z)
        return np.asarray(levels * (inside ** (levels - 1) @ weights))

    return over_sd(df, with_reference if family == "reference" else among_pairs)


@cache
def critical_value(
    family: Literal["reference", "pairs"], levels: int, df: int, confidence: float
) -> float:
    """Return the |t| that all of a family stay within with a confidence, in (0, 1)."""
    several = levels - 1 if family == "reference" else comb(levels, 2)
    least = float(special.stdtrit(df, (1 + confidence) / 2))
    most = float(special.stdtrit(df, 1 - (1 - confidence) / 2 / several))
    return float(
        optimize.brentq(
            lambda c: chance_within(c, family, levels, df) - confidence, least, most, xtol=1e-9
        )
    )
