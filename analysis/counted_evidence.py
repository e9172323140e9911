"""What counts on two sides say at face value: exact intervals, and how one-sided a split is.

References
----------
Fisher, R. A. (1935). *J. R. Stat. Soc.* 98:39-82 (exact test, two-sided by the chance of every
split no likelier than the one seen); intervals and the unconditional test beside it as in
`weldtrial.analysis.proportions` and `proportion_intervals`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import comb

import numpy as np
from scipy import stats

from weldtrial.analysis.evidence import Evidence, Side
from weldtrial.analysis.proportion_intervals import (
    Interval,
    difference_interval,
    ratio_interval,
)
from weldtrial.analysis.proportions import boschloo, share_interval

MOST_EXACT = 150
"""Coupons together up to which intervals of difference and ratio are worked out exactly."""


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
        Two-sided p of Boschloo's unconditional test, twice the smaller one-sided one.
    smallest_p
        Smallest two-sided p of Fisher's test that so many coupons could reach at all.
    difference95, difference90, ratio95, ratio90
        Exact intervals of new less old and of new over old; None where there are too many coupons
        to count out every outcome.
    """

    new: tuple[int, int]
    old: tuple[int, int]
    new_low: float
    new_high: float
    old_low: float
    old_high: float
    fisher: float
    boschloo: float
    smallest_p: float
    difference95: Interval | None
    difference90: Interval | None
    ratio95: Interval | None
    ratio90: Interval | None


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
    return Counted(
        new,
        old,
        *share_interval(*new),
        *share_interval(*old),
        fisher_p(*four),
        boschloo(*four).p,
        smallest_p(new[1], old[1]),
        *((difference_interval(*four, one) if few else None) for one in (0.95, 0.90)),
        *((ratio_interval(*four, one) if few else None) for one in (0.95, 0.90)),
    )


def fisher_p(new: int, of_new: int, old: int, of_old: int) -> float:
    """Return the two-sided p of Fisher's exact test."""
    table = np.array([[new, of_new - new], [old, of_old - old]])
    return float(stats.fisher_exact(table).pvalue)


def smallest_p(of_new: int, of_old: int) -> float:
    """Return the smallest two-sided p that Fisher's test can reach: all on one side, none other.

    One of all ways to deal the coupons, or two where both sides are as large: 1 in 10 for 3 + 3.
    """
    return (2 if of_new == of_old else 1) / comb(of_new + of_old, of_new)


def _pair(side: Side) -> tuple[int, int]:
    if side.passed is None or side.n < 1:
        raise ValueError(f"{side.name!r} has no count")
    return side.passed, side.n
