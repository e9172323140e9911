"""What was noticed in raw figures, as a record: a thing to check, never an accusation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Strength = Literal["tied", "likely", "ask", "know"]
LIKELY = 0.001
"""Chance below which something is more than worth asking."""


@dataclass(frozen=True, slots=True)
class Suspicion:
    """One thing that was noticed.

    Attributes
    ----------
    code
        A fixed word: ``tied``, ``own-setting``, ``leans``, ``one-setup``, ``equal-neighbours``,
        ``alike-in-blocks``, ``same-minute``, ``last-figures``, ``at-limit``, ``drift``,
        ``losses``, ``gaps``,
        ``sorted``, ``steps``.
    words
        What was seen, and what to ask or to check.
    strength
        ``tied``: the sides cannot be told from something else; ``likely`` and ``ask``: chance
        alone does this less than 1 time in 1000, or less often than the level of the search;
        ``know``: worth knowing and no fault.
    values
        Numbers behind the words; ``p`` is the chance of as much or more in clean data.
    columns
        Columns of the file that it is about.
    """

    code: str
    words: str
    strength: Strength
    values: Mapping[str, float] = field(default_factory=dict)
    columns: tuple[str, ...] = ()

    @property
    def asks(self) -> bool:
        """Whether somebody has to answer for it."""
        return self.strength != "know"


def strength_of(p: float) -> Strength:
    """Return how strong something is that chance alone does with probability `p`."""
    return "likely" if p <= LIKELY else "ask"


def one_in(p: float) -> str:
    """Return a chance in words: ``1 time in 140``."""
    return f"1 time in {round(1 / p):,}".replace(",", " ") if p > 0 else "hardly ever"
