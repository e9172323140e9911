"""What more of the same would buy: coupons on the same bottle, readings on the same coupon."""

from __future__ import annotations

from dataclasses import dataclass, replace

from weldtrial.analysis.power import CHANCE, detectable
from weldtrial.analysis.precision import Groups, Precision, Spread, by_setups
from weldtrial.analysis.shape import Shape

LADDER = (1, 2, 3, 6, 12)
"""Coupons a set-up that are tried, besides the plan's own."""


@dataclass(frozen=True, slots=True)
class Step:
    """One number of coupons in every set-up, the set-ups staying as they are.

    Attributes
    ----------
    coupons
        Counting coupons a set-up; None for the limit that no number passes.
    gap
        Smallest true difference shown with the target chance, in the response's unit.
    total
        Counting coupons of the trial; None for the limit.
    """

    coupons: int | None
    gap: float
    total: int | None


def more_coupons(
    shape: Shape, spread: Spread, chance: float = CHANCE, groups: Groups | None = None
) -> tuple[Step, ...]:
    """Return what more and fewer coupons in the same set-ups show; nothing without set-ups.

    Parameters
    ----------
    groups
        The set-ups where the levels have unequal numbers of them.
    """
    setups = shape.setups_per_level
    own = shape.per_setup
    if groups is not None:
        own = groups.per_setup or 0
    many = groups.new + groups.reference if groups is not None else shape.setups
    df = shape.df if groups is None else groups.new + groups.reference - 2
    if not own or setups is None or many is None or df < 1:
        return ()
    rates = shape.precision(spread)

    def precision(coupons: int, using: Spread) -> Precision:
        if groups is not None:
            return replace(groups, per_setup=coupons).precision(using)
        if shape.readings > 1:
            alike = replace(shape, combos=shape.readings, centre=0)
            return replace(alike, replicates=coupons // shape.readings).precision(using)
        found = by_setups(using, setups, coupons, paired=shape.paired, df=shape.df)
        return replace(found, alpha=rates.alpha, alpha_one=rates.alpha_one)

    def gap(one: Precision) -> float:
        return detectable(one.se, one.df, chance, one.alpha) or 0.0

    sizes = sorted(one for one in {*LADDER, own} if one % shape.readings == 0)
    endless = replace(spread, coupon=0.0, reading=0.0)
    steps = [Step(one, gap(precision(one, spread)), one * many) for one in sizes]
    return (*steps, Step(None, gap(precision(shape.readings, endless)), None))


def with_perfect_readings(
    shape: Shape, spread: Spread, chance: float = CHANCE, groups: Groups | None = None
) -> float | None:
    """Return the smallest difference shown if every coupon were read without any scatter.

    More readings a coupon never show less than that; None where reading scatter is not known or
    nothing is shown.
    """
    if spread.reading == 0:
        return None
    one = shape.precision(spread.perfect)
    if groups is not None:
        one = groups.precision(spread.perfect)
    return detectable(one.se, one.df, chance, one.alpha)
