"""How many set-ups (or blocks) a searched design has, of which kind, and how many coupons each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from weldtrial.doe.cells import combinations_of
from weldtrial.doe.refusals import kinds_word
from weldtrial.doe.sharing import RECOMMENDED_ROUNDS
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.trial import Trial


@dataclass(frozen=True, slots=True)
class Place:
    """A set-up (a block) to be filled.

    Attributes
    ----------
    coupons
        How many it holds, at least 1.
    block
        Its round or block, counted from 0.
    hard
        Levels of the hard-to-change factors; empty without set-ups, None where the search chooses.
    """

    coupons: int
    block: int
    hard: dict[str, str] | None


def places_of(trial: Trial, coupons: int) -> tuple[Place, ...]:
    """Share `coupons` out over the set-ups (blocks) of a trial, as evenly as they go.

    With a hard-to-change factor: rounds of every kind of set-up where the numbers allow that, else
    set-ups whose kinds the search chooses.  Without: ``design.rounds`` blocks.

    Raises
    ------
    PlanRefused
        When rounds, set-ups and coupons contradict each other.
    """
    if not trial.hard:
        _refuse_set_ups(trial)
        blocks = trial.design.rounds or 1
        _refuse_empty(coupons, blocks, "blocks")
        sizes = _evenly(coupons, blocks)
        return tuple(Place(size, block, {}) for block, size in enumerate(sizes))
    kinds = combinations_of(trial.hard)
    rounds, set_ups = rounds_and_set_ups(trial, len(kinds), coupons)
    _refuse_empty(coupons, set_ups, "set-ups")
    sizes = _evenly(coupons, set_ups)
    if rounds == 0:
        return tuple(Place(size, 0, None) for size in sizes)
    per_round = set_ups // rounds
    return tuple(
        Place(size, place // per_round, dict(kinds[(place + place // per_round) % len(kinds)]))
        for place, size in enumerate(sizes)
    )


def _refuse_set_ups(trial: Trial) -> None:
    if trial.design.set_ups is not None:
        raise PlanRefused(
            "design.set_ups counts set-ups of a hard-to-change factor, and no factor is marked  "
            "hard_to_change = true.  Mark the one that ends a set-up, or leave set_ups out."
        )


def _refuse_empty(coupons: int, units: int, what: str) -> None:
    if units > coupons:
        raise PlanRefused(
            f"{coupons} coupons cannot fill {units} {what}. Raise  budget.coupons, or ask for "
            f"fewer {what}."
        )


def _evenly(coupons: int, units: int) -> Sequence[int]:
    """Return the sizes of `units` parts, those with one coupon more spread out among them."""
    return [(unit + 1) * coupons // units - unit * coupons // units for unit in range(units)]


def rounds_and_set_ups(trial: Trial, kinds: int, coupons: int | None = None) -> tuple[int, int]:
    """Return rounds and set-ups; 0 rounds where the kinds do not go round.

    Where the file says neither: six rounds, or as many as leave two of `coupons` to a set-up.

    Raises
    ------
    PlanRefused
        When rounds and set-ups contradict each other.
    """
    rounds, set_ups = trial.design.rounds, trial.design.set_ups
    if rounds is None and set_ups is None:
        rounds = RECOMMENDED_ROUNDS
        if coupons is not None:
            rounds = max(2, min(rounds, coupons // (2 * kinds)))
    if rounds is None:
        assert set_ups is not None
        if set_ups % kinds == 0:
            return set_ups // kinds, set_ups
        return 0, set_ups
    if set_ups is None:
        return rounds, rounds * kinds
    if set_ups % (rounds * kinds):
        raise PlanRefused(
            f"{rounds} rounds of {kinds} {kinds_word(trial.hard)} are {rounds * kinds} set-ups (or "
            f"a multiple of it), but design.set_ups is {set_ups}. Leave out one of  rounds  and  "
            "set_ups,  and it follows from the other."
        )
    return rounds, set_ups
