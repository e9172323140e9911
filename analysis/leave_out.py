"""Raw coupons compared again with each one left out in turn.

Leaving out after Cook & Weisberg (1982), *Residuals and Influence in Regression*, chapter 3 (from
memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import fmean, stdev

from weldtrial.analysis.evidence import Evidence, Side
from weldtrial.analysis.reported import Gap, Moments, welch
from weldtrial.shared.problems import NotEstimable


@dataclass(frozen=True, slots=True)
class LeftOut:
    """The comparison without one coupon.

    Attributes
    ----------
    side
        Name of the side that the coupon is of.
    place
        Its place among the values of that side, from 0.
    value
        Its reading.
    gap
        New minus old without it.
    turned
        Whether the result stands out (p at most 0.05) where it did not with it, or the other way.
    """

    side: str
    place: int
    value: float
    gap: Gap
    turned: bool


def with_sides(evidence: Evidence) -> Evidence:
    """Return the evidence with mean, sd and n of either side worked out from its values."""
    return replace(
        evidence,
        new=_side(evidence.new, evidence.values_new),
        old=_side(evidence.old, evidence.values_old),
    )


def left_out(evidence: Evidence) -> tuple[LeftOut, ...]:
    """Return the comparison without each coupon, in order, new ones first.

    Empty where a side has fewer than three coupons, or nothing scatters.
    """
    sides = (evidence.values_new, evidence.values_old)
    if min(len(one) for one in sides) < 3:
        return ()
    try:
        stood = _gap(*sides).p <= 0.05
        found = []
        for which, (side, values) in enumerate(
            zip((evidence.new, evidence.old), sides, strict=True)
        ):
            for place, value in enumerate(values):
                fewer = [*values[:place], *values[place + 1 :]]
                gap = _gap(*((fewer, sides[1]) if which == 0 else (sides[0], fewer)))
                found.append(LeftOut(side.name, place, value, gap, (gap.p <= 0.05) != stood))
    except NotEstimable:
        return ()
    return tuple(found)


def _gap(new: Sequence[float], old: Sequence[float]) -> Gap:
    return welch(*(Moments(len(one), fmean(one), stdev(one)) for one in (new, old)))


def _side(side: Side, values: Sequence[float]) -> Side:
    if not values:
        return side
    sd = stdev(values) if len(values) > 1 else None
    return replace(side, n=len(values), mean=fmean(values), sd=sd)
