"""What a comparison of two levels can show, worked out before it is welded.

Everything is exact for balanced designs: the noncentral t distribution at the degrees of freedom
of the stratum that the levels are changed in.  With set-ups the unit is the set-up, and coupons
only sharpen each set-up's mean; the same rule is used in the analysis.

References
----------
Johnson, Kotz & Balakrishnan (1995). *Continuous Univariate Distributions*, vol. 2, 2nd ed.,
chapter 31 (the noncentral t; from memory).
Owen (1965). *Biometrika* 52:437-446 (both one-sided tests together; citation from memory).
Julious (2004). Sample sizes for clinical trials with normal data. *Statistics in Medicine*
23:1921-1986 (no-worse and equal-enough trials; citation from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, sqrt

import numpy as np
from scipy import optimize, special

from weldtrial.analysis.precision import ALPHA, Precision, Spread, by_setups, shuffled
from weldtrial.analysis.tails import Floats, over_sd, panel, t_above, t_within
from weldtrial.shared.responses import Ask, Response

__all__ = [
    "ALPHA",
    "CHANCE",
    "Aim",
    "Precision",
    "Spread",
    "aim_of",
    "by_setups",
    "chance_to_show",
    "coupons_needed",
    "detectable",
    "power_difference",
    "power_equivalent",
    "power_equivalent_percent",
    "power_f",
    "power_no_worse",
    "setups_needed",
    "shuffled",
    "smallest_number",
]

CHANCE = 0.8
"""Chance that a plan is sized for unless said otherwise: four times in five."""
MOST = 100_000
"""Set-ups or coupons beyond which nothing is worth planning."""


def _critical(df: float, alpha: float) -> float:
    return float(special.stdtrit(df, 1 - alpha))


def _shift(distance: float, se: float) -> float:
    """Return a distance in standard errors; without scatter any distance is infinitely far."""
    if se == 0:
        return 0.0 if distance == 0 else inf * (1 if distance > 0 else -1)
    return distance / se


def power_difference(delta: float, se: float, df: float, alpha: float = ALPHA) -> float:
    """Return the chance that a true difference is shown two-sided, in either direction.

    Parameters
    ----------
    delta
        True difference, in the unit of `se`.
    se
        Standard error of the difference, above 0.
    df
        Degrees of freedom; below 1 nothing is ever shown.
    alpha
        Two-sided error rate, in (0, 1).
    """
    if df < 1:
        return 0.0
    cut = _critical(df, alpha / 2)
    shift = _shift(abs(delta), se)
    return t_above(cut, df, shift) + t_above(cut, df, -shift)


def detectable(se: float, df: float, chance: float = CHANCE, alpha: float = ALPHA) -> float | None:
    """Return the smallest true difference shown with at least `chance`, or None if none is.

    Parameters
    ----------
    chance
        Above `alpha` and below 1.
    """
    if df < 1:
        return None
    # In units of the standard error; half the chance is reached near the critical value.
    top = _critical(df, alpha / 2)
    while power_difference(top, 1.0, df, alpha) < chance:
        top *= 2
    root = optimize.brentq(lambda d: power_difference(d, 1.0, df, alpha) - chance, 0.0, top)
    return float(root) * se


def power_no_worse(
    margin: float, se: float, df: float, truth: float = 0.0, alpha: float = ALPHA
) -> float:
    """Return the chance to show "no worse by more than the margin", one-sided at `alpha`.

    Parameters
    ----------
    margin
        Above 0, in the unit of `se`.
    se
        Standard error of what is tested; for a percent margin that of one mean less (1 − m)
        times the other (`Precision.se_scaled`).
    truth
        True change, signed so that minus is worse.
    """
    return 0.0 if df < 1 else t_above(_critical(df, alpha), df, _shift(margin + truth, se))


def power_equivalent(
    margin: float, se: float, df: float, truth: float = 0.0, alpha: float = ALPHA
) -> float:
    """Return the chance to show "equal within the margin": both one-sided tests at `alpha`."""
    if df < 1:
        return 0.0
    return t_within(
        _critical(df, alpha), df, _shift(margin + truth, se), _shift(margin - truth, se)
    )


def power_equivalent_percent(
    fraction: float, mean: float, precision: Precision, alpha: float = ALPHA
) -> float:
    """Return the chance to show two equal levels equal within a fraction of the reference mean.

    Each limit is its own contrast, one mean less (1 ± m) times the other, so the two tests do
    not share a standard error; the chance is integrated over both means and the scatter.

    Parameters
    ----------
    fraction
        The margin m, in (0, 1).
    mean
        True mean of both levels, above 0.
    """
    if precision.df < 1:
        return 0.0
    cut, sd = _critical(precision.df, alpha), sqrt(precision.variance)
    sd_reference = sqrt(precision.reference)
    if precision.se == 0:
        return 1.0
    low_se, high_se = (precision.se_scaled(1 + sign * fraction) for sign in (-1, 1))

    def at(s: float) -> float:
        start = (cut * s * (low_se + high_se) / (2 * fraction) - mean) / sd_reference
        if start >= 9:
            return 0.0
        total = 0.0
        middle = max(start, 0.0)
        for low, high in ((max(start, -9.0), middle), (middle, 9.0)):
            x, weights = panel(low, high)
            upper = fraction * mean + (1 + fraction) * sd_reference * x - cut * s * high_se
            lower = -fraction * mean + (1 - fraction) * sd_reference * x + cut * s * low_se
            both = np.maximum(0.0, special.ndtr(upper / sd) - special.ndtr(lower / sd))
            total += float(np.sum(weights * both * np.exp(-x * x / 2)) / sqrt(2 * np.pi))
        return total

    def given(s: Floats) -> Floats:
        return np.array([at(float(one)) for one in s])

    return over_sd(precision.df, given, (fraction * mean * 2 / (cut * (low_se + high_se)),))


def power_f(noncentrality: float, df_num: float, df_den: float, alpha: float = ALPHA) -> float:
    """Return the chance that an F test shows something.

    Parameters
    ----------
    noncentrality
        Sum of squared true effects over the error variance of the stratum, 0 or more.
    df_num, df_den
        Degrees of freedom, each at least 1; with no `df_den` nothing is ever shown.
    """
    if df_den < 1:
        return 0.0
    cut = float(special.fdtri(df_num, df_den, 1 - alpha))
    if noncentrality == 0:
        return float(special.fdtrc(df_num, df_den, cut))
    return float(1 - special.ncfdtr(df_num, df_den, noncentrality, cut))


@dataclass(frozen=True, slots=True)
class Aim:
    """What the deciding response asks, ready to be worked out.

    Attributes
    ----------
    ask
        ``difference``, ``no-worse`` or ``equal-enough``.
    margin
        In the response's unit; None when there is none.
    fraction
        The margin as a fraction of the reference mean when it was given in percent.
    mean
        Expected mean, in the response's unit.
    sign
        +1 when higher is better, −1 when lower is.
    """

    ask: Ask
    margin: float | None
    mean: float
    fraction: float | None = None
    sign: int = 1


def aim_of(response: Response, mean: float) -> Aim:
    """Return what a response asks, for an expected mean."""
    if response.margin is None:
        return Aim(response.ask, None, mean, None, response.sign)
    fraction = response.margin.value if response.margin.percent else None
    return Aim(response.ask, response.margin.in_units(mean), mean, fraction, response.sign)


def chance_to_show(aim: Aim, precision: Precision, ask: Ask | None = None) -> float | None:
    """Return the chance to show what is asked, or None without a margin to ask about.

    For ``no-worse`` and ``equal-enough`` the two levels are truly equal; for ``difference`` the
    true gap is exactly the margin.

    Parameters
    ----------
    ask
        Another question than the aim's own.
    """
    margin = aim.margin
    if margin is None:
        return None
    ask = ask or aim.ask
    if ask == "difference":
        return power_difference(margin, precision.se, precision.df, precision.alpha)
    one = precision.alpha_one
    if ask == "no-worse":
        scale = 1.0 if aim.fraction is None else 1 - aim.sign * aim.fraction
        return power_no_worse(margin, precision.se_scaled(scale), precision.df, alpha=one)
    if aim.fraction is None:
        return power_equivalent(margin, precision.se, precision.df, alpha=one)
    return power_equivalent_percent(aim.fraction, abs(aim.mean), precision, alpha=one)


def smallest_number(enough: Callable[[int], bool], start: int = 2, step: int = 1) -> int | None:
    """Return the smallest of start, start + step, ... that is enough, None beyond `MOST`.

    `enough` has to stay true once it is.
    """
    low, jump = start - step, step
    while not enough(low + jump):
        low += jump
        jump *= 2
        if low + jump > MOST:
            return None
    high = low + jump
    while high - low > step:
        middle = low + (high - low) // (2 * step) * step
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def setups_needed(
    spread: Spread,
    coupons: int,
    shows: Callable[[Precision], float],
    *,
    paired: bool,
    chance: float = CHANCE,
) -> int | None:
    """Return the set-ups of each level that give `shows` its chance, or None beyond reach.

    Parameters
    ----------
    coupons
        Counting coupons in each set-up.
    shows
        The chance that a precision gives, such as ``lambda p: power_difference(5, p.se, p.df)``.
    """
    return smallest_number(
        lambda setups: shows(by_setups(spread, setups, coupons, paired=paired)) >= chance
    )


def coupons_needed(
    spread: Spread,
    shows: Callable[[Precision], float],
    *,
    chance: float = CHANCE,
    extra_terms: int = 0,
    step: int = 1,
) -> int | None:
    """Return the coupons of each level that a complete shuffle needs, or None beyond reach.

    Parameters
    ----------
    extra_terms
        Unknowns of the model besides the two means.
    step
        Whole replicates: coupons of each level come in steps of this.
    """

    def enough(coupons: int) -> bool:
        return shows(shuffled(spread, coupons, df=2 * coupons - 2 - extra_terms)) >= chance

    start = -(-2 // step) * step
    return smallest_number(enough, start, step)
