"""Two reported averages compared, from nothing but means, spreads and numbers of coupons.

Coupons are taken at face value, as independent; `weldtrial.analysis.clustered` says what becomes of
it when several share a set-up.

References
----------
Welch, B. L. (1947). The generalization of 'Student's' problem when several different population
variances are involved. *Biometrika* 34:28-35.
Friedrich, J. O., Adhikari, N. K. J. & Beyene, J. (2008). The ratio of means method as an
alternative to mean differences. *BMC Med. Res. Methodol.* 8:32 (log of a ratio of means and its
delta-method error).
Steiger, J. H. & Fouladi, R. T. (1997). Noncentrality interval estimation and the evaluation of
statistical models. In *What If There Were No Significance Tests?* (a standardised difference and
its interval from t).  Citations from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log, nan, sqrt

from scipy import optimize, special

from weldtrial.analysis.evidence import Side
from weldtrial.analysis.judge import Bounds
from weldtrial.analysis.power import detectable
from weldtrial.analysis.tails import t_above
from weldtrial.shared.problems import NotEstimable

STEADY = 0.2
"""Largest standard error of a mean, as a share of it, at which its logarithm is a fair scale."""


@dataclass(frozen=True, slots=True)
class Moments:
    """Mean and standard deviation of `n` coupons, in one unit."""

    n: int
    mean: float
    sd: float

    @property
    def variance(self) -> float:
        """Variance of the mean."""
        return self.sd**2 / self.n


@dataclass(frozen=True, slots=True)
class Gap:
    """An estimate that is judged by t.

    Attributes
    ----------
    estimate, se
        In the unit, or of the logarithm of a ratio.
    df
        Degrees of freedom, above 0.
    """

    estimate: float
    se: float
    df: float

    def ends(self, confidence: float = 0.95) -> tuple[float, float]:
        """Return the two-sided interval."""
        half = float(special.stdtrit(self.df, (1 + confidence) / 2)) * self.se
        return self.estimate - half, self.estimate + half

    @property
    def bounds(self) -> Bounds:
        """Ends of the 95 % and 90 % intervals, with the sign of the estimate."""
        return Bounds(*self.ends(0.95), *self.ends(0.90))

    @property
    def p(self) -> float:
        """Two-sided p for "no gap"."""
        return float(2 * special.stdtr(self.df, -abs(self.estimate) / self.se))

    @property
    def detectable(self) -> float:
        """Smallest true gap that so precise a comparison shows eight times in ten."""
        found = detectable(self.se, self.df)
        return nan if found is None else found


def moments(side: Side) -> Moments | None:
    """Return mean and sd of a side, worked out from its error or its interval where need be.

    Returns
    -------
    Moments or None
        None where there is no mean, no spread in any form, or a single coupon.
    """
    if side.mean is None or side.n < 2:
        return None
    if side.sd is not None:
        return Moments(side.n, side.mean, side.sd)
    if side.se is not None:
        return Moments(side.n, side.mean, side.se * sqrt(side.n))
    if side.low is None or side.high is None:
        return None
    half = (side.high - side.low) / 2
    sd = half / float(special.stdtrit(side.n - 1, 0.975)) * sqrt(side.n)
    return Moments(side.n, side.mean, sd)


def welch(new: Moments, old: Moments) -> Gap:
    """Return new minus old with Welch's error and degrees of freedom.

    Raises
    ------
    NotEstimable
        Where neither side scatters at all.
    """
    parts = [(side.variance, side.n - 1) for side in (new, old)]
    return Gap(new.mean - old.mean, *_satterthwaite(parts))


def pooled(new: Moments, old: Moments) -> Gap:
    """Return new minus old with one spread for both (Student's two-sample t)."""
    df = new.n + old.n - 2
    sd = sqrt(((new.n - 1) * new.sd**2 + (old.n - 1) * old.sd**2) / df)
    if sd == 0:
        raise NotEstimable("neither side scatters at all, so no interval is possible.")
    return Gap(new.mean - old.mean, sd * sqrt(1 / new.n + 1 / old.n), df)


def log_ratio(new: Moments, old: Moments) -> Gap | None:
    """Return the logarithm of new over old; None where a mean is not safely above zero.

    The degrees of freedom are Welch's, of the difference.  A mean counts as safely above zero
    with a standard error of at most a fifth of it; beyond that the logarithm bends too much.
    """
    for side in (new, old):
        if side.mean <= 0 or sqrt(side.variance) > STEADY * side.mean:
            return None
    se = sqrt(sum(side.variance / side.mean**2 for side in (new, old)))
    return Gap(log(new.mean / old.mean), se, welch(new, old).df)


def as_ratio(gap: Gap) -> tuple[float, Bounds]:
    """Return the ratio and the ends of its intervals from its logarithm."""
    ends = gap.bounds
    turned = Bounds(exp(ends.low95), exp(ends.high95), exp(ends.low90), exp(ends.high90))
    return exp(gap.estimate), turned


def _satterthwaite(parts: list[tuple[float, int]]) -> tuple[float, float]:
    """Return the standard error and degrees of freedom of a sum of variances."""
    total = sum(variance for variance, _ in parts)
    if total <= 0:
        raise NotEstimable("neither side scatters at all, so no interval is possible.")
    return sqrt(total), total**2 / sum(variance**2 / df for variance, df in parts)


# ------------------------------------------------------------------------------ p alone


@dataclass(frozen=True, slots=True)
class Standardised:
    """How many standard deviations apart a p says that two sides are; its sign is not known.

    Attributes
    ----------
    t, df
        Student's t behind the p.
    size, low, high
        Difference in standard deviations of a coupon, with its 95 % interval; a low below 0
        means that either side may be the larger.
    """

    t: float
    df: float
    size: float
    low: float
    high: float


def from_p(p: float, n_new: int, n_old: int) -> Standardised:
    """Return the standardised difference that gives a two-sided p (Student, equal spreads).

    Parameters
    ----------
    p
        Above 0, at most 1.
    n_new, n_old
        At least 1 each and 3 together.
    """
    df = n_new + n_old - 2
    if not 0 < p <= 1 or min(n_new, n_old) < 1 or df < 1:
        raise ValueError(f"no gap follows from p = {p!r}, {n_new} and {n_old} coupons")
    t = float(-special.stdtrit(df, p / 2))
    scale = sqrt(1 / n_new + 1 / n_old)
    ends = (scale * one for one in noncentrality(t, df))
    # At p = 0.05 an end lies at 0 but for what solving leaves.
    return Standardised(t, df, t * scale, *(0.0 if abs(one) < 1e-9 else one for one in ends))


def noncentrality(t: float, df: float, confidence: float = 0.95) -> tuple[float, float]:
    """Return the interval of the noncentrality that a t speaks for."""
    tail = (1 - confidence) / 2

    def root(chance: float) -> float:
        def excess(shift: float) -> float:
            return t_above(t, df, shift) - chance

        width = 10.0 + abs(t)
        while excess(t - width) > 0 or excess(t + width) < 0:
            width *= 2
        return float(optimize.brentq(excess, t - width, t + width))

    return root(tail), root(1 - tail)


# ------------------------------------------------------------------------------ one coupon


@dataclass(frozen=True, slots=True)
class Lone:
    """One coupon beside the range in which the next coupon of the other side is expected."""

    value: float
    low: float
    high: float

    @property
    def inside(self) -> bool:
        """Whether the coupon lies in the range."""
        return self.low <= self.value <= self.high


def lone_coupon(value: float, old: Moments, confidence: float = 0.95) -> Lone:
    """Return one coupon against the prediction range of the next coupon of the old side.

    The range is mean ± t · sd · sqrt(1 + 1/n) (Hahn & Meeker 1991, *Statistical Intervals*,
    section 4.7; from memory).
    """
    t = float(special.stdtrit(old.n - 1, (1 + confidence) / 2))
    half = t * old.sd * sqrt(1 + 1 / old.n)
    return Lone(value, old.mean - half, old.mean + half)
