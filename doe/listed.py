"""Designs that no rule repeats: every set-up (or block) with its coupons, listed one by one."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from weldtrial.doe.cells import Cell, cell_at
from weldtrial.doe.easy import EasyDesign
from weldtrial.doe.laid_out import Holding, Layout
from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.trial import Trial


def cell_maker(trial: Trial) -> Callable[[Point], Cell]:
    """Return what turns a coded point into the cell that is welded.

    Numbers become the nearest setting of the machine (``factor.step``) under the point's own
    gas.  Equal points give the very same cell.
    """
    made: dict[tuple[str, ...], Cell] = {}

    def cell(point: Point) -> Cell:
        levels = {factor.name: _level(factor, point) for factor in trial.varied}
        return made.setdefault(tuple(levels.values()), cell_at(trial, levels))

    return cell


def _level(factor: Factor, point: Point) -> str:
    value = point[factor.name]
    if isinstance(value, str):
        return value
    owner = str(point.get(factor.slides_with or "", ""))
    return factor.level_of(factor.settable(value, owner), owner)


def kind_of(trial: Trial, cell: Cell) -> str:
    """Return the kind of set-up that a cell is welded in: its hard levels joined by a comma."""
    return ", ".join(cell.levels[factor.name] for factor in trial.hard)


def list_layout(
    trial: Trial,
    held: Sequence[tuple[int, Sequence[Cell]]],
    *,
    name: str,
    notes: Sequence[str] = (),
    first_at_most: int | None = None,
) -> Layout:
    """Return the layout of set-ups (blocks) listed one by one.

    Parameters
    ----------
    trial
        Its hard-to-change factors say whether these are set-ups.
    held
        For each set-up (block) its round (block), from 0, and its coupons.
    name, notes
        What the design is called, and what it can and cannot tell.
    first_at_most
        In how many rounds a kind of set-up may come first, where all rounds hold all kinds.
    """
    listed = tuple(Holding(block, kind_of(trial, cells[0]), tuple(cells)) for block, cells in held)
    kinds = tuple(dict.fromkeys(one.kind for one in listed)) if trial.hard else ()
    rounds = 1 + max(one.round for one in listed)
    per_round = _per_round(listed, kinds, rounds)
    cells: dict[str, tuple[Cell, ...]] = {}
    for kind in kinds or ("",):
        every = [cell for one in listed if one.kind == kind for cell in one.cells]
        cells[kind] = tuple({id(cell): cell for cell in every}.values())
    return Layout(
        hard_factors=tuple(factor.name for factor in trial.hard),
        hard_levels=kinds,
        rounds=rounds,
        per_round=per_round,
        cells=cells,
        replicates=1,
        warm_up=trial.budget.warm_up,
        spare=trial.budget.spare,
        easy=EasyDesign(trial.easy, ()),
        first_at_most=first_at_most if per_round and rounds > 1 else None,
        listed=listed,
        name=name,
        notes=tuple(notes),
    )


def _per_round(listed: Sequence[Holding], kinds: Sequence[str], rounds: int) -> int:
    """Return how often each round holds each kind of set-up, 0 where that differs."""
    many = [
        sum(one.round == number and one.kind == kind for one in listed)
        for number in range(rounds)
        for kind in kinds
    ]
    return many[0] if many and min(many) == max(many) else 0


def as_sealed(
    trial: Trial, plain: Mapping[str, Any], *, name: str = "", notes: tuple[str, ...] = ()
) -> Layout:
    """Return the listed design that a seal holds, as `Layout.as_plain` wrote it.

    Words are no part of a seal, so they are handed in.

    Raises
    ------
    KeyError
        When its coupons do not have the factors of the trial.
    """
    made: dict[tuple[str, ...], Cell] = {}

    def cell(coupon: Mapping[str, Any]) -> Cell:
        levels = {factor.name: str(coupon["levels"][factor.name]) for factor in trial.factors}
        key = tuple(levels.values())
        return made.setdefault(key, Cell(levels, dict(coupon["settings"])))

    return list_layout(
        trial,
        [(int(one["round"]), [cell(row) for row in one["coupons"]]) for one in plain["listed"]],
        name=name,
        notes=notes,
        first_at_most=plain["first_at_most"],
    )
