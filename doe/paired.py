"""Paired comparisons: one factor, two levels side by side in every block of two.

A pair is two halves of one plate, two beads on one day, two ends of one bar: what the two share
drops out of their difference.

References
----------
Box, Hunter & Hunter (1978). *Statistics for Experimenters*, section 4.2 (from memory).
Cochran & Cox (1957). *Experimental Designs*, 2nd ed., chapter 11 (blocks of two; from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from itertools import combinations

from weldtrial.doe.family import Family
from weldtrial.doe.latin import setting
from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.terms import model_terms

FEW = 4


def paired(factors: Sequence[Factor], *, replicates: int) -> Family:
    """Return pairs that hold every two levels of one factor equally often.

    Parameters
    ----------
    factors
        One varied factor, a category or a number.
    replicates
        Pairs of each two levels; with two levels, the pairs.

    Returns
    -------
    Family
        `block` is the pair.  Which half gets which level is for the drawn order.

    Raises
    ------
    PlanRefused
        When there is not one factor of two levels or more, or nothing is left to judge it by.
    """
    if len(factors) != 1:
        raise PlanRefused(
            f"Pairs compare the levels of one factor; there are {len(factors)} varied ones. Use  "
            'kind = "factorial",  with plates or days as blocks.'
        )
    factor = factors[0]
    every = list(combinations(range(len(factor.levels)), 2))
    pairs = len(every) * replicates
    left = pairs - (len(factor.levels) - 1)
    if left < 1:
        raise PlanRefused(
            f"{pairs} pair{' leaves' if pairs == 1 else 's leave'} nothing to judge the difference "
            f"by. Weld more:  replicates = {FEW}."
        )
    points: list[Point] = []
    block: list[int] = []
    for number, (a, b) in enumerate(every * replicates, 1):
        points += [setting(factor, a), setting(factor, b)]
        block += [number, number]
    return Family(
        points=tuple(points),
        block=tuple(block),
        centre=0,
        name=f"Paired comparison: {pairs} pairs, {len(factor.levels)} levels of "
        f"{factor.title[:1].lower()}{factor.title[1:]}",
        notes=tuple(_notes(factor, left, pairs)),
        model=model_terms(factors, "main"),
    )


def _notes(factor: Factor, left: int, pairs: int) -> Iterator[str]:
    yield (
        "What the two coupons of a pair share (plate, day, welder) drops out of their difference; "
        "what differs from pair to pair is not compared."
    )
    yield (
        "Split coupons count as a pair only where each half is welded by itself, in an order drawn "
        "pair by pair; two cuts of one weld are two readings of one coupon."
    )
    yield f"{left} degree{'' if left == 1 else 's'} of freedom judge the difference" + (
        f"; with {pairs} pairs a shuffle of the sides cannot say better than 1 in "
        f"{2 ** (pairs - 1)}."
        if len(factor.levels) == 2
        else "."
    )
    levels = len(factor.levels)
    if levels > 2:
        share = Fraction(levels, 2 * (levels - 1))
        yield (
            f"A pair holds two of the {levels} levels: each comparison is {share} as sharp, in "
            "coupons, as blocks that hold all levels would make it were they as uniform as pairs."
        )
