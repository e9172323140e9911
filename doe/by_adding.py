"""Laying out what is added to an earlier trial whose coupons stay.

The new coupons are a block of their own (with set-ups: rounds of their own), so that whatever has
drifted between the two trials is no effect of a setting.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from math import sqrt

from weldtrial.doe.by_search import asked_of, coupons_of, found_for, notes_of, refuse_too_few
from weldtrial.doe.cells import Cell, cell_at, centre_cells, combinations_of
from weldtrial.doe.laid_out import Holding, Layout
from weldtrial.doe.listed import cell_maker, kind_of, list_layout
from weldtrial.doe.optimal import UnitAsked
from weldtrial.doe.set_up_sizes import places_of
from weldtrial.shared.coding import Point, coded_point
from weldtrial.shared.factors import Factor
from weldtrial.shared.follows import Follows
from weldtrial.shared.limit_box import keeps, rules_of
from weldtrial.shared.orders import usual_limit
from weldtrial.shared.plan import Role
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.trial import Trial

CLOSE = 1e-6
SET_UPS_TO_CONFIRM = 2
CENTRES = 2
"""Centre points in every block or set-up of star points."""

Held = list[tuple[int, Sequence[Cell]]]


def by_adding(trial: Trial) -> Layout:
    """Lay out the coupons that ``[follows]`` adds; the earlier ones count too.

    Raises
    ------
    PlanRefused
        When nothing new would be welded, or what is asked cannot be.
    """
    follows = trial.follows
    assert follows is not None
    earlier = earlier_holdings(trial)
    made = _WAYS[follows.adds](trial, earlier)
    rounds = 1 + max(block for block, _ in made[0])
    layout = list_layout(
        trial,
        made[0],
        name=made[1],
        notes=(
            f"{sum(len(one.cells) for one in earlier)} coupons of the trial before stay and count; "
            "what has drifted between the two is taken out of the comparisons.",
            *made[2],
        ),
        first_at_most=trial.order.first_at_most or usual_limit(rounds),
    )
    return with_earlier_holdings(trial, layout)


def with_earlier_holdings(trial: Trial, layout: Layout) -> Layout:
    """Return the layout of what is added with the earlier coupons beside it."""
    assert trial.follows is not None
    role: Role = "confirm" if trial.follows.adds == "confirm" else "count"
    shifted = tuple(
        replace(one, round=layout.rounds + one.round) for one in earlier_holdings(trial)
    )
    return replace(layout, earlier=shifted, role=role)


def earlier_holdings(trial: Trial) -> tuple[Holding, ...]:
    """Return what the set-ups (blocks) of the earlier trials held, rounds counted from 0."""
    cell = cell_maker(trial)
    held: dict[tuple[int, int], list[Cell]] = {}
    for run in trial.earlier:
        at = (run.round or 1, (run.setup or 0) if trial.hard else 0)
        held.setdefault(at, []).append(cell(coded_point(trial.varied, run.levels)))
    rounds = sorted({number for number, _ in held})
    return tuple(
        Holding(rounds.index(number), kind_of(trial, cells[0]), tuple(cells))
        for (number, _), cells in held.items()
    )


Made = tuple[Held, str, tuple[str, ...]]


def _more(trial: Trial, earlier: Sequence[Holding]) -> Made:
    """Weld the earlier rounds (blocks) again, as many of them as asked."""
    before = 1 + max(one.round for one in earlier)
    wanted = _rounds(trial, before)
    held: Held = [
        (number, one.cells)
        for number in range(wanted)
        for one in earlier
        if one.round == number % before
    ]
    what = "round" if trial.hard else "block"
    return held, f"{wanted} more {what}{'s' * (wanted > 1)} of what was welded before", ()


def _rounds(trial: Trial, usual: int) -> int:
    """Return how many rounds (blocks) are added."""
    kinds = len(combinations_of(trial.hard)) if trial.hard else 1
    if trial.design.rounds is not None:
        return trial.design.rounds
    if trial.design.set_ups is not None:
        return max(1, trial.design.set_ups // kinds)
    return usual


def _fold_over(trial: Trial, earlier: Sequence[Holding]) -> Made:
    """Weld the earlier coupons again with the signs of the easy factors turned."""
    follows = trial.follows
    assert follows is not None
    turned = [one for one in trial.easy if follows.turn in (None, one.name)]
    wide = [one.name for one in turned if one.kind == "category" and len(one.levels) != 2]
    if wide:
        raise PlanRefused(
            f"A fold-over turns low into high, and '{wide[0]}' has more than two levels. Turn one "
            "factor alone, such as  turn = "
            f'"{next((one.name for one in turned if one.name not in wide), "voltage")}".'
        )
    cell = cell_maker(trial)
    held: Held = [
        (one.round, [cell(_turn(trial, turned, made)) for made in one.cells]) for one in earlier
    ]
    old = {_key(made) for one in earlier for made in one.cells}
    if all(_key(made) in old for _, cells in held for made in cells):
        raise PlanRefused(
            "Turning the signs only gives settings that were welded before, so a fold-over adds "
            'nothing but repeats. Ask for those:  adds = "more".'
        )
    what = "all signs turned" if follows.turn is None else f"the sign of {follows.turn} turned"
    return held, f"fold-over: what was welded before with {what}", ()


def _turn(trial: Trial, turned: Sequence[Factor], made: Cell) -> Point:
    point = dict(coded_point(trial.varied, made.levels))
    for factor in turned:
        value = point[factor.name]
        point[factor.name] = (
            next(level for level in factor.levels if level != value)
            if isinstance(value, str)
            else -value
        )
    return point


def _key(cell: Cell) -> tuple[str, ...]:
    return tuple(cell.levels.values())


def _star(trial: Trial, earlier: Sequence[Holding]) -> Made:
    """Weld star points of the easy numbers, with centre points, under every category."""
    numbers = [factor for factor in trial.easy if factor.kind == "numeric"]
    if not numbers:
        raise PlanRefused("Star points need a numeric factor that is easy to change.")
    outside = trial.design.star == "outside"
    reach = sqrt(len(numbers)) if outside else 1.0
    cell = cell_maker(trial)
    held: Held = []
    kinds = combinations_of(trial.hard) if trial.hard else ({},)
    rounds = _rounds(trial, 2 if trial.hard else 1)
    for number in range(rounds):
        for kind in kinds:
            cells = [cell(point) for point in _stars(trial, kind, numbers, reach)]
            held.append((number, cells))
    _refuse_forbidden(trial, held)
    where = (
        f"at {reach:.3g} of the half range, outside what the file calls low and high"
        if outside
        else "at the ends of the range"
    )
    return held, f"star points {where}, with centre points", ()


def _stars(
    trial: Trial, kind: Mapping[str, str], numbers: Sequence[Factor], reach: float
) -> list[Point]:
    centres = [
        dict(coded_point(trial.varied, one.levels)) for one in centre_cells(trial, kind, trial.easy)
    ]
    points = []
    for centre in centres:
        for factor in numbers:
            points += [{**centre, factor.name: sign * reach} for sign in (-1.0, 1.0)]
    return [*points, *(centres * CENTRES)]


def _refuse_forbidden(trial: Trial, held: Held) -> None:
    rules = rules_of(trial)
    broken = {_key(made) for _, cells in held for made in cells if not keeps(rules, made.settings)}
    if broken:
        raise PlanRefused(
            f"{len(broken)} of these settings break a [[limit_on_settings]]. Let a search choose "
            'others:  adds = "separate"  with  design.model = "quadratic".'
        )


def _separate(trial: Trial, earlier: Sequence[Holding]) -> Made:
    """Search for the coupons that, with the earlier ones, tell the terms of the design best."""
    places = places_of(trial, coupons_of(trial))
    new = asked_of(trial, places)
    rounds = 1 + max(place.block for place in places)
    kept = [
        (len(places) + at, coded_point(trial.varied, made.levels))
        for at, one in enumerate(earlier)
        for made in one.cells
    ]
    before = [UnitAsked(0, rounds + one.round, _hard_of(trial, one.cells[0])) for one in earlier]
    asked = replace(new, units=(*new.units, *before), kept=(*new.kept, *kept))
    refuse_too_few(trial, asked)
    found, cell = found_for(trial, asked), cell_maker(trial)
    own = [[point for unit, point in new.kept if unit == at] for at in range(len(places))]
    held: Held = [
        (place.block, [cell(point) for point in (*points, *own[at])])
        for at, (place, points) in enumerate(zip(places, found.units, strict=False))
    ]
    name = "coupons chosen so that, with those before, the terms asked for come apart best"
    return held, name, notes_of(trial, replace(found, efficiency=None))


def _hard_of(trial: Trial, cell: Cell) -> Point | None:
    return coded_point(trial.hard, cell.levels) if trial.hard else None


def _confirm(trial: Trial, earlier: Sequence[Holding]) -> Made:
    """Weld one setting again and again, in fresh set-ups."""
    follows = trial.follows
    assert follows is not None
    cell = cell_to_confirm(trial, follows)
    sizes = sizes_to_confirm(trial, coupons_of(trial), trial.design.set_ups)
    coupons, units = sum(sizes), len(sizes)
    if follows.of not in (None, coupons):
        raise PlanRefused(
            f"The prediction was made for {follows.of} coupons, and this plan has {coupons}: the "
            "rule would not hold. Put  budget.coupons  back, or make the folder anew with  "
            f"weldtrial next NAME --confirm {coupons}"
        )
    # One round each: nothing is compared within a round, and nothing else is in it.
    held: Held = [(0, [cell] * size) for size in sizes]
    fresh = f" over {units} fresh set-ups" if trial.hard else ""
    return held, f"{coupons} coupons to confirm one setting{fresh}", ()


def cell_to_confirm(trial: Trial, follows: Follows) -> Cell:
    """Return the setting that is confirmed.

    Raises
    ------
    PlanRefused
        When a rule forbids it.
    """
    cell = cell_at(trial, chosen_levels(trial, follows))
    _refuse_forbidden(trial, [(0, [cell])])
    return cell


def sizes_to_confirm(trial: Trial, coupons: int, set_ups: int | None) -> tuple[int, ...]:
    """Return how many coupons that confirm each fresh set-up holds.

    Parameters
    ----------
    set_ups
        None for the usual two; where nothing ends a set-up, all coupons stand together.

    Raises
    ------
    PlanRefused
        When there are fewer coupons than set-ups.
    """
    units = (set_ups or min(SET_UPS_TO_CONFIRM, coupons)) if trial.hard else 1
    if units > coupons:
        raise PlanRefused(f"{coupons} coupons cannot fill {units} set-ups. Raise  budget.coupons.")
    return tuple((at + 1) * coupons // units - at * coupons // units for at in range(units))


def chosen_levels(trial: Trial, follows: Follows) -> dict[str, str]:
    """Return the level names of the setting that is confirmed."""
    levels: dict[str, str] = {}
    owners = {name: str(value) for name, value in follows.at.items()}
    for factor in trial.varied:
        value = follows.at[factor.name]
        owner = owners.get(factor.slides_with or "", "")
        levels[factor.name] = (
            str(value) if factor.kind == "category" else factor.level_of(float(value), owner)
        )
    return levels


_WAYS: Mapping[str, Callable[[Trial, Sequence[Holding]], Made]] = {
    "more": _more,
    "fold-over": _fold_over,
    "star": _star,
    "separate": _separate,
    "confirm": _confirm,
}
