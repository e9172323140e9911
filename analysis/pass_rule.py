"""The rule that coupons which confirm must meet: so many of so many pass.

The number follows from the share that is claimed to pass: the largest that coupons of that share
reach at least 90 times in 100, each coupon by itself (binomial).  Coupons of one set-up are alike,
so that the same share reaches it less often; how often, the beta-binomial says (Skellam 1948, J.
R. Stat. Soc. B 10, 257-261, from memory), set-up by set-up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from weldtrial.analysis.linear import Floats

REACHED = 0.90
"""How often coupons of the claimed share must reach the rule: a false "missed" in 10 at most."""
LOWER = (0.6, 0.5)
"""True shares for which it is said how often the rule would notice."""


@dataclass(frozen=True, slots=True)
class PassRule:
    """At least so many of so many coupons pass every limit.

    Attributes
    ----------
    at_least, of
        Coupons.
    share
        The share claimed to pass, 0 to 1.
    reached
        How often coupons of that share reach it, each by itself.
    reached_alike
        The same with coupons of one set-up alike in passing.
    """

    at_least: int
    of: int
    share: float
    reached: float
    reached_alike: float

    def noticed(self, share: float) -> float:
        """Return how often the rule is missed when a share of coupons truly passes, each apart."""
        return 1.0 - reached(self.at_least, self.of, share)


def reached(at_least: int, of: int, share: float) -> float:
    """Return the binomial chance that at least so many of so many pass."""
    if at_least <= 0:
        return 1.0
    return float(special.betainc(at_least, of - at_least + 1, share)) if at_least <= of else 0.0


def largest(of: int, share: float, wanted: float = REACHED) -> int:
    """Return the most that coupons of a share reach with chance `wanted`; 0 where none."""
    return max(m for m in range(of + 1) if m == 0 or reached(m, of, share) >= wanted)


def fewest_coupons(share: float, wanted: float = REACHED) -> int:
    """Return the fewest coupons of which at least one can be asked to pass."""
    return int(np.ceil(np.log(1 - wanted) / np.log1p(-share) - 1e-12)) if share < 1 else 1


def pass_rule(
    sizes: Sequence[int], share: float, alike: float = 0.0, *, at_least: int | None = None
) -> PassRule:
    """Return the rule for coupons in set-ups of these sizes.

    Parameters
    ----------
    alike
        Intraclass correlation of passing within a set-up, 0 to below 1.
    at_least
        The rule as it was sealed; None to work it out.
    """
    of = sum(sizes)
    asked = largest(of, share) if at_least is None else at_least
    return PassRule(
        asked,
        of,
        share,
        reached(asked, of, share),
        float(passes_alike(sizes, share, alike)[asked:].sum()),
    )


def passes_alike(sizes: Sequence[int], share: float, alike: float) -> Floats:
    """Return the chance of 0, 1, ... passes over all set-ups, beta-binomial within each."""
    total = np.ones(1)
    for size in sizes:
        total = np.convolve(total, _within(size, share, alike))
    return total


def _within(size: int, share: float, alike: float) -> Floats:
    k = np.arange(size + 1)
    ways = special.gammaln(size + 1) - special.gammaln(k + 1) - special.gammaln(size - k + 1)
    if share in (0.0, 1.0):
        return np.asarray((k == size * share).astype(float))
    if alike < 1e-9:
        return np.asarray(np.exp(ways + k * np.log(share) + (size - k) * np.log1p(-share)))
    a, b = share * (1 - alike) / alike, (1 - share) * (1 - alike) / alike
    return np.asarray(np.exp(ways + special.betaln(k + a, size - k + b) - special.betaln(a, b)))
