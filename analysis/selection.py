"""Best of several: the chance that the best looks best, and that it is shown to be.

References
----------
Bechhofer, R. E. (1954). A single-sample multiple decision procedure for ranking means of normal
populations with known variances. *Annals of Mathematical Statistics* 25:16-39 (from memory).
Ramsey, P. H. (1978). Power differences between pairwise multiple comparisons. *J. Am. Stat.
Assoc.* 73:479-485 (all-pairs power; citation from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from scipy import optimize, special

from weldtrial.analysis.power import detectable, power_difference
from weldtrial.analysis.precision import Precision
from weldtrial.analysis.tails import Floats, over_sd, panel

_REACH = 9.0


@dataclass(frozen=True, slots=True)
class Best:
    """What a plan can show of the best of several levels.

    Attributes
    ----------
    levels
        How many are compared.
    by
        By how much the best is truly better than every other, in the response's unit.
    one_shown
        Chance that one level that differs by so much from another is shown to, at the adjusted
        level.
    looks_best
        Chance that the best has the best mean: which to choose, without showing anything.
    shown_best
        Chance that it is shown better than every other, all adjusted comparisons together.  Read
        with a reference, that is today's being better than every other.
    detectable
        Smallest difference of two levels shown with the target chance.
    """

    levels: int
    by: float
    one_shown: float
    looks_best: float
    shown_best: float
    detectable: float | None


def best_of(levels: int, by: float, precision: Precision, target: float) -> Best:
    """Work out what a plan can show of the best of several levels.

    Parameters
    ----------
    levels
        At least 2, all with the same numbers of units.
    by
        Above 0.
    precision
        Of a comparison of two of them, at its adjusted error rates.
    """
    return Best(
        levels=levels,
        by=by,
        one_shown=power_difference(by, precision.se, precision.df, precision.alpha),
        looks_best=chance_best_looks_best(levels, by, precision.variance),
        shown_best=chance_best_is_shown(levels, by, precision),
        detectable=detectable(precision.se, precision.df, target, precision.alpha),
    )


def chance_best_looks_best(levels: int, by: float, variance: float) -> float:
    """Return the chance that the best of several levels has the best mean.

    Parameters
    ----------
    levels
        At least 1.
    by
        True lead over every other level, 0 or more: the least favourable case of "at least".
    variance
        Of the mean of one level, without what they all share (a round); it is not estimated, so
        no degrees of freedom enter.
    """
    if variance == 0:
        return 1.0 if by > 0 else 1.0 / levels
    return float(_all_below(levels, np.array([by / sqrt(variance)]))[0])


def lead_for_best(levels: int, chance: float) -> float:
    """Return the lead, in standard deviations of one mean, at which the best looks best.

    For one coupon of each this is Bechhofer's tabulated constant.
    """
    return float(
        optimize.brentq(lambda d: chance_best_looks_best(levels, d, 1.0) - chance, 0.0, 60.0)
    )


def chance_best_is_shown(levels: int, by: float, precision: Precision) -> float:
    """Return the chance that the best is shown better than every other level, all at once."""
    if precision.df < 1:
        return 0.0
    cut = float(special.stdtrit(precision.df, 1 - precision.alpha / 2))
    if precision.variance == 0:
        return 1.0 if by > 0 else 0.0
    lead = by / sqrt(precision.variance)
    corner = lead / (cut * sqrt(2))
    return over_sd(
        precision.df,
        lambda s: _all_below(levels, lead - cut * sqrt(2) * s),
        (corner / 2, corner, corner * 1.5),
    )


def _all_below(levels: int, leads: Floats) -> Floats:
    """Return P(all other means lie below the best's by its lead) for each lead."""
    total = np.zeros(len(leads))
    for low, high in ((-_REACH, -3.0), (-3.0, 0.0), (0.0, 3.0), (3.0, _REACH)):
        z, weights = panel(low, high)
        density = weights * np.exp(-z * z / 2) / sqrt(2 * np.pi)
        total += special.ndtr(z[None, :] + leads[:, None]) ** (levels - 1) @ density
    return np.asarray(np.minimum(total, 1.0))
