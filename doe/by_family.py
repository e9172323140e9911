"""Laying out designs known by name: in blocks, or inside set-ups of what is hard to change."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from weldtrial.doe.cells import combinations_of
from weldtrial.doe.families import family
from weldtrial.doe.family import Family
from weldtrial.doe.laid_out import Layout
from weldtrial.doe.listed import cell_maker, list_layout
from weldtrial.doe.refusals import kinds_word
from weldtrial.doe.set_up_sizes import rounds_and_set_ups
from weldtrial.doe.sharing import extra_coupons
from weldtrial.shared.coding import Point, coded_point
from weldtrial.shared.factors import Factor
from weldtrial.shared.orders import usual_limit
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.trial import Trial

SQUARES = ("latin-square", "paired")
"""Kinds whose blocks are the design, so that no set-up can hold them."""
MOST_BLOCKS = 9


def by_family(trial: Trial) -> Layout:
    """Lay out a design known by name.

    With nothing hard to change the design is welded as it is, in the blocks it is made of or that
    ``design.rounds`` asks for, as often as ``design.replicates`` or the budget says.  Inside
    set-ups each holds the whole design of the easy factors, or, where the budget asks for fewer
    coupons, one block of it, the same for all set-ups of a round.

    Raises
    ------
    PlanRefused
        When the factors do not fit the kind, or the coupons do not fit the design.
    """
    return _inside_set_ups(trial) if trial.hard else _alone(trial)


# ------------------------------------------------------------------ nothing hard to change


def _alone(trial: Trial) -> Layout:
    if trial.design.set_ups is not None:
        raise PlanRefused(
            "design.set_ups counts set-ups of a hard-to-change factor, and no factor is marked  "
            "hard_to_change = true.  Mark the one that ends a set-up, or leave set_ups out."
        )
    first = trial.design.replicates or _least(trial)
    once = _made(trial, trial.varied, blocks=_blocks(trial), times=first)
    times = _times(trial, once, len(once.points) // first)
    made = once
    if times != first:
        made = _made(trial, trial.varied, blocks=_blocks(trial), times=times)
    cell = cell_maker(trial)
    blocks = made.block or (1,) * len(made.points)
    held = [
        (place, [cell(point) for point, of in zip(made.points, blocks, strict=True) if of == block])
        for place, block in enumerate(sorted(set(blocks)))
    ]
    return list_layout(trial, held, name=made.name, notes=made.notes)


def _blocks(trial: Trial) -> int | None:
    return None if trial.design.kind in SQUARES else trial.design.rounds


def _times(trial: Trial, once: Family, size: int) -> int:
    """Return how often the `size` coupons are welded: as asked, or as the budget allows."""
    budget = trial.budget.coupons
    extra = extra_coupons(trial.budget)
    times = trial.design.replicates
    if budget is None:
        return times or _least(trial)
    usable = budget - extra
    more = f" + {extra} spare and warm-up" if extra else ""
    if times is None and usable >= size and usable % size == 0:
        return usable // size
    if times is not None and times * size <= usable:
        return times
    if times is not None:
        raise PlanRefused(
            f"{once.name}, welded {times} times, takes {times * size}{more} = "
            f"{times * size + extra} coupons; budget is {budget}. Raise  budget.coupons  to "
            f"{times * size + extra}."
        )
    around = [n * size + extra for n in (usable // size, usable // size + 1) if n]
    raise PlanRefused(
        f"{once.name.partition(':')[0]} takes {size} coupons at a time{more}; budget is {budget}. "
        f"Set  "
        f"budget.coupons  to {' or '.join(map(str, around))}, or let the coupons decide:  "
        'kind = "optimal".'
    )


def _least(trial: Trial) -> int:
    """Return how often a design is welded of which nothing is said."""
    return {"paired": 6, "latin-square": 2}.get(trial.design.kind, 1)


# ------------------------------------------------------------------ inside set-ups


def _inside_set_ups(trial: Trial) -> Layout:
    kinds = combinations_of(trial.hard)
    if trial.design.kind in SQUARES:
        raise PlanRefused(
            f"Rounds of all {kinds_word(trial.hard)} are blocks already, so "
            f"{'pairs have' if trial.design.kind == 'paired' else 'a Latin square has'} no place "
            'in them. Use  kind = "factorial".'
        )
    if not trial.easy:
        raise PlanRefused(
            f'kind = "{trial.design.kind}" is a design of factors that are easy to change, and '
            'here all are hard. Use  kind = "factorial"  or  kind = "optimal".'
        )
    rounds, set_ups = rounds_and_set_ups(trial, len(kinds))
    if rounds == 0:
        raise PlanRefused(
            f"{set_ups} set-ups cannot be shared evenly over {len(kinds)} "
            f"{kinds_word(trial.hard)}. Use  design.set_ups = "
            f"{-(-set_ups // len(kinds)) * len(kinds)}."
        )
    made = _fitting(trial, rounds, set_ups)
    cell = cell_maker(trial)
    blocks = made.block or (1,) * len(made.points)
    names = sorted(set(blocks))
    held = []
    for number in range(rounds):
        block = names[number % len(names)]
        points = [one for one, of in zip(made.points, blocks, strict=True) if of == block]
        for kind in kinds * (set_ups // (rounds * len(kinds))):
            fixed = _coded(trial, kind)
            held.append((number, [cell({**fixed, **point}) for point in points]))
    share = (
        "every set-up holds all of it"
        if len(names) == 1
        else (f"every set-up holds one of its {len(names)} blocks, the same for a whole round")
    )
    return list_layout(
        trial,
        held,
        name=f"{made.name}; {share}",
        notes=made.notes,
        first_at_most=trial.order.first_at_most or usual_limit(rounds),
    )


def _coded(trial: Trial, kind: dict[str, str]) -> Point:
    return coded_point(trial.hard, kind)


def _fitting(trial: Trial, rounds: int, set_ups: int) -> Family:
    """Return the design, whole or in blocks, whose set-ups make up the budget."""
    times = trial.design.replicates or 1
    whole = _made(trial, trial.easy, times=times)
    budget, extra = trial.budget.coupons, extra_coupons(trial.budget)
    if budget is None:
        return whole
    sizes = []
    for made, coupons in _ways(trial, whole, rounds, set_ups, times):
        if coupons + extra == budget:
            return made
        sizes.append((coupons + extra, len(set(made.block or (1,)))))
    listed = "; ".join(
        f"{total} ({'all of it' if parts == 1 else f'one of {parts} blocks'} in every set-up)"
        for total, parts in sizes
    )
    raise PlanRefused(
        f"{whole.name} in {set_ups} set-ups does not come to {budget} "
        f"coupons. They take {listed}. Change  budget.coupons  or  design.rounds, or let the "
        'coupons decide:  kind = "optimal".'
    )


def _ways(
    trial: Trial, whole: Family, rounds: int, set_ups: int, times: int
) -> Iterator[tuple[Family, int]]:
    yield whole, set_ups * len(whole.points)
    for parts in range(2, min(rounds, MOST_BLOCKS) + 1):
        if rounds % parts:
            continue
        try:
            made = _made(trial, trial.easy, blocks=parts, times=times)
        except PlanRefused:
            continue
        yield made, set_ups // parts * len(made.points)


# ------------------------------------------------------------------ the family itself


def _made(
    trial: Trial, factors: Sequence[Factor], *, blocks: int | None = None, times: int = 1
) -> Family:
    design = trial.design
    if design.kind == "latin-square":
        return _square(trial, times)
    told: dict[str, Any] = {"replicates": times, "blocks": blocks}
    if design.centre_points:
        told["centre_points"] = design.centre_points
    if design.kind == "plackett-burman":
        told |= {"runs": design.runs, "fold_over": design.fold_over == "all" or None}
    if design.kind == "definitive-screening":
        told["runs"] = design.runs
    if design.kind == "central-composite":
        told["star"] = design.star
    return family(design.kind, factors, **told)  # type: ignore[arg-type]


def _square(trial: Trial, times: int) -> Family:
    """Return a Latin square of the first factor, the second one being its columns."""
    from dataclasses import replace

    if len(trial.varied) != 2 or len({len(one.levels) for one in trial.varied}) != 1:
        named = ", ".join(f"'{one.name}' ({len(one.levels)})" for one in trial.varied)
        raise PlanRefused(
            "A Latin square has one factor to compare and, as a second category of as many levels, "
            f"what its columns are (welders, plates, places in the day). The file has {named}. Add "
            "the columns as a [[factor]], or take the other factors out."
        )
    first, second = trial.varied
    made = family(
        "latin-square",
        [first],
        replicates=times,
        rows=trial.order.block if trial.order.block not in (None, "round") else "block",
        columns=f"{second.title[:1].lower()}{second.title[1:]}",
    )
    assert made.columns is not None
    points = tuple(
        {**point, second.name: _column(second, place - 1)}
        for point, place in zip(made.points, made.columns, strict=True)
    )
    return replace(made, points=points)


def _column(factor: Factor, place: int) -> str | float:
    level = factor.levels[place]
    return level if factor.kind == "category" else factor.coded(factor.setting(level))
