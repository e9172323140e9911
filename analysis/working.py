"""The working behind a plan's figures, number by number, for whoever wants to check it."""

from __future__ import annotations

from dataclasses import dataclass

from scipy import special

from weldtrial.analysis.budget import Judged, budget_row
from weldtrial.analysis.shape import Shape

SOURCES = (
    "Noncentral t: Johnson, Kotz & Balakrishnan 1995, Continuous Univariate Distributions 2, "
    "chapter 31 (from memory)",
    "Both one-sided tests together: Owen 1965, Biometrika 52:437 (citation from memory)",
    "No-worse and equal-enough trials: Julious 2004, Statistics in Medicine 23:1921 (citation "
    "from memory)",
    "Several levels read together: Dunnett 1955, J. Am. Stat. Assoc. 50:1096; Kramer 1956, "
    "Biometrics 12:307",
    "Smallest p of a shuffle test: Phipson & Smyth 2010, Statistical Applications in Genetics and "
    "Molecular Biology 9(1):39",
)


@dataclass(frozen=True, slots=True)
class Working:
    """The steps from two standard deviations to a gap and a chance.

    Attributes
    ----------
    sd_reading, readings
        Standard deviation between readings of one coupon, and how many each coupon has.
    unit_variance
        Variance of one unit's mean: a set-up's, or a coupon's in a complete shuffle.
    units
        Units of each level.
    se
        Standard error of the gap.
    se_tested
        Standard error of what a percent margin tests; else the same.
    two_sided, one_sided
        Critical values of t; larger where several levels are read together.
    gap, chance
        As the plan shows them.
    """

    sd_coupon: float
    sd_setup: float
    sd_reading: float
    readings: int
    per_setup: int
    by_setups: bool
    unit_variance: float
    units: int
    se: float
    se_tested: float
    df: int
    two_sided: float | None
    one_sided: float | None
    margin: float | None
    gap: float | None
    chance: float | None


def working(shape: Shape, judged: Judged) -> Working | None:
    """Return the working of a plan, None when nothing is known of the scatter."""
    spread, aim = judged.spread, judged.aim
    if spread is None:
        return None
    precision = shape.precision(spread)
    units = shape.setups_per_level or shape.coupons_per_level
    row = budget_row(shape, judged)
    scale = 1.0 if aim.fraction is None else 1 - aim.sign * aim.fraction
    tells = precision.df >= 1
    return Working(
        sd_coupon=spread.coupon,
        sd_setup=spread.setup,
        sd_reading=spread.reading,
        readings=spread.readings,
        per_setup=shape.per_setup,
        by_setups=shape.by_setups,
        unit_variance=precision.variance * units,
        units=units,
        se=precision.se,
        se_tested=precision.se_scaled(scale) if aim.ask != "difference" else precision.se,
        df=shape.df,
        two_sided=float(special.stdtrit(precision.df, 1 - precision.alpha / 2)) if tells else None,
        one_sided=float(special.stdtrit(precision.df, 1 - precision.alpha_one)) if tells else None,
        margin=aim.margin,
        gap=row.gap,
        chance=row.chance,
    )
