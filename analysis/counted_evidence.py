"""What counts on two sides say at face value: exact intervals, and how one-sided a split is.

References
----------
Fisher, R. A. (1935). *J. R. Stat. Soc.* 98:39-82 (exact test, two-sided by the chance of every
split no likelier than the one seen); intervals and the unconditional test beside it as in
`weldtrial.analysis.proportions` and `proportion_intervals`.
Newcombe, R. G. (1998). *Statistics in Medicine* 17:873-890 (a difference of large numbers, method
10); Walter, S. D. (1975). *Biometrika* 62:371-374 (the logarithm of a ratio; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import comb, inf, isnan, nan
from typing import Literal

import numpy as np
from scipy import special, stats
from statsmodels.stats.proportion import confint_proportions_2indep

from weldtrial.analysis.evidence import Evidence, Side
from weldtrial.analysis.proportion_intervals import (
    Interval,
    difference_interval,
    ratio_interval,
)
from weldtrial.analysis.proportions import boschloo, share_interval

MOST_EXACT = 100
"""Coupons together up to which intervals of difference and ratio are worked out exactly; beyond
that the intervals for large numbers are close enough, and the exact one takes long."""
MOST_UNCONDITIONAL = 600
"""Coupons together up to which Boschloo's p is worked out: the work grows as their cube."""
MOST_WHOLE = 1000
"""Units together up to which the ways to deal them are counted in whole numbers."""


@dataclass(frozen=True, slots=True)
class Counted:
    """Counts on two sides.

    Attributes
    ----------
    new, old
        The sides, as (events, coupons).
    new_low, new_high, old_low, old_high
        Exact 95 % intervals of each side's true share.
    fisher
        Two-sided p of Fisher's exact test.
    boschloo
        Two-sided p of Boschloo's unconditional test, twice the smaller one-sided one; None beyond
        `MOST_UNCONDITIONAL` coupons.
    smallest_p
        Smallest two-sided p of Fisher's test that so many coupons could reach at all.
    difference95, difference90, ratio95, ratio90
        Intervals of new less old and of new over old; the ratio is None where it has no value.
    exact
        Whether these intervals are exact; else they are those for large numbers.
    """

    new: tuple[int, int]
    old: tuple[int, int]
    new_low: float
    new_high: float
    old_low: float
    old_high: float
    fisher: float
    boschloo: float | None
    smallest_p: float
    difference95: Interval
    difference90: Interval
    ratio95: Interval | None
    ratio90: Interval | None
    exact: bool


def counted(evidence: Evidence) -> Counted:
    """Return what the counts of a review say.

    Raises
    ------
    ValueError
        Where a side has no count.
    """
    new, old = _pair(evidence.new), _pair(evidence.old)
    four = (*new, *old)
    few = new[1] + old[1] <= MOST_EXACT
    exact = {"diff": difference_interval, "ratio": ratio_interval}

    def ends(what: Literal["diff", "ratio"], confidence: float) -> Interval | None:
        made = exact[what](*four, confidence) if few else _large(four, what, confidence)
        return None if isnan(made.estimate) or isnan(made.low + made.high) else made

    wide, narrow = ends("diff", 0.95), ends("diff", 0.90)
    assert wide is not None
    assert narrow is not None
    return Counted(
        new,
        old,
        *share_interval(*new),
        *share_interval(*old),
        fisher_p(*four),
        boschloo(*four).p if new[1] + old[1] <= MOST_UNCONDITIONAL else None,
        smallest_p(new[1], old[1]),
        wide,
        narrow,
        ends("ratio", 0.95),
        ends("ratio", 0.90),
        few,
    )


def _large(
    four: tuple[int, int, int, int], what: Literal["diff", "ratio"], confidence: float
) -> Interval:
    """Return the interval for large numbers: Newcombe's of a difference, Walter's of a ratio."""
    new, of_new, old, of_old = four
    method = "newcomb" if what == "diff" else "log-adjusted"
    low, high = confint_proportions_2indep(*four, compare=what, method=method, alpha=1 - confidence)
    one, two = new / of_new, old / of_old
    if what == "diff":
        return Interval(one - two, float(low), float(high), confidence)
    seen = one / two if two else (inf if one else nan)
    return Interval(seen, float(low) if one else 0.0, float(high) if two else inf, confidence)


def fisher_p(new: int, of_new: int, old: int, of_old: int) -> float:
    """Return the two-sided p of Fisher's exact test."""
    table = np.array([[new, of_new - new], [old, of_old - old]])
    return float(stats.fisher_exact(table).pvalue)


def smallest_p(of_new: int, of_old: int) -> float:
    """Return the smallest two-sided p that Fisher's test can reach: all on one side, none other.

    One of all ways to deal the coupons, or two where both sides are as large: 1 in 10 for 3 + 3.
    """
    many, equal = of_new + of_old, 2 if of_new == of_old else 1
    if many <= MOST_WHOLE:
        return equal / comb(many, of_new)
    ways = special.gammaln(many + 1) - special.gammaln(of_new + 1) - special.gammaln(of_old + 1)
    return float(min(1.0, equal * np.exp(-ways)))


def _pair(side: Side) -> tuple[int, int]:
    if side.passed is None or side.n < 1:
        raise ValueError(f"{side.name!r} has no count")
    return side.passed, side.n
