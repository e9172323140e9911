"""Sharing coupons out: how many rounds, set-ups and coupons in each, or the nearest that fit."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from weldtrial.doe.easy import EasyDesign
from weldtrial.doe.refusals import CannotShareOut, Sharing
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.trial import Budget, Trial

RECOMMENDED_ROUNDS = 6


@dataclass(frozen=True, slots=True)
class Asked:
    """What has to be shared out over set-ups.

    Attributes
    ----------
    kinds
        Kinds of set-up: levels of the hard-to-change factor, or combinations of several.
    names
        What they are called: ``gases``, ``combinations of gas and preheat``.
    combos
        Combinations of the easy factors.
    centre
        Centre points in every set-up.
    easy
        The design of the easy factors, None where it cannot be cut.
    """

    kinds: int
    names: str
    combos: int
    centre: int = 0
    easy: EasyDesign | None = None

    def fits(self, coupons: int) -> bool:
        """Tell whether a set-up of so many coupons holds whole designs and its centre points."""
        counting = coupons - self.centre
        return counting > 0 and counting % self.combos == 0

    def parts(self, coupons: int) -> int:
        """Return in how many parts the design is cut for such set-ups, 0 where it cannot be."""
        counting = coupons - self.centre
        if self.easy is None or counting < 2 or self.combos % counting:
            return 0
        parts = self.combos // counting
        return parts if self.easy.can_be_cut(parts) else 0


def extra_coupons(budget: Budget) -> int:
    """Return how many spares and warm-ups there are besides the counting coupons."""
    return budget.spare + budget.warm_up


def share_out(trial: Trial, asked: Asked) -> Sharing:
    """Return rounds, set-ups and coupons a set-up of a trial with hard-to-change factors.

    Parameters
    ----------
    trial
        Its `design` and `budget` say what is asked; what they leave open is worked out.
    asked
        What has to be shared out.

    Raises
    ------
    PlanRefused
        If rounds and set-ups contradict each other, or parts do not go round.
    CannotShareOut
        If the budget does not divide into the set-ups.
    """
    rounds, set_ups = _rounds_and_set_ups(trial, asked)
    extra = extra_coupons(trial.budget)
    if trial.design.replicates is not None:
        each = asked.combos * trial.design.replicates + asked.centre
        wanted = Sharing(rounds, set_ups, each, extra)
        if trial.budget.coupons is not None and wanted.total > trial.budget.coupons:
            raise _too_small(trial.budget.coupons, wanted, asked)
        return wanted
    if trial.budget.coupons is None:
        return Sharing(rounds, set_ups, asked.combos + asked.centre, extra)
    usable = trial.budget.coupons - extra
    each, over = divmod(max(0, usable), set_ups)
    if not over and asked.fits(each):
        return Sharing(rounds, set_ups, each, extra)
    parts = 0 if over else asked.parts(each)
    if not parts:
        raise _uneven(trial.budget.coupons, rounds, set_ups, extra, asked)
    _refuse_left_over_parts(rounds, set_ups // (rounds * asked.kinds), parts, each, asked)
    return Sharing(rounds, set_ups, each, extra, parts)


def _refuse_left_over_parts(
    rounds: int, per_round: int, parts: int, each: int, asked: Asked
) -> None:
    if per_round % parts == 0 or rounds % parts == 0:
        return
    lower, upper = rounds // parts * parts, -(-rounds // parts) * parts
    raise PlanRefused(
        f"A set-up of {each} coupons holds 1 part in {parts} of the {asked.combos} combinations of "
        f"settings, and {rounds} rounds cannot hold every part equally often. Use  design.rounds = "
        f"{f'{lower}  or {upper}' if lower else upper}, or let a set-up hold all "
        f"{asked.combos + asked.centre}."
    )


def _rounds_and_set_ups(trial: Trial, asked: Asked) -> tuple[int, int]:
    rounds, set_ups, kinds = trial.design.rounds, trial.design.set_ups, asked.kinds
    if rounds is None and set_ups is None:
        rounds = _usual_rounds(trial, asked)
    if rounds is None:
        assert set_ups is not None
        if set_ups < kinds or set_ups % kinds:
            lower = max(1, set_ups // kinds) * kinds
            raise PlanRefused(
                f"{set_ups} set-ups cannot be shared evenly over {kinds} {asked.names}. "
                f"Use  design.set_ups = {lower}  or {lower + kinds}."
            )
        return set_ups // kinds, set_ups
    if set_ups is None:
        return rounds, rounds * kinds
    if set_ups < rounds * kinds or set_ups % (rounds * kinds):
        raise PlanRefused(
            f"{rounds} rounds of {kinds} {asked.names} are {rounds * kinds} set-ups (or a multiple "
            f"of it), but design.set_ups is {set_ups}. Leave out one of  rounds  and  set_ups,  "
            "and it follows from the other."
        )
    return rounds, set_ups


def _usual_rounds(trial: Trial, asked: Asked) -> int:
    """Return six rounds, or the number nearest to six that the budget divides into."""
    if trial.budget.coupons is None or trial.design.replicates is not None:
        return RECOMMENDED_ROUNDS
    usable = trial.budget.coupons - extra_coupons(trial.budget)
    fitting = [
        rounds
        for rounds in range(2, max(2, usable) // (asked.kinds * asked.combos) + 1)
        if usable % (rounds * asked.kinds) == 0 and asked.fits(usable // (rounds * asked.kinds))
    ]
    return min(
        fitting,
        key=lambda rounds: (abs(rounds - RECOMMENDED_ROUNDS), -rounds),
        default=RECOMMENDED_ROUNDS,
    )


def sharings(usable: int, asked: Asked, extra: int) -> Iterator[Sharing]:
    """Yield every way to weld at most `usable` coupons in two or more rounds of every kind."""
    for rounds in range(2, usable // (asked.kinds * (asked.combos + asked.centre)) + 1):
        replicates = (usable // (rounds * asked.kinds) - asked.centre) // asked.combos
        each = asked.combos * replicates + asked.centre
        yield Sharing(rounds, rounds * asked.kinds, each, extra)


def closest(usable: int, rounds: int, asked: Asked, extra: int) -> Sharing | None:
    """Return the way to share out `usable` coupons that is nearest to `rounds` rounds.

    Far is what leaves coupons over or sets up more or fewer times: each coupon left over and
    each set-up away counts one.  None when not even two rounds fit.
    """
    return min(
        sharings(usable, asked, extra),
        key=lambda one: (
            usable - one.coupons + asked.kinds * abs(one.rounds - rounds),
            abs(one.rounds - rounds),
        ),
        default=None,
    )


def _closest_words(found: Sharing | None, asked: Asked) -> str:
    if found is None:
        return "Nothing with two rounds fits that budget."
    words = (
        f"Closest that fits: {found.rounds} rounds × {asked.kinds} {asked.names} × "
        f"{found.per_setup} = {found.coupons}"
    )
    return f"{words} + {found.extra} = {found.total}." if found.extra else f"{words}."


def _too_small(budget: int, wanted: Sharing, asked: Asked) -> CannotShareOut:
    found = closest(budget - wanted.extra, wanted.rounds, asked, wanted.extra)
    plus = (
        f" plus {wanted.extra} spare and warm-up = {wanted.total}; budget"
        if wanted.extra
        else "; budget"
    )
    return CannotShareOut(
        f"{wanted.set_ups} set-ups of {wanted.per_setup} need {wanted.coupons} coupons{plus} is "
        f"{budget}. {_closest_words(found, asked)}",
        asked=wanted,
        closest=found,
        hint=f"Or raise  budget.coupons  to {wanted.total}.",
    )


def _uneven(budget: int, rounds: int, set_ups: int, extra: int, asked: Asked) -> CannotShareOut:
    usable = max(0, budget - extra)
    found = closest(usable, rounds, asked, extra)
    lower = max(0, usable // set_ups - asked.centre) // asked.combos
    sets = f", each holding all {asked.combos} combinations of settings" if asked.combos > 1 else ""
    if asked.centre:
        sets += (
            f" and {asked.centre} at the centre" if sets else f" with {asked.centre} centre points"
        )
    less = f" ({budget} less {extra} spare and warm-up)" if extra else ""
    sizes = [times * asked.combos + asked.centre for times in (lower, lower + 1) if times]
    around = [
        f"{set_ups * size + extra} ({set_ups} × {size}{f' + {extra}' if extra else ''})"
        for size in sizes
    ]
    return CannotShareOut(
        f"{usable} coupons{less} cannot be shared evenly over {set_ups} set-ups{sets}. "
        f"{_closest_words(found, asked)}",
        asked=None,
        closest=found,
        hint=f"Or keep the {set_ups} set-ups and set  budget.coupons  to {' or '.join(around)}."
        + _half_words(rounds, set_ups, extra, asked),
    )


def _half_words(rounds: int, set_ups: int, extra: int, asked: Asked) -> str:
    """Return what set-ups that hold half of the combinations would take, where they can."""
    halves_go_round = rounds % 2 == 0 or set_ups // (rounds * asked.kinds) % 2 == 0
    if asked.easy is None or not halves_go_round or not asked.easy.can_be_cut(2):
        return ""
    size = asked.combos // 2 + asked.centre
    sum_words = f"{set_ups} × {size}{f' + {extra}' if extra else ''}"
    total = set_ups * size + extra
    return f" With half of the combinations in each set-up it is {total} ({sum_words})."
