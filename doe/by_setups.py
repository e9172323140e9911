"""Laying out a trial by set-ups: rounds, kinds of set-up, and what each of them holds."""

from __future__ import annotations

from collections.abc import Mapping

from weldtrial.doe.cells import Cell, cell_at, centre_cells, combinations_of
from weldtrial.doe.easy import EasyDesign, easy_design
from weldtrial.doe.laid_out import Layout
from weldtrial.doe.refusals import kinds_word, tied_to_block
from weldtrial.doe.sharing import Asked, share_out
from weldtrial.shared.orders import count_orders, usual_limit
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.trial import Trial

Cells = Mapping[str, tuple[Cell, ...]]


def by_set_ups(trial: Trial) -> Layout:
    """Lay out a trial with one or several hard-to-change factors.

    One set-up holds one combination of the hard-to-change factors; every round holds each
    combination.  What a set-up holds: every combination of the easy factors equally often, or
    a part of them where it holds fewer coupons.  Where a round holds each kind of set-up once, all
    its set-ups hold the same part, so that what the cut hides is the difference between rounds and
    the kinds of set-up are compared on equal coupons.

    Raises
    ------
    PlanRefused, CannotShareOut
        See `weldtrial.doe.layout.make_layout`.
    """
    kinds = {", ".join(levels.values()): levels for levels in combinations_of(trial.hard)}
    easy = easy_design(trial)
    centre = _centre(trial, kinds)
    asked = Asked(
        kinds=len(kinds),
        names=kinds_word(trial.hard),
        combos=len(easy.combos),
        centre=len(next(iter(centre.values()))) if centre else 0,
        easy=easy,
    )
    sharing = share_out(trial, asked)
    block = trial.order.block
    if block not in (None, "round"):
        raise tied_to_block(trial.hard[0], block, once=sharing.set_ups == len(kinds))
    per_round = sharing.set_ups // (sharing.rounds * len(kinds))
    cut, parts = easy.cut(sharing.parts) if sharing.parts > 1 else (None, ())
    return Layout(
        hard_factors=tuple(factor.name for factor in trial.hard),
        hard_levels=tuple(kinds),
        rounds=sharing.rounds,
        per_round=per_round,
        cells=_cells(trial, kinds, easy),
        replicates=(sharing.per_setup - asked.centre) * sharing.parts // asked.combos,
        warm_up=trial.budget.warm_up,
        spare=trial.budget.spare,
        easy=easy,
        first_at_most=_limit(trial, sharing.rounds, len(kinds), per_round),
        centre=centre,
        parts=parts,
        parts_by=None if cut is None else "round" if per_round % sharing.parts else "set-up",
        cut=cut,
    )


def _cells(trial: Trial, kinds: Mapping[str, dict[str, str]], easy: EasyDesign) -> Cells:
    return {
        kind: tuple(cell_at(trial, {**fixed, **levels}) for levels in easy.combos)
        for kind, fixed in kinds.items()
    }


def _centre(trial: Trial, kinds: Mapping[str, dict[str, str]]) -> Cells | None:
    """Return the centre points of a set-up of each kind, None when none are asked for."""
    wanted = trial.design.centre_points
    if not wanted:
        return None
    cells = {kind: centre_cells(trial, fixed, trial.easy) for kind, fixed in kinds.items()}
    each = len(next(iter(cells.values())))
    if wanted % each:
        raise PlanRefused(
            f"design.centre_points = {wanted} cannot be shared evenly over the {each} combinations "
            f"of the categories in a set-up. Use  centre_points = {-(-wanted // each) * each}."
        )
    return {kind: several * (wanted // each) for kind, several in cells.items()}


def _limit(trial: Trial, rounds: int, kinds: int, per_round: int) -> int | None:
    """Return in how many rounds a kind may come first, refusing what no order obeys."""
    if rounds == 1:
        return None
    asked = trial.order.first_at_most
    if asked is None:
        return usual_limit(rounds)
    if count_orders(rounds, kinds, asked, per_round) == 0:
        least = -(-rounds // kinds)
        raise PlanRefused(
            f"order.first_at_most = {asked} cannot be obeyed: in {rounds} rounds of {kinds} "
            f"levels one of them comes first at least {least} times. "
            f"Allow at least  first_at_most = {least}."
        )
    return asked
