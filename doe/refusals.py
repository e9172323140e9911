"""Plans that could not answer their question, and why, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused


@dataclass(frozen=True, slots=True)
class Sharing:
    """Counting coupons shared out over set-ups.

    Attributes
    ----------
    rounds, set_ups
        In the whole trial.
    per_setup
        Counting coupons in each set-up.
    extra
        Spares and warm-ups besides.
    parts
        In how many parts the design of the easy factors is cut; 1 where a set-up holds it all.
    """

    rounds: int
    set_ups: int
    per_setup: int
    extra: int
    parts: int = 1

    @property
    def coupons(self) -> int:
        """Counting coupons."""
        return self.set_ups * self.per_setup

    @property
    def total(self) -> int:
        """Coupons with spares and warm-ups."""
        return self.coupons + self.extra


class CannotShareOut(PlanRefused):
    """The budget does not divide into the set-ups asked for.

    Attributes
    ----------
    asked
        What the file asks for, None where it leaves the number in a set-up open.
    closest
        The nearest plan that fits the budget, None when none does.
    """

    def __init__(
        self, words: str, *, asked: Sharing | None, closest: Sharing | None, hint: str
    ) -> None:
        super().__init__(words, hint=hint)
        self.asked = asked
        self.closest = closest


def levels_word(factor: Factor) -> str:
    """Return what several levels of a factor are called: ``gases``, ``levels of preheat``."""
    return (
        "gases"
        if factor.name == "gas"
        else f"levels of {factor.title[:1].lower()}{factor.title[1:]}"
    )


def kinds_word(factors: Sequence[Factor]) -> str:
    """Return what several kinds of set-up are called: as one factor's levels, or combinations."""
    if len(factors) == 1:
        return levels_word(factors[0])
    names = [f"{factor.title[:1].lower()}{factor.title[1:]}" for factor in factors]
    return f"combinations of {', '.join(names[:-1])} and {names[-1]}"


def one_word(factor: Factor) -> str:
    """Return what one level of a factor is called: ``gas``, ``preheat level``."""
    return "gas" if factor.name == "gas" else f"{factor.title[:1].lower()}{factor.title[1:]} level"


def set_up_once(factor: Factor) -> PlanRefused:
    """Return the refusal of a plan that sets each level up once."""
    name = one_word(factor)
    return PlanRefused(
        f"Each {name} is set up once, so {name} and set-up cannot be told apart: whatever you "
        "find could be the regulator, the nozzle or the afternoon. Use at least rounds = 4 "
        '(6 recommended). To weld it anyway as a pilot:  purpose = "pilot"  – no verdict will '
        "be given."
    )


def tied_to_block(factor: Factor, block: str, *, once: bool) -> PlanRefused:
    """Return the refusal of a plan whose blocks may each hold one level."""
    name = one_word(factor)
    first, last = factor.levels[0], factor.levels[-1]
    what = (
        f"Every {first} coupon would be on one {block} and every {last} coupon on another."
        if once
        else f'With order.block = "{block}" a {block} may hold {first} alone or {last} alone.'
    )
    return PlanRefused(
        f"{what} {block.capitalize()} and {name} cannot be told apart. "
        f'Let each {block} hold both:  block = "round".'
    )
