"""How many coupons reached the gauge limit: what is compared when averages cannot be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike


@dataclass(frozen=True, slots=True)
class AtLimit:
    """Coupons of one level that are beyond the gauge limit.

    Attributes
    ----------
    level
        Its name.
    beyond, coupons
        How many are beyond a limit, of how many.
    """

    level: str
    beyond: int
    coupons: int

    @property
    def share(self) -> float:
        """From 0 to 1."""
        return self.beyond / self.coupons

    @property
    def wholly(self) -> bool:
        """Whether every coupon is beyond the limit, so that its average has no finite estimate."""
        return self.beyond == self.coupons


def at_limit(levels: Sequence[str], low: ArrayLike, high: ArrayLike) -> tuple[AtLimit, ...]:
    """Count the coupons beyond a limit at every level, in the order the levels first come.

    Parameters
    ----------
    levels
        Level of every coupon.
    low, high
        Ends of every reading, (n,); a failure between two stops is not beyond a limit.
    """
    beyond = np.isinf(np.asarray(low, dtype=float)) | np.isinf(np.asarray(high, dtype=float))
    if len(levels) != len(beyond):
        raise ValueError(f"{len(levels)} levels for {len(beyond)} readings")
    names = np.asarray(levels)
    return tuple(
        AtLimit(level, int(beyond[names == level].sum()), int((names == level).sum()))
        for level in dict.fromkeys(levels)
    )


def mostly_at_limit(counts: Sequence[AtLimit]) -> bool:
    """Whether more than half of all coupons are beyond the limit (the rule of ``at_limit``)."""
    return 2 * sum(c.beyond for c in counts) > sum(c.coupons for c in counts)
