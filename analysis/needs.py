"""What a plan can show of one response, and what a chosen chance would need."""

from __future__ import annotations

from dataclasses import dataclass

from scipy import special

from weldtrial.analysis.power import (
    CHANCE,
    Aim,
    Spread,
    chance_to_show,
    detectable,
    power_difference,
    smallest_number,
)
from weldtrial.analysis.precision import Groups
from weldtrial.analysis.shape import Shape, error_rates
from weldtrial.analysis.simultaneous import Family
from weldtrial.shared.responses import Ask


@dataclass(frozen=True, slots=True)
class Needs:
    """The plan as given, and what the target chance needs; all None where nothing is known.

    Attributes
    ----------
    loss
        The loss asked about (the margin), in the response's unit.
    power
        Chance to show a true loss of that size, two-sided at 5 %.
    detectable
        Smallest true difference shown with the target chance, in the response's unit.
    setups_per_gas, coupons
        Set-ups of each level, and counting coupons in the whole trial, that show the loss with
        the target chance; `setups_per_gas` None for a complete shuffle, both None beyond reach.
    no_worse, equal_enough
        Chance to show "no worse by more than the margin" and "equal within the margin" when the
        levels are truly equal.
    no_worse_setups_per_gas, no_worse_coupons, equal_enough_setups_per_gas, equal_enough_coupons
        What these need for the target chance.
    se, df
        Standard error of the difference, and its degrees of freedom.
    half_loss_power
        Chance to show a true loss of half the size asked about.
    """

    loss: float | None = None
    power: float | None = None
    detectable: float | None = None
    setups_per_gas: int | None = None
    coupons: int | None = None
    no_worse: float | None = None
    no_worse_setups_per_gas: int | None = None
    no_worse_coupons: int | None = None
    equal_enough: float | None = None
    equal_enough_setups_per_gas: int | None = None
    equal_enough_coupons: int | None = None
    se: float | None = None
    df: float | None = None
    chance: float = CHANCE
    half_loss_power: float | None = None


def needs(
    shape: Shape,
    spread: Spread,
    aim: Aim,
    chance: float = CHANCE,
    groups: Groups | None = None,
) -> Needs:
    """Work out what a plan shows of one response, and what a chance would need.

    Parameters
    ----------
    shape
        The plan as given; what is needed keeps its coupons in each set-up (and its rounds).
    aim
        Its margin is the loss asked about.
    chance
        Above 0.05 and below 1.
    groups
        The plan where the two levels have unequal numbers; what is needed is then in equal ones.
    """
    precision = shape.precision(spread) if groups is None else groups.precision(spread)
    two_sided = _needed(shape, spread, aim, "difference", chance)
    no_worse = _needed(shape, spread, aim, "no-worse", chance)
    equal = _needed(shape, spread, aim, "equal-enough", chance)
    known = aim.margin is not None
    return Needs(
        loss=aim.margin,
        power=power_difference(aim.margin, precision.se, precision.df, precision.alpha)
        if aim.margin is not None
        else None,
        detectable=detectable(precision.se, precision.df, chance, precision.alpha),
        setups_per_gas=two_sided[0],
        coupons=two_sided[1],
        no_worse=chance_to_show(aim, precision, "no-worse") if known else None,
        no_worse_setups_per_gas=no_worse[0],
        no_worse_coupons=no_worse[1],
        equal_enough=chance_to_show(aim, precision, "equal-enough") if known else None,
        equal_enough_setups_per_gas=equal[0],
        equal_enough_coupons=equal[1],
        se=precision.se,
        df=precision.df,
        chance=chance,
        half_loss_power=power_difference(
            aim.margin / 2, precision.se, precision.df, precision.alpha
        )
        if aim.margin is not None
        else None,
    )


def _needed(
    shape: Shape, spread: Spread, aim: Aim, ask: Ask, chance: float
) -> tuple[int | None, int | None]:
    """Return set-ups of each level and coupons in all that give `ask` its chance."""
    if aim.margin is None:
        return None, None

    def enough(units: int) -> bool:
        found = chance_to_show(aim, shape.resized(units).precision(spread), ask)
        return found is not None and found >= chance

    step = shape.step
    start = 2 if shape.by_setups and step == 1 else step
    units = smallest_number(enough, start, step)
    if units is None:
        return None, None
    sized = shape.resized(units)
    return sized.setups_per_level, sized.coupons


def gap_within(
    shape: Shape,
    spread: Spread,
    df: int,
    chance: float = CHANCE,
    *,
    levels: int = 2,
    family: Family = "single",
    numeric: bool = True,
) -> float | None:
    """Return the smallest gap between two levels of an easy factor shown with a chance.

    Parameters
    ----------
    shape
        As many of its coupons are welded at each level of the factor.
    df
        Degrees of freedom left within set-ups (in a complete shuffle: over all coupons).
    levels, family
        Levels of the factor, and how several are read together.
    numeric
        True when the levels are two or three evenly spaced numbers, so that centre points say
        nothing of the gap; low to high is then as well known as two levels by themselves.

    Notes
    -----
    Within set-ups the scatter between set-ups cancels; in a complete shuffle every coupon has it.
    """
    sd = spread.seen if shape.by_setups else spread.alone
    units = shape.rounds if shape.setups is None else shape.setups
    coupons = shape.coupons - (units * shape.centre if numeric else 0)
    alpha, _ = error_rates(family, levels, df)
    return detectable(sd * (2 * levels / coupons) ** 0.5, df, chance, alpha)


def share_beyond(limit: float, mean: float, spread: Spread, *, above: bool = True) -> float:
    """Return the share of coupons expected beyond a gauge limit.

    Parameters
    ----------
    limit
        Where the gauge stops, in the unit of `mean`.
    above
        True for an upper limit, False for a lower one.

    Notes
    -----
    Takes loads as normal around the expected mean with both standard deviations.
    """
    if spread.alone == 0:
        return float(mean > limit if above else mean < limit)
    distance = (limit - mean) / spread.alone
    return float(special.ndtr(-distance if above else distance))
