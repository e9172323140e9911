"""What coupons that pass or fail can show, by adding up every outcome that two gases can have.

References
----------
As `weldtrial.analysis.proportions`.  Power of an exact test has a saw-tooth in the number of
coupons: Chernick & Liu (2002), *The American Statistician* 56:149-155 (citation from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np

from weldtrial.analysis.precision import ALPHA
from weldtrial.analysis.proportions import (
    Flags,
    boschloo_rejects,
    no_worse_rejects,
    outcome_chances,
)

CHANCE = 0.8
MOST_COUPONS = 300
"""Coupons of each gas beyond which no table of outcomes is made."""
AHEAD = 5
"""Further sizes at which the chance has to hold as well."""
_DROP = 0.1
"""Deeper than any tooth of the saw, so that no smaller number is worth a look."""


def chance_of_fall(of: int, of_reference: int, share: float, share_reference: float) -> float:
    """Return the chance that two shares that truly differ are shown to, two-sided at 5 %.

    Parameters
    ----------
    of, of_reference
        Coupons of the new and of the reference, at least 1 each.
    share, share_reference
        True shares that pass, from 0 to 1.
    """
    return _chance(boschloo_rejects(of, of_reference), share, share_reference)


def chance_no_worse(
    of: int, of_reference: int, margin: float, share: float, share_reference: float
) -> float:
    """Return the chance to show "no worse by `margin`", one-sided at 5 %.

    Parameters
    ----------
    margin
        In points, from 0 to below 1 (0.10 for ten).
    share, share_reference
        True shares that pass; equal for the usual question.
    """
    return _chance(no_worse_rejects(of, of_reference, margin), share, share_reference)


def chance_equal(of: int, of_reference: int, margin: float, share: float) -> float:
    """Return the chance to show two equal shares equal within `margin` (two one-sided tests).

    Parameters
    ----------
    margin
        In points, from 0 to below 1.
    share
        True share of both that passes.
    """
    # As large a gain is ruled out as a loss is with the two changed about.
    gain = no_worse_rejects(of_reference, of, margin).T
    return _chance(no_worse_rejects(of, of_reference, margin) & gain, share, share)


def _chance(shown: Flags, share: float, share_reference: float) -> float:
    new = outcome_chances(shown.shape[0] - 1, np.array([share]))[:, 0]
    old = outcome_chances(shown.shape[1] - 1, np.array([share_reference]))[:, 0]
    return min(1.0, float(new @ shown @ old))


@dataclass(frozen=True, slots=True)
class CouponsNeeded:
    """How many coupons of each gas a chance needs.

    Attributes
    ----------
    coupons
        The smallest number from which the chance holds for this and the next `AHEAD` numbers;
        None where `MOST_COUPONS` are not enough.
    chance
        The chance with that many.
    first
        The smallest number that reaches the chance at all: a few more may fall below it again.
    """

    coupons: int | None
    chance: float | None
    first: int | None


def coupons_for_fall(share: float, share_reference: float, chance: float = CHANCE) -> CouponsNeeded:
    """Return the coupons of each gas that show a fall from one share to another."""
    return _needed(
        lambda many: chance_of_fall(many, many, share, share_reference),
        (share, share_reference, abs(share - share_reference)),
        chance,
    )


def coupons_for_no_worse(share: float, margin: float, chance: float = CHANCE) -> CouponsNeeded:
    """Return the coupons of each gas that show "no worse by `margin`" of two that are equal."""
    return _needed(
        lambda many: chance_no_worse(many, many, margin, share, share),
        (share, share, margin),
        chance,
    )


def _needed(
    at: Callable[[int], float], guess: tuple[float, float, float], chance: float
) -> CouponsNeeded:
    """Start where no number can do, however the teeth fall, and go up one by one."""
    new, old, apart = guess
    if apart <= 0:
        return CouponsNeeded(None, None, None)
    at = cache(at)
    # About what two normal shares need; the exact test needs a little more.
    rough = int(6.2 * (new * (1 - new) + old * (1 - old)) / apart**2)
    low = min(MOST_COUPONS, max(1, rough))
    while low > 1 and at(low) >= chance - _DROP:
        low -= max(1, low // 8)
    first = None
    for many in range(low, MOST_COUPONS + 1):
        if at(many) < chance:
            continue
        first = first or many
        if all(at(more) >= chance for more in range(many, many + AHEAD + 1)):
            return CouponsNeeded(many, at(many), first)
        if many == MOST_COUPONS:
            break
    return CouponsNeeded(None, None, first)


@dataclass(frozen=True, slots=True)
class InARow:
    """Passes without a failure that show a share.

    Attributes
    ----------
    share
        The least share that is to be shown.
    coupons
        Passes in a row that show it with 95 % confidence.
    chances
        For some true shares, the chance that all of them pass.
    """

    share: float
    coupons: int
    chances: tuple[tuple[float, float], ...]


def in_a_row(share: float) -> InARow:
    """Return how many passes in a row show that at least `share` passes, and how likely they are.

    With true shares half-way to all, and nearer: a gas that only just passes often enough will
    hardly ever show so.
    """
    from weldtrial.analysis.proportions import passes_in_a_row

    many = passes_in_a_row(share, 1 - ALPHA)
    true = [share, *(1 - (1 - share) / part for part in (2, 5, 10))]
    return InARow(share, many, tuple((one, one**many) for one in true))
