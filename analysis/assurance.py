"""The chance of success when the scatter itself is uncertain: averaged over what is left open.

A chance worked out from a pilot's standard deviation takes it as the truth.  It is an estimate:
with s from df degrees of freedom, the true variance may be s²·df/χ² for any χ² that such a pilot
could have given.  The chance averaged over those values is what the plan delivers, pilot included
(Spiegelhalter & Freedman call it the assurance).

With set-ups a pilot measures two mean squares.  That of the set-up means, M = s_setup² + s²/n for
n coupons a set-up, is the chi-square quantity, not s_setup² itself; the set-up variance that a pair
of draws leaves is max(0, M' − σ²/n).  Draws in which set-ups would have agreed better than chance
count as no set-up scatter: that truncation makes the average a little too cautious, and is ours.
Readings scatter as planned, in the pilot and in the trial.

References
----------
Spiegelhalter & Freedman (1986). A predictive approach to selecting the size of a clinical trial,
based on subjective clinical opinion. *Statistics in Medicine* 5:1-13 (citation from memory).
Browne (1995). On the use of a pilot sample for sample size determination. *Statistics in Medicine*
14:1933-1940: plan with an upper limit of the standard deviation (citation from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from math import hypot, inf, isinf, sqrt

import numpy as np
from scipy import interpolate, special

from weldtrial.analysis.power import CHANCE, Aim, Precision, Spread, chance_to_show, smallest_number
from weldtrial.analysis.shape import Shape
from weldtrial.analysis.tails import Floats
from weldtrial.shared.responses import Ask, Typical

NODES = 64
"""Quadrature points over the quantile of a chi-square."""
FLAT_NODES = 16
"""Quadrature points over a range of the trade."""
CAUTIOUS = 0.8
"""Confidence of the upper limit of a standard deviation that a cautious plan takes."""
_STEP = 0.25
"""Between the points at which the chance is worked out, in the logarithm of the variance."""

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Uncertain:
    """Scatter, and how well it is known.

    Attributes
    ----------
    spread
        The figures themselves (the middle of the ranges, where only ranges are known).
    coupon_df, setup_df
        Degrees of freedom behind them; None where a figure is taken as known.
    pilot_per_setup
        Coupons in each set-up of the pilot; infinite where the scatter between set-ups was found
        apart from that of coupons.
    coupon_range, setup_range
        Where only ranges are known (the trade's), these: every value in them is as likely.
    """

    spread: Spread
    coupon_df: float | None = None
    setup_df: float | None = None
    pilot_per_setup: float = inf
    coupon_range: Span | None = None
    setup_range: Span | None = None

    @property
    def known(self) -> bool:
        """Whether nothing is left open, so that averaging changes nothing."""
        limits = (self.coupon_df, self.setup_df, self.coupon_range, self.setup_range)
        return all(one is None for one in limits)


@dataclass(frozen=True, slots=True)
class Averaged:
    """A chance averaged over what is left open, beside the plug-in answer.

    Attributes
    ----------
    plug_in, chance
        Chance with the figures taken as the truth, and averaged.
    cautious
        Chance when the scatter is at the 80 % upper limit of each uncertain figure (for ranges:
        four fifths up).
    coupon, setup
        95 % interval of each standard deviation, or its range; None where taken as known.
    coupon_upper, setup_upper
        The 80 % upper limits that `cautious` takes.
    wanted
        Chance that `setups_per_level` and `coupons` are for.
    setups_per_level, coupons
        Set-ups of each level and counting coupons whose *averaged* chance reaches `wanted`;
        None beyond reach, `setups_per_level` also for a complete shuffle.
    prior
        True when it is averaged over the trade's ranges and not over a pilot.
    """

    plug_in: float
    chance: float
    cautious: float
    coupon: Span | None
    setup: Span | None
    coupon_upper: float
    setup_upper: float
    wanted: float
    setups_per_level: int | None
    coupons: int | None
    prior: bool


def from_typical(typical: Typical) -> Uncertain:
    """Return what the pilot behind a response's typical figures leaves open.

    Coupons of several set-ups were pooled within them, which costs a degree of freedom for each;
    where there are no more coupons than set-ups the two figures came from different pilots.
    """
    coupons, setups = typical.pilot_coupons, typical.pilot_setups
    pooled = coupons is not None and setups is not None and coupons > setups
    return Uncertain(
        Spread(typical.sd_coupon, typical.sd_setup),
        None if coupons is None else float(coupons - (setups or 1) if pooled else coupons - 1),
        None if setups is None else float(setups - 1),
        coupons / setups if pooled and coupons and setups else inf,
    )


def sd_interval(sd: float, df: float, confidence: float = 0.95) -> Span:
    """Return the interval of a standard deviation that was estimated on `df` degrees of freedom.

    Parameters
    ----------
    sd
        0 or more, in any unit.
    df
        Above 0.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.8 (chi-square for one variance).
    """
    tail = (1 - confidence) / 2
    return sd_upper(sd, df, tail), sd_upper(sd, df, 1 - tail)


def sd_upper(sd: float, df: float, confidence: float = CAUTIOUS) -> float:
    """Return the one-sided upper confidence limit of a standard deviation (Browne 1995)."""
    return sd * float(np.sqrt(df / special.chdtri(df, confidence)))


@cache
def _rule(nodes: int) -> tuple[Floats, Floats]:
    """Return Gauss-Legendre nodes and weights on 0 to 1."""
    at, weights = special.roots_sh_legendre(nodes)
    return np.asarray(at), np.asarray(weights)


def _draws(value: float, df: float | None) -> tuple[Floats, Floats]:
    """Return the true variances that an estimate of `value` on `df` leaves open, and weights."""
    if df is None:
        return np.array([value]), np.ones(1)
    at, weights = _rule(NODES)
    left: Floats = np.asarray(value * df / special.chdtri(df, at), dtype=np.float64)
    return left, weights


def _spreads(uncertain: Uncertain) -> tuple[Floats, Floats, Floats]:
    """Return coupon variances, set-up variances and weights, each flat."""
    spread = uncertain.spread
    if uncertain.coupon_range is not None or uncertain.setup_range is not None:
        at, even = _rule(FLAT_NODES)
        sides = [
            (value**2 * np.ones(1), np.ones(1))
            if span is None
            else ((span[0] + (span[1] - span[0]) * at) ** 2, even)
            for value, span in (
                (spread.coupon, uncertain.coupon_range),
                (spread.setup, uncertain.setup_range),
            )
        ]
        (coupon, coupon_weight), (setup, setup_weight) = sides
        left = np.broadcast_to(setup, (len(coupon), len(setup)))
    else:
        coupon, coupon_weight = _draws(spread.coupon**2, uncertain.coupon_df)
        share = 0.0 if uncertain.setup_df is None else 1 / uncertain.pilot_per_setup
        mean_square, setup_weight = _draws(
            spread.setup**2 + share * spread.seen**2, uncertain.setup_df
        )
        reading = spread.reading**2 / spread.readings
        left = np.maximum(0.0, mean_square[None, :] - share * (coupon + reading)[:, None])
    weights = coupon_weight[:, None] * setup_weight[None, :]
    return np.repeat(coupon, left.shape[1]), left.ravel(), weights.ravel()


def averaged(
    shape: Shape, uncertain: Uncertain, shows: Callable[[Precision], float | None]
) -> float:
    """Return a chance averaged over what is left open of the scatter.

    Parameters
    ----------
    shows
        The chance that a precision gives.

    Notes
    -----
    The chance depends on the scatter through the variance of a level's mean alone; it is worked
    out along the logarithm of that variance and interpolated by a cubic spline (to about 1e-5).
    """
    one = shape.precision(uncertain.spread)
    if one.df < 1:
        return 0.0
    by_coupon = shape.precision(Spread(1.0, 0.0)).variance
    by_setup = shape.precision(Spread(0.0, 1.0)).variance
    coupon, setup, weights = _spreads(uncertain)
    reading = uncertain.spread.reading**2 / uncertain.spread.readings
    variances = by_coupon * (coupon + reading) + by_setup * setup

    def chance(variance: float) -> float:
        return shows(replace(one, variance=variance)) or 0.0

    logs = np.log(variances)
    low, high = float(logs.min()), float(logs.max())
    points = max(8, int((high - low) / _STEP) + 2)
    if len(variances) <= points or high - low < 1e-9:
        return float(sum(w * chance(float(v)) for v, w in zip(variances, weights, strict=True)))
    grid = np.linspace(low, high, points)
    curve = interpolate.CubicSpline(grid, [chance(float(np.exp(at))) for at in grid])
    return float(np.clip(np.sum(weights * np.clip(curve(logs), 0.0, 1.0)), 0.0, 1.0))


def averaged_chance(
    shape: Shape, uncertain: Uncertain, aim: Aim, ask: Ask | None = None
) -> float | None:
    """Return the averaged chance to show what is asked, None without a margin to ask about."""
    if aim.margin is None:
        return None
    return averaged(shape, uncertain, lambda precision: chance_to_show(aim, precision, ask))


def look_at(
    shape: Shape,
    uncertain: Uncertain,
    aim: Aim,
    wanted: float = CHANCE,
    ask: Ask | None = None,
) -> Averaged | None:
    """Return the averaged chance of a plan beside the plug-in one, and what would reach a chance.

    None where nothing is left open, or no margin says what is to be shown.
    """
    if uncertain.known or aim.margin is None:
        return None
    upper = _upper(uncertain)
    plug_in = chance_to_show(aim, shape.precision(uncertain.spread), ask)
    found = averaged_chance(shape, uncertain, aim, ask)
    cautious = chance_to_show(aim, shape.precision(upper), ask)
    assert plug_in is not None
    assert found is not None
    assert cautious is not None
    units = _needed(shape, uncertain, aim, wanted, ask)
    sized = None if units is None else shape.resized(units)
    coupon, setup = _intervals(uncertain)
    return Averaged(
        plug_in=plug_in,
        chance=found,
        cautious=cautious,
        coupon=coupon,
        setup=setup,
        coupon_upper=upper.coupon,
        setup_upper=upper.setup,
        wanted=wanted,
        setups_per_level=None if sized is None else sized.setups_per_level,
        coupons=None if sized is None else sized.coupons,
        prior=uncertain.coupon_range is not None,
    )


def _needed(
    shape: Shape, uncertain: Uncertain, aim: Aim, wanted: float, ask: Ask | None
) -> int | None:
    def enough(units: int) -> bool:
        return (averaged_chance(shape.resized(units), uncertain, aim, ask) or 0.0) >= wanted

    step = shape.step
    return smallest_number(enough, 2 if shape.by_setups and step == 1 else step, step)


def _intervals(uncertain: Uncertain) -> tuple[Span | None, Span | None]:
    """Return the interval (or range) of both standard deviations, None where taken as known."""
    coupon, setup = uncertain.coupon_range, uncertain.setup_range
    if uncertain.coupon_df is not None:
        coupon = sd_interval(uncertain.spread.coupon, uncertain.coupon_df)
    if uncertain.setup_df is not None:
        low, high = sd_interval(_setup_mean_sd(uncertain), uncertain.setup_df)
        setup = _less_coupons(uncertain, low), _less_coupons(uncertain, high)
    return coupon, setup


def _setup_mean_sd(uncertain: Uncertain) -> float:
    """Return the standard deviation of the pilot's set-up means."""
    spread = uncertain.spread
    return hypot(spread.setup, spread.seen / sqrt(uncertain.pilot_per_setup))


def _less_coupons(uncertain: Uncertain, mean_sd: float) -> float:
    """Return the set-up scatter behind set-up means that scatter with `mean_sd`."""
    if isinf(uncertain.pilot_per_setup):
        return mean_sd
    return sqrt(max(0.0, mean_sd**2 - uncertain.spread.seen**2 / uncertain.pilot_per_setup))


def _upper(uncertain: Uncertain) -> Spread:
    """Return the 80 % upper limits, or four fifths up a range."""

    def up(value: float, span: Span | None, df: float | None) -> float:
        if span is not None:
            return span[0] + CAUTIOUS * (span[1] - span[0])
        return value if df is None else sd_upper(value, df)

    setup = uncertain.spread.setup
    if uncertain.setup_df is not None:
        high = sd_upper(_setup_mean_sd(uncertain), uncertain.setup_df)
        setup = _less_coupons(uncertain, high)
    else:
        setup = up(setup, uncertain.setup_range, None)
    coupon = up(uncertain.spread.coupon, uncertain.coupon_range, uncertain.coupon_df)
    return replace(uncertain.spread, coupon=coupon, setup=setup)
