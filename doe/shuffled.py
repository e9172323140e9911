"""Laying out a trial with nothing hard to change: coupons shuffled, completely or in blocks."""

from __future__ import annotations

from weldtrial.doe.cells import Cell, cell_at, centre_cells
from weldtrial.doe.easy import EasyDesign, easy_design
from weldtrial.doe.laid_out import Layout
from weldtrial.doe.sharing import extra_coupons
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.trial import Trial


def completely_shuffled(trial: Trial) -> Layout:
    """Lay out a trial whose every coupon is set up anew.

    `design.rounds` are blocks (days, plates, spools, welders).  Each holds whole replicates where
    these divide; else the combinations are cut over the blocks, at the cost of the least
    interesting effects, and a fold-over in two blocks has a half in each.

    Raises
    ------
    PlanRefused
        See `weldtrial.doe.layout.make_layout`.
    """
    easy = easy_design(trial)
    _refuse_set_ups(trial)
    blocks = _blocks(trial, easy)
    centre = _centre(trial, blocks)
    replicates = _replicates(trial, easy, blocks, len(centre) * blocks)
    many = 1 if replicates % blocks == 0 else blocks // replicates
    cut, parts = easy.cut(many, by_halves=True) if many > 1 else (None, ())
    return Layout(
        hard_factors=(),
        hard_levels=(),
        rounds=blocks,
        per_round=0,
        cells={"": tuple(cell_at(trial, levels) for levels in easy.combos)},
        replicates=replicates * many // blocks,
        warm_up=trial.budget.warm_up,
        spare=trial.budget.spare,
        easy=easy,
        centre={"": centre} if centre else None,
        parts=parts,
        parts_by=None if cut is None else "round",
        cut=cut,
    )


def _refuse_set_ups(trial: Trial) -> None:
    if trial.design.set_ups is not None:
        raise PlanRefused(
            "design.set_ups counts set-ups of a hard-to-change factor, and no factor is marked  "
            "hard_to_change = true.  Mark the one that ends a set-up, or leave set_ups out."
        )


def _blocks(trial: Trial, easy: EasyDesign) -> int:
    """Return the number of blocks: as asked, the halves of a fold-over, or one."""
    if trial.design.rounds is not None:
        rounds = trial.design.rounds
    else:
        folded = easy.fraction is not None and easy.fraction.half is not None
        rounds = 2 if folded and trial.design.replicates in (None, 1) else 1
    block = trial.order.block
    if block not in (None, "round") and rounds == 1:
        raise PlanRefused(
            f'order.block = "{block}" needs the number of blocks. Add  design.rounds = 2  (or '
            "more): each then holds every setting equally often, or an equal part of them."
        )
    return rounds


def _centre(trial: Trial, blocks: int) -> tuple[Cell, ...]:
    """Return the centre points of one block, each category as often as the others."""
    wanted = trial.design.centre_points
    if not wanted:
        return ()
    cells = centre_cells(trial, {}, trial.varied)
    step = len(cells) * blocks
    if wanted % step:
        over = [f"{blocks} blocks"] if blocks > 1 else []
        over += [f"{len(cells)} combinations of the categories"] if len(cells) > 1 else []
        upper = -(-wanted // step) * step
        raise PlanRefused(
            f"design.centre_points = {wanted} cannot be shared evenly over {' and '.join(over)}. "
            f"Use  centre_points = {upper}{f'  or {upper - step}' if upper > step else ''}."
        )
    return cells * (wanted // step)


def _fits(easy: EasyDesign, replicates: int, blocks: int) -> bool:
    """Tell whether so many replicates can be shared over so many blocks."""
    if replicates % blocks == 0:
        return True
    return blocks % replicates == 0 and easy.can_be_cut(blocks // replicates)


def _replicates(trial: Trial, easy: EasyDesign, blocks: int, centre: int) -> int:
    """Return how often the combinations are welded, over all blocks."""
    budget, wanted, combos = trial.budget.coupons, trial.design.replicates, len(easy.combos)
    if wanted is None and budget is None:
        if easy.fraction is not None and _fits(easy, 1, blocks):
            return 1
        return max(blocks, 1 if combos > 2 else 2)
    extra = extra_coupons(trial.budget) + centre
    if wanted is None:
        assert budget is not None
        return _from_budget(budget, extra, easy, blocks, centre)
    if not _fits(easy, wanted, blocks):
        raise PlanRefused(
            f"{blocks} blocks cannot share {wanted} replicates evenly. Use  design.replicates = "
            f"{-(-wanted // blocks) * blocks}  or leave  rounds  out."
        )
    need = combos * wanted + extra
    if budget is not None and need > budget:
        raise PlanRefused(
            f"{combos} combinations × {wanted} replicates + {extra} {_extras(centre)} = {need} "
            f"coupons; budget is {budget}. Raise  budget.coupons  to {need}, or weld fewer "
            "replicates."
        )
    return wanted


def _extras(centre: int) -> str:
    return "centre points, spare and warm-up" if centre else "spare and warm-up"


def _from_budget(budget: int, extra: int, easy: EasyDesign, blocks: int, centre: int) -> int:
    usable, combos = budget - extra, len(easy.combos)
    if usable >= combos and usable % combos == 0 and _fits(easy, usable // combos, blocks):
        return usable // combos
    step = combos * blocks
    lower = max(0, usable) // step
    around = " or ".join(str(times * step + extra) for times in (lower, lower + 1) if times)
    less = f" ({budget} less {extra} {_extras(centre)})" if extra else ""
    over = f" in {blocks} blocks" if blocks > 1 else ""
    raise PlanRefused(
        f"{max(0, usable)} coupons{less} cannot be shared evenly over {combos} combinations "
        f"of settings{over}. Set  budget.coupons  to {around}."
    )
