"""How well a blind reader guessed: the record."""

from __future__ import annotations

from dataclasses import dataclass

LEAK = 0.05
"""One-sided p below which guesses were right more often than guessing gives."""


@dataclass(frozen=True, slots=True)
class Guesses:
    """The guesses of one response's reader, a coupon counting once (by its first guess).

    Attributes
    ----------
    right, of
        Coupons guessed right, of those guessed.
    chance
        Largest planned share of a level: what guessing it throughout gets right.
    p
        Exact one-sided binomial p of so many right or more.
    setups_right, setups_of, setups_p
        The same with one vote a set-up, the majority of its guesses (a tie is left out); None
        where nothing is hard to change.
    leaked
        Whether `p` is below `LEAK`.
    """

    response: str
    factor: str
    right: int
    of: int
    chance: float
    p: float
    setups_right: int | None
    setups_of: int | None
    setups_p: float | None
    leaked: bool
