"""Sharing coupons out: how many rounds, set-ups and coupons in each, or the nearest that fit."""

from __future__ import annotations

from collections.abc import Iterator

from weldtrial.doe.refusals import CannotShareOut, Sharing, levels_word
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.trial import Budget, Trial

RECOMMENDED_ROUNDS = 6


def extra_coupons(budget: Budget) -> int:
    """Return how many spares and warm-ups there are besides the counting coupons."""
    return budget.spare + budget.warm_up


def share_out(trial: Trial, hard: Factor, combos: int) -> Sharing:
    """Return rounds, set-ups and coupons a set-up of a trial with one hard-to-change factor.

    Parameters
    ----------
    trial
        Its `design` and `budget` say what is asked; what they leave open is worked out.
    hard
        The hard-to-change factor.
    combos
        Combinations of the easy factors that every set-up holds.

    Raises
    ------
    PlanRefused
        If rounds and set-ups contradict each other.
    CannotShareOut
        If the budget does not divide into the set-ups.
    """
    rounds, set_ups = _rounds_and_set_ups(trial, hard, combos)
    extra = extra_coupons(trial.budget)
    if trial.design.replicates is not None:
        asked = Sharing(rounds, set_ups, combos * trial.design.replicates, extra)
        if trial.budget.coupons is not None and asked.total > trial.budget.coupons:
            raise _too_small(trial.budget.coupons, asked, hard, combos)
        return asked
    if trial.budget.coupons is None:
        return Sharing(rounds, set_ups, combos, extra)
    usable = trial.budget.coupons - extra
    if usable < 1 or usable % (set_ups * combos):
        raise _uneven(trial.budget.coupons, rounds, set_ups, extra, hard, combos)
    return Sharing(rounds, set_ups, usable // set_ups, extra)


def _rounds_and_set_ups(trial: Trial, hard: Factor, combos: int) -> tuple[int, int]:
    rounds, set_ups, levels = trial.design.rounds, trial.design.set_ups, len(hard.levels)
    names = levels_word(hard)
    if rounds is None and set_ups is None:
        rounds = _usual_rounds(trial, levels, combos)
    if rounds is None:
        assert set_ups is not None
        if set_ups < levels or set_ups % levels:
            lower = max(1, set_ups // levels) * levels
            raise PlanRefused(
                f"{set_ups} set-ups cannot be shared evenly over {levels} {names}. "
                f"Use  design.set_ups = {lower}  or {lower + levels}."
            )
        return set_ups // levels, set_ups
    if set_ups is None:
        return rounds, rounds * levels
    if set_ups < rounds * levels or set_ups % (rounds * levels):
        raise PlanRefused(
            f"{rounds} rounds of {levels} {names} are {rounds * levels} set-ups (or a multiple of "
            f"it), but design.set_ups is {set_ups}. Leave out one of  rounds  and  set_ups,  and "
            "it follows from the other."
        )
    return rounds, set_ups


def _usual_rounds(trial: Trial, levels: int, combos: int) -> int:
    """Return six rounds, or the number nearest to six that the budget divides into."""
    if trial.budget.coupons is None or trial.design.replicates is not None:
        return RECOMMENDED_ROUNDS
    usable = trial.budget.coupons - extra_coupons(trial.budget)
    fitting = [
        rounds
        for rounds in range(2, max(2, usable) // (levels * combos) + 1)
        if usable % (rounds * levels * combos) == 0
    ]
    return min(
        fitting,
        key=lambda rounds: (abs(rounds - RECOMMENDED_ROUNDS), -rounds),
        default=RECOMMENDED_ROUNDS,
    )


def sharings(usable: int, levels: int, combos: int, extra: int) -> Iterator[Sharing]:
    """Yield every way to weld at most `usable` coupons in two or more rounds of every level."""
    for rounds in range(2, usable // (levels * combos) + 1):
        replicates = usable // (rounds * levels * combos)
        yield Sharing(rounds, rounds * levels, combos * replicates, extra)


def closest(usable: int, rounds: int, levels: int, combos: int, extra: int) -> Sharing | None:
    """Return the way to share out `usable` coupons that is nearest to `rounds` rounds.

    Far is what leaves coupons over or sets up more or fewer times: each coupon left over and
    each set-up away counts one.  None when not even two rounds fit.
    """
    return min(
        sharings(usable, levels, combos, extra),
        key=lambda one: (
            usable - one.coupons + levels * abs(one.rounds - rounds),
            abs(one.rounds - rounds),
        ),
        default=None,
    )


def _closest_words(found: Sharing | None, hard: Factor) -> str:
    if found is None:
        return "Nothing with two rounds fits that budget."
    words = (
        f"Closest that fits: {found.rounds} rounds × {len(hard.levels)} {levels_word(hard)} × "
        f"{found.per_setup} = {found.coupons}"
    )
    return f"{words} + {found.extra} = {found.total}." if found.extra else f"{words}."


def _too_small(budget: int, asked: Sharing, hard: Factor, combos: int) -> CannotShareOut:
    found = closest(budget - asked.extra, asked.rounds, len(hard.levels), combos, asked.extra)
    plus = (
        f" plus {asked.extra} spare and warm-up = {asked.total}; budget"
        if asked.extra
        else "; budget"
    )
    return CannotShareOut(
        f"{asked.set_ups} set-ups of {asked.per_setup} need {asked.coupons} coupons{plus} is "
        f"{budget}. {_closest_words(found, hard)}",
        asked=asked,
        closest=found,
        hint=f"Or raise  budget.coupons  to {asked.total}.",
    )


def _uneven(
    budget: int, rounds: int, set_ups: int, extra: int, hard: Factor, combos: int
) -> CannotShareOut:
    usable = max(0, budget - extra)
    found = closest(usable, rounds, len(hard.levels), combos, extra)
    step = set_ups * combos
    lower, upper = usable // step, usable // step + 1
    sets = f", each holding all {combos} combinations of settings" if combos > 1 else ""
    less = f" ({budget} less {extra} spare and warm-up)" if extra else ""
    around = [
        f"{times * step + extra} ({set_ups} × {times * combos}{f' + {extra}' if extra else ''})"
        for times in (lower, upper)
        if times
    ]
    return CannotShareOut(
        f"{usable} coupons{less} cannot be shared evenly over {set_ups} set-ups{sets}. "
        f"{_closest_words(found, hard)}",
        asked=None,
        closest=found,
        hint=f"Or keep the {set_ups} set-ups and set  budget.coupons  to {' or '.join(around)}.",
    )
