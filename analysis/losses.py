"""Coupons that are lost on the way: scrapped, never welded, or in a set-up that was cut short."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from weldtrial.analysis.observations import Observation

ENOUGH = 0.95
"""Chance that spares should be enough."""
MOST_SPARES = 10_000


@dataclass(frozen=True, slots=True)
class Losses:
    """What is lost, as chances and counts.

    Attributes
    ----------
    scrap
        Chance that a coupon is scrapped, from 0 and below 1.
    short
        Chance that a set-up is cut short and keeps only its first coupons: 1 to all but one, each
        number alike.
    missing
        Runs that are never welded.
    lose
        Further runs that are never welded, drawn anew for every pattern.
    spares
        Spare coupons.  The first coupons scrapped are welded again, in their own set-up; a spare
        may be scrapped like any other.  Runs never welded and set-ups cut short are not made good.
    """

    scrap: float = 0.0
    short: float = 0.0
    missing: tuple[int, ...] = ()
    lose: int = 0
    spares: int = 0

    @property
    def none(self) -> bool:
        """Whether nothing is ever lost."""
        return not (self.scrap or self.short or self.missing or self.lose)

    @property
    def fixed(self) -> bool:
        """Whether every trial loses the same coupons."""
        return not (self.scrap or self.short or self.lose)


def kept(
    losses: Losses, blanks: Sequence[Observation], random: np.random.Generator
) -> NDArray[np.bool_]:
    """Draw one pattern of losses: which coupons are left, shape (n,).

    The same numbers are drawn whatever is lost, so patterns of different losses can be compared.
    """
    n = len(blanks)
    scrapped = random.random(n) < losses.scrap
    spare_fine = random.random(losses.spares) >= losses.scrap
    left = np.ones(n, dtype=bool)
    order = random.permutation(n)
    setups = sorted({o.setup for o in blanks if o.setup is not None})
    cut, share = random.random(len(setups)), random.random(len(setups))
    left[[place for place, o in enumerate(blanks) if o.run in losses.missing]] = False
    left[order[: losses.lose]] = False
    for number, setup in enumerate(setups):
        mine = [place for place, o in enumerate(blanks) if o.setup == setup]
        if cut[number] < losses.short and len(mine) > 1:
            keep = 1 + int(share[number] * (len(mine) - 1))
            left[mine[keep:]] = False
    gone = np.flatnonzero(left & scrapped)
    left[gone[int(spare_fine.sum()) :]] = False
    return left


def spares_for(coupons: int, scrap: float, chance: float = ENOUGH) -> int | None:
    """Return the fewest spares that make good what is scrapped in `chance` of all trials.

    With s spares and as many coupons scrapped as is usual, spares included, there are enough when
    at most s of n + s are scrapped: a binomial chance.  None where no practical number is.

    Parameters
    ----------
    coupons
        Counting coupons, n.
    scrap
        Chance that a coupon is scrapped, from 0 and below 1.
    """
    for spares in range(MOST_SPARES):
        if float(special.bdtr(spares, coupons + spares, scrap)) >= chance:
            return spares
    return None
