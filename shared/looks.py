"""Planned looks at a trial before it is finished, as ``[looks]`` of the trial file fixes them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Bounds = Literal["obrien-fleming", "pocock", "scatter-only"]

CHANCE = 0.8
"""Chance that a scatter-only look aims for unless said otherwise."""
BOUND_NAMES: dict[Bounds, str] = {
    "obrien-fleming": "O'Brien–Fleming",
    "pocock": "Pocock",
    "scatter-only": "scatter only",
}


@dataclass(frozen=True, slots=True)
class Looks:
    """When results may be looked at early, and by what rule.

    Attributes
    ----------
    after
        Complete rounds after which a look is allowed, ascending, each at least 2; the last round
        of the plan is always the last look and is not among them.
    bounds
        How far an answer must clear its threshold at each look; with ``scatter-only`` nothing
        but the scatter is looked at, codes closed, to say how many rounds are needed.
    chance
        ``scatter-only``: chance to aim for, above 0.05 and below 1.
    at_least
        ``scatter-only``: never fewer rounds than this; `after` without it.
    """

    after: tuple[int, ...]
    bounds: Bounds
    chance: float = CHANCE
    at_least: int | None = None

    @property
    def scatter_only(self) -> bool:
        """Whether nothing but the scatter is looked at."""
        return self.bounds == "scatter-only"

    @property
    def least(self) -> int:
        """Fewest rounds that a scatter-only look may end with."""
        return max(self.after[0], self.at_least or 0)

    @property
    def name(self) -> str:
        """The bounds as a person writes them."""
        return BOUND_NAMES[self.bounds]
