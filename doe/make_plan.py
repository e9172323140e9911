"""The drawn plan: order and stamps from the seal, so that nobody chose them.

The draw has streams of its own, for set-ups, parts, coupons and stamps: how often the order of
the set-ups was redrawn changes neither the coupons nor the stamps.  Levels are drawn by place,
never by name, so the stamps tell nothing of the gas.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from weldtrial.doe.cells import Cell
from weldtrial.doe.draw import Draw, draw_key
from weldtrial.doe.laid_out import Layout
from weldtrial.doe.layout import make_layout
from weldtrial.doe.restrict import draw_orders, restriction_in_words
from weldtrial.doe.stamps import stamps
from weldtrial.shared.plan import Plan, Role, Run
from weldtrial.shared.trial import Trial


@dataclass(frozen=True, slots=True)
class _Place:
    """A run without its number and stamp."""

    role: Role
    round: int | None
    setup: int | None
    place: int | None
    cell: Cell | None


def make_plan(trial: Trial, seal_hex: str, dice: tuple[int, ...] = ()) -> Plan:
    """Draw the order and the stamps of a trial from its seal and the dice.

    Set-ups are shuffled within rounds under the restriction, coupons within set-ups (or, with
    nothing hard to change, within blocks).  Warm-ups are welded first in the set-ups of the
    first round in turn, at the settings of the coupon that follows.  Spares come last.

    Parameters
    ----------
    trial
        As for `make_layout`.
    seal_hex
        The full seal: 64 hexadecimal digits.
    dice
        Numbers thrown at sealing, in order; empty when none were.

    Returns
    -------
    Plan
        The same to the bit for the same trial, seal and dice.

    Raises
    ------
    NotYet, PlanRefused, CannotShareOut
        As `make_layout`; PlanRefused also when there are more coupons than stamps.
    ValueError
        If the seal or the dice are not of that form.
    """
    layout = make_layout(trial)
    draw = Draw(draw_key(seal_hex, dice))
    coupons = draw.child("coupons")
    parts = draw.child("parts")
    if layout.hard_factors and not layout.in_rounds:
        places, draws = _by_set_ups_anyhow(layout, draw.child("set-ups"), coupons), 1
    elif layout.hard_factors:
        places, draws = _by_set_ups(layout, draw.child("set-ups"), coupons, parts)
    else:
        places, draws = _by_blocks(layout, coupons, parts), 1
    spares = [_Place("spare", None, None, None, None)] * layout.spare
    codes = stamps(draw.child("stamps"), layout.total, trial.stamps_taken)
    runs = tuple(
        _run(place, number if place.cell else None, code)
        for number, (place, code) in enumerate(zip([*places, *spares], codes, strict=True), 1)
    )
    return Plan(runs, draws, restriction_of(trial, layout))


def restriction_of(trial: Trial, layout: Layout) -> str:
    """Return the restriction on the order in words, empty when there is none."""
    if not layout.in_rounds:
        return ""
    if len(layout.hard_factors) > 1:
        what = f"combination of {' and '.join(layout.hard_factors)}"
        return restriction_in_words(layout.rounds, layout.first_at_most, what)
    factor = trial.factor(layout.hard_factors[0])
    what = "gas" if factor.name == "gas" else f"level of {factor.name}"
    return restriction_in_words(layout.rounds, layout.first_at_most, what)


def _run(place: _Place, number: int | None, stamp: str) -> Run:
    return Run(
        run=number,
        round=place.round,
        setup=place.setup,
        place=place.place,
        stamp=stamp,
        role=place.role,
        levels=dict(place.cell.levels) if place.cell else {},
        settings=dict(place.cell.settings) if place.cell else {},
    )


def _by_set_ups(
    layout: Layout, order: Draw, coupons: Draw, parts: Draw
) -> tuple[list[_Place], int]:
    orders, draws = draw_orders(
        order, layout.rounds, layout.hard_levels, layout.first_at_most, layout.per_round
    )
    warm_ups = _warm_ups(layout.warm_up, len(orders[0]))
    places: list[_Place] = []
    setup = 0
    deal = _deal_listed if layout.listed else _deal_contents
    for number, (levels, left) in enumerate(zip(orders, deal(layout, parts), strict=True), 1):
        for level in levels:
            setup += 1
            warm = warm_ups[setup - 1] if setup <= len(warm_ups) else 0
            cells = coupons.shuffle(left[level].pop(0))
            places += _places(cells, warm, number, setup, layout.role)
    return places, draws


def _by_set_ups_anyhow(layout: Layout, order: Draw, coupons: Draw) -> list[_Place]:
    """Place set-ups that stand in no rounds: shuffled over the whole trial."""
    places: list[_Place] = []
    for setup, held in enumerate(order.shuffle(layout.listed), 1):
        warm = layout.warm_up if setup == 1 else 0
        places += _places(coupons.shuffle(held.cells), warm, None, setup, layout.role)
    return places


Dealt = list[dict[str, list[tuple[Cell, ...]]]]
"""For every round, what its set-ups of each kind hold, in the order they come."""


def _deal_listed(layout: Layout, parts: Draw) -> Dealt:
    """Deal listed set-ups: which round comes first, and which of a kind within a round."""
    found: Dealt = []
    for number in parts.shuffle(tuple(range(layout.rounds))):
        here = [one for one in layout.listed if one.round == number]
        found.append(
            {
                kind: list(parts.shuffle(tuple(one.cells for one in here if one.kind == kind)))
                for kind in layout.hard_levels
            }
        )
    return found


def _deal_contents(layout: Layout, parts: Draw) -> Dealt:
    """Deal the parts of the combinations, or all of them, to the set-ups of every round."""
    return [
        {
            level: [layout.contents(level, part) for part in dealt[place]]
            for place, level in enumerate(layout.hard_levels)
        }
        for dealt in _deal_parts(layout, parts)
    ]


def _deal_parts(layout: Layout, parts: Draw) -> list[list[tuple[int, ...]]]:
    """Return for every round, and every kind of set-up in it, the parts its set-ups hold."""
    kinds = range(len(layout.hard_levels))
    if not layout.parts:
        return [[(0,) * layout.per_round for _ in kinds] for _ in range(layout.rounds)]
    many = len(layout.parts)
    if layout.parts_by == "round":
        by_round = parts.shuffle(tuple(range(many)) * (layout.rounds // many))
        return [[(part,) * layout.per_round for _ in kinds] for part in by_round]
    bag = tuple(range(many)) * (layout.per_round // many)
    return [[parts.shuffle(bag) for _ in kinds] for _ in range(layout.rounds)]


def _by_blocks(layout: Layout, coupons: Draw, parts: Draw) -> list[_Place]:
    places: list[_Place] = []
    for block, held in enumerate(_deal_blocks(layout, parts)):
        cells = coupons.shuffle(held)
        warm = layout.warm_up if block == 0 else 0
        number = block + 1 if layout.rounds > 1 else None
        places += _places(cells, warm, number, None, layout.role)
    return places


def _deal_blocks(layout: Layout, parts: Draw) -> list[tuple[Cell, ...]]:
    """Return what the blocks hold, in the order they come."""
    if layout.listed:
        return [one.cells for one in parts.shuffle(layout.listed)]
    many = len(layout.parts)
    dealt = (
        parts.shuffle(tuple(range(many)) * (layout.rounds // many))
        if many
        else (0,) * layout.rounds
    )
    return [layout.contents("", part) for part in dealt]


def _warm_ups(count: int, set_ups: int) -> tuple[int, ...]:
    """Return how many warm-ups each set-up of the first round begins with."""
    return tuple(count // set_ups + (place < count % set_ups) for place in range(set_ups))


def _places(
    cells: Sequence[Cell],
    warm_ups: int,
    round_number: int | None,
    setup: int | None,
    role: Role = "count",
) -> list[_Place]:
    rows: list[tuple[Role, Cell]] = [("warm-up", cells[0])] * warm_ups
    rows += [(role, cell) for cell in cells]
    return [
        _Place(role, round_number, setup, place, cell) for place, (role, cell) in enumerate(rows, 1)
    ]
