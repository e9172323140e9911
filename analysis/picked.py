"""What the smallest p of several is worth.

References
----------
Šidák, Z. (1967). Rectangular confidence regions for the means of multivariate normal
distributions. *J. Am. Stat. Assoc.* 62:626-633; Holland, B. S. & Copenhaver, M. D. (1987),
*Biometrics* 43:417-423 (citations from memory).  The smallest of k even p has mean 1 / (k + 1): the
first of k uniform order statistics.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import expm1, log1p


@dataclass(frozen=True, slots=True)
class Picked:
    """One result picked from several.

    Attributes
    ----------
    looked_at
        Results looked at, this one counted.
    p
        Its own two-sided p.
    p_smallest
        Chance that the smallest of so many independent p is this small or smaller (Šidák).
    p_bound
        The same for results that hang together in any way (Bonferroni): never too small.
    usual_smallest
        Mean of the smallest p of so many when nothing differs.
    """

    looked_at: int
    p: float
    p_smallest: float
    p_bound: float
    usual_smallest: float


def picked(p: float, looked_at: int) -> Picked:
    """Return what a p is worth that was picked as the most striking of several.

    Parameters
    ----------
    p
        0 to 1.
    looked_at
        At least 1.
    """
    if looked_at < 1 or not 0 <= p <= 1:
        raise ValueError(f"p = {p!r} cannot be picked from {looked_at}")
    smallest = 1.0 if p == 1 else -expm1(looked_at * log1p(-p))
    return Picked(looked_at, p, smallest, min(1.0, looked_at * p), 1 / (looked_at + 1))
