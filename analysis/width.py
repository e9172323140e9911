"""How wide the 95 % interval of a comparison will be.

References
----------
Kupper, L. L. & Hafner, K. B. (1989). How appropriate are popular sample size formulas?
*The American Statistician* 43:101-105 (citation from memory): an interval planned by its expected
width is wider than planned about every other time.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, sqrt

from scipy import special

from weldtrial.analysis.power import CHANCE, smallest_number
from weldtrial.analysis.precision import Precision, Spread
from weldtrial.analysis.shape import Shape


@dataclass(frozen=True, slots=True)
class Width:
    """Half-widths of the two-sided 95 % interval of a difference, in the response's unit.

    Attributes
    ----------
    expected
        On average.
    probable
        What it stays within, with the target chance.
    """

    expected: float
    probable: float


def half_width(precision: Precision, chance: float = CHANCE) -> Width | None:
    """Return how wide the interval will be, None where there is none.

    Parameters
    ----------
    precision
        At its adjusted error rate where several levels are read together.
    chance
        Above 0 and below 1.

    Notes
    -----
    The half-width is t times the estimated standard error, which is the true one times the root of
    chi-square over its degrees of freedom.
    """
    df = precision.df
    if df < 1:
        return None
    usual = float(special.stdtrit(df, 1 - precision.alpha / 2)) * precision.se
    mean_sd = sqrt(2 / df) * exp(float(special.gammaln((df + 1) / 2) - special.gammaln(df / 2)))
    return Width(usual * mean_sd, usual * sqrt(float(special.chdtri(df, 1 - chance)) / df))


def width_needed(
    shape: Shape, spread: Spread, within: float, chance: float = CHANCE
) -> tuple[int | None, int | None]:
    """Return set-ups of each level and coupons in all that keep the half-width within a number.

    Parameters
    ----------
    shape
        The plan; its coupons in each set-up (and its rounds) are kept.
    within
        Above 0, in the unit of `spread`.
    chance
        With which the half-width stays within.
    """

    def enough(units: int) -> bool:
        found = half_width(shape.resized(units).precision(spread), chance)
        return found is not None and found.probable <= within

    step = shape.step
    units = smallest_number(enough, 2 if shape.by_setups and step == 1 else step, step)
    if units is None:
        return None, None
    sized = shape.resized(units)
    return sized.setups_per_level, sized.coupons
