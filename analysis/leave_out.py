"""Raw coupons compared again with each one left out in turn.

Leaving out after Cook & Weisberg (1982), *Residuals and Influence in Regression*, chapter 3 (from
memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import fsum, sqrt
from statistics import fmean, stdev

from weldtrial.analysis.evidence import Evidence, Side, UndoRow
from weldtrial.analysis.reported import Gap, Moments, welch
from weldtrial.shared.problems import NotEstimable

MOST_ANEW = 300
"""Coupons of a side up to which all is worked out anew without each."""
STANDS_OUT = 0.05


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
        stood = _gap(*sides).p <= STANDS_OUT
        found = []
        for which, (side, values) in enumerate(
            zip((evidence.new, evidence.old), sides, strict=True)
        ):
            other = moments_of(sides[1 - which])
            for place, (value, kept) in enumerate(zip(values, _without_each(values), strict=True)):
                gap = welch(*((kept, other) if which == 0 else (other, kept)))
                found.append(LeftOut(side.name, place, value, gap, (gap.p <= STANDS_OUT) != stood))
    except NotEstimable:
        return ()
    return tuple(found)


def handfuls(evidence: Evidence, size: int) -> UndoRow | None:
    """Return the comparison with every `size` values, as they stand, taken for one weld.

    None where it does not stand out to begin with, or the values are not in the order of the file.
    """
    sides = (evidence.values_new, evidence.values_old)
    if min(len(one) for one in sides) < 3:
        return None
    try:
        if _gap(*sides).p > STANDS_OUT:
            return None
    except NotEstimable:
        return None
    welds = [[fmean(one[at : at + size]) for at in range(0, len(one), size)] for one in sides]
    try:
        p = _gap(*welds).p if min(len(one) for one in welds) > 1 else None
    except NotEstimable:
        p = None
    counts = [len(one) for one in welds]
    what = f"{counts[0]} and {counts[1]} welds, read about {size} times each"
    values = {"new": float(counts[0]), "old": float(counts[1]), "size": float(size)}
    return UndoRow(what, p, p is None or p > STANDS_OUT, False, "handfuls", values)


def moments_of(values: Sequence[float]) -> Moments:
    """Return mean, standard deviation and number of at least two values."""
    return Moments(len(values), fmean(values), stdev(values))


def _without_each(values: Sequence[float]) -> Iterator[Moments]:
    """Give the moments without each value: worked out anew, or of many taken off their sums."""
    if len(values) <= MOST_ANEW:
        for place in range(len(values)):
            yield moments_of([*values[:place], *values[place + 1 :]])
        return
    n, mean = len(values), fmean(values)
    squares = fsum((value - mean) ** 2 for value in values)
    for value in values:
        apart = value - mean
        left = max(0.0, squares - apart**2 * n / (n - 1))
        yield Moments(n - 1, mean - apart / (n - 1), sqrt(left / (n - 2)))


def _gap(new: Sequence[float], old: Sequence[float]) -> Gap:
    return welch(*(moments_of(one) for one in (new, old)))


def _side(side: Side, values: Sequence[float]) -> Side:
    if not values:
        return side
    sd = stdev(values) if len(values) > 1 else None
    return replace(side, n=len(values), mean=fmean(values), sd=sd)
