"""What becomes of reported averages when several coupons were really one set-up.

References
----------
Kish, L. (1965). *Survey Sampling*, section 5.4 (the design effect 1 + (m - 1) rho); Donner, A. &
Klar, N. (2000). *Design and Analysis of Cluster Randomization Trials*, chapter 1 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from weldtrial.analysis.reported import Gap, Moments

LIKENESS = (0.2, 0.5)
"""How alike coupons of one set-up are, tried where nobody knows: 0.2 is a set-up scatter of half
the coupon scatter, 0.5 of as much."""


@dataclass(frozen=True, slots=True)
class Clustered:
    """A comparison made again with coupons gathered in set-ups.

    Attributes
    ----------
    likeness
        Intraclass correlation of coupons of one set-up, 0 to 1.
    gap
        The comparison: wider, and judged by set-ups.  None with a single set-up on either side:
        then nothing tells the gas from the set-up.
    worth_new, worth_old
        How many independent coupons each side is worth.
    """

    likeness: float
    gap: Gap | None
    worth_new: float
    worth_old: float


def by_setups(
    new: Moments, old: Moments, setups_new: int, setups_old: int, likeness: float
) -> Clustered:
    """Return the comparison were the coupons equal shares of so many set-ups.

    The spread among all coupons of a side holds less than the whole scatter when they come in
    clusters, and is raised accordingly; the degrees of freedom are the set-ups less two, whatever
    the likeness, because it is assumed and not estimated.

    Parameters
    ----------
    setups_new, setups_old
        From 1 to the coupons of the side.
    likeness
        0 to 1.
    """
    sides = [_inflated(new, setups_new, likeness), _inflated(old, setups_old, likeness)]
    worth = [side.n / effect for (_, effect), side in zip(sides, (new, old), strict=True)]
    df = setups_new + setups_old - 2
    if min(setups_new, setups_old) < 2:
        return Clustered(likeness, None, *worth)
    se = sqrt(sum(variance for variance, _ in sides))
    return Clustered(likeness, Gap(new.mean - old.mean, se, df), *worth)


def _inflated(side: Moments, setups: int, likeness: float) -> tuple[float, float]:
    """Return the variance of a mean and the design effect."""
    if not 1 <= setups <= side.n or not 0 <= likeness <= 1:
        raise ValueError(f"{side.n} coupons cannot be {setups} set-ups of likeness {likeness!r}")
    size = side.n / setups
    effect = 1 + (size - 1) * likeness
    left = 1 - (size - 1) * likeness / (side.n - 1)
    return (side.sd**2 / left if left > 0 else float("inf")) / side.n * effect, effect
