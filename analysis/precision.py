"""How precisely two levels are compared: two scatters, and how the coupons are spread over them.

Balanced or not, everything here is exact: a level that is changed between set-ups is compared by
means of set-ups that hold equally many coupons, and a complete shuffle by coupons.

References
----------
Johnson, Kotz & Balakrishnan (1995). *Continuous Univariate Distributions*, vol. 2, 2nd ed.,
chapter 31 (the t that these feed; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot, sqrt

ALPHA = 0.05
"""Two-sided error rate of an interval, and the one-sided rate of a no-worse limit."""


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviations to plan with, in one unit, each 0 or more.

    Attributes
    ----------
    coupon
        Between coupons of one set-up, had every reading been perfect.
    setup
        Between set-ups.
    reading
        Between readings of one coupon.
    readings
        Readings on each coupon, at least 1; the analysis averages them.
    """

    coupon: float
    setup: float = 0.0
    reading: float = 0.0
    readings: int = 1

    @property
    def seen(self) -> float:
        """Standard deviation between coupons of one set-up as the analysis sees it."""
        return hypot(self.coupon, self.reading / sqrt(self.readings))

    @property
    def alone(self) -> float:
        """Standard deviation between coupons that each have a set-up of their own."""
        return hypot(self.seen, self.setup)

    @property
    def perfect(self) -> Spread:
        """The same coupons and set-ups, every coupon read without any scatter."""
        return replace(self, reading=0.0)


@dataclass(frozen=True, slots=True)
class Precision:
    """How precisely two levels are compared.

    Attributes
    ----------
    variance
        Variance of the mean of one level, in the response's unit squared.
    df
        Degrees of freedom that judge it; with none, nothing can be shown.
    alpha, alpha_one
        Two-sided error rate of an interval and one-sided rate of a limit: smaller than `ALPHA`
        where several levels are compared together.
    variance_reference
        Variance of the mean of the reference where that is another; None when it is the same.
    """

    variance: float
    df: float
    alpha: float = ALPHA
    alpha_one: float = ALPHA
    variance_reference: float | None = None

    @property
    def reference(self) -> float:
        """Variance of the mean of the reference level."""
        return self.variance if self.variance_reference is None else self.variance_reference

    @property
    def se(self) -> float:
        """Standard error of the difference of the two levels."""
        return sqrt(self.variance + self.reference)

    def se_scaled(self, factor: float) -> float:
        """Return the standard error of one level less `factor` times the reference."""
        return sqrt(self.variance + self.reference * factor**2)


def by_setups(
    spread: Spread, setups: int, coupons: int, *, paired: bool, df: float | None = None
) -> Precision:
    """Return the precision of two levels that are changed between set-ups.

    Parameters
    ----------
    spread
        Standard deviations between readings, coupons and set-ups.
    setups
        Set-ups of each level, at least 1.
    coupons
        Counting coupons in each set-up, at least 1.
    paired
        True when every round holds one set-up of each level (`setups` − 1 degrees of freedom),
        False when set-ups are shuffled freely (2 `setups` − 2).
    df
        Degrees of freedom where the plan has others.
    """
    usual = setups - 1 if paired else 2 * setups - 2
    sd = hypot(spread.setup, spread.seen / sqrt(coupons)) / sqrt(setups)
    return Precision(sd * sd, usual if df is None else df)


def shuffled(spread: Spread, coupons: int, *, df: float | None = None) -> Precision:
    """Return the precision of two levels of a complete shuffle, every coupon set up anew.

    Parameters
    ----------
    spread
        A coupon set up anew scatters with all its standard deviations.
    coupons
        Coupons of each level, at least 1.
    df
        Degrees of freedom where the model holds more than the two means; else 2 `coupons` − 2.
    """
    sd = spread.alone / sqrt(coupons)
    return Precision(sd * sd, 2 * coupons - 2 if df is None else df)


@dataclass(frozen=True, slots=True)
class Groups:
    """Two levels with unequal numbers, shuffled over the whole trial.

    Attributes
    ----------
    new, reference
        Set-ups of each level; coupons of each where every coupon is set up anew.
    per_setup
        Counting coupons in every set-up; None where every coupon is set up anew.
    """

    new: int
    reference: int
    per_setup: int | None = None

    @property
    def coupons(self) -> int:
        """Counting coupons."""
        return (self.new + self.reference) * (self.per_setup or 1)

    @property
    def fewest(self) -> int:
        """The smaller of the two numbers."""
        return min(self.new, self.reference)

    def precision(self, spread: Spread) -> Precision:
        """Return how precisely the two are compared: pooled, `new` + `reference` − 2 degrees.

        Exact, as the units all scatter alike: Student's two-sample t on coupons or set-up means.
        """
        if self.per_setup is None:
            unit = spread.alone**2
        else:
            unit = spread.setup**2 + spread.seen**2 / self.per_setup
        return Precision(
            unit / self.new,
            self.new + self.reference - 2,
            variance_reference=unit / self.reference,
        )
