"""What a budget can buy: the same coupons shared over more or fewer set-ups, and what it shows."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Protocol

from weldtrial.analysis.power import CHANCE, Aim, Spread, chance_to_show, detectable
from weldtrial.analysis.shape import Shape
from weldtrial.shared.orders import (
    count_splits,
    smallest_p,
    smallest_p_shuffled,
    usual_limit,
)
from weldtrial.shared.responses import Ask

ENOUGH_ROUNDS = 4
"""Set-ups of each level from which a verdict may begin with "Shown"."""


@dataclass(frozen=True, slots=True)
class BenchTime:
    """Minutes at the bench; None where the file does not say."""

    minutes_coupon: float | None = None
    minutes_setup: float | None = None

    def hours(self, shape: Shape) -> float | None:
        """Return the hours that a plan takes, spares and warm-ups included."""
        if self.minutes_coupon is None or (shape.setups and self.minutes_setup is None):
            return None
        minutes = (shape.coupons + shape.extra) * self.minutes_coupon
        return (minutes + (shape.setups or 0) * (self.minutes_setup or 0.0)) / 60


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One way to spend the coupons.

    Attributes
    ----------
    rounds, set_ups, per_setup
        Rounds, set-ups in the whole trial and coupons in each (in the smallest); `set_ups` None for
        a complete shuffle, whose `rounds` are blocks.
    coupons, total
        Counting coupons, and with spares and warm-ups.
    hours
        Bench time in hours, None where the file does not say what a coupon or a set-up takes.
    gap
        True difference shown with the target chance, in the response's unit; None when nothing
        ever is, or nothing is known of the scatter.
    chance
        Chance to show what is asked; None without a margin.
    smallest_p
        Smallest p that a shuffle test can reach; None where it is not counted.
    df
        Degrees of freedom that judge the compared factor.
    remark
        ``cannot answer``, ``weak`` (a verdict can only begin with "Suggests") or empty.
    current, tried
        Whether this is what the file asks for; whether it was asked for with ``--try``.
    most_per_setup
        Coupons in the fullest set-up, where they differ.
    """

    rounds: int
    set_ups: int | None
    per_setup: int
    coupons: int
    total: int
    hours: float | None
    gap: float | None
    chance: float | None
    smallest_p: float | None
    df: int
    remark: str
    current: bool = False
    tried: bool = False
    most_per_setup: int = 0


@dataclass(frozen=True, slots=True)
class Judged:
    """What a row is judged by.

    Attributes
    ----------
    spread
        None when nothing is known of the scatter.
    aim
        What the deciding response asks.
    chance
        Target chance of the gap.
    counted
        What shows passes or grades, where the deciding response is no number.
    """

    spread: Spread | None
    aim: Aim
    bench: BenchTime = BenchTime()
    chance: float = CHANCE
    counted: Shows | None = None


class Shows(Protocol):
    """What a plan shows of a response that is no number."""

    @property
    def spread(self) -> Spread:
        """Scatter of one coupon, for the order of plans alone."""

    def chance(
        self, shape: Shape, ask: Ask | None = None, loss: float | None = None
    ) -> float | None:
        """Return the chance to show what is asked."""

    def gap(self, shape: Shape, target: float = CHANCE) -> float | None:
        """Return the smallest loss shown with a chance."""


def budget_row(
    shape: Shape, judged: Judged, *, current: bool = False, tried: bool = False
) -> BudgetRow:
    """Return what one plan costs and shows."""
    gap = chance = None
    if judged.spread is not None:
        precision = shape.precision(judged.spread)
        gap = detectable(precision.se, precision.df, judged.chance, precision.alpha)
        chance = chance_to_show(judged.aim, precision)
    elif judged.counted is not None:
        gap, chance = judged.counted.gap(shape, judged.chance), judged.counted.chance(shape)
    return BudgetRow(
        rounds=shape.rounds,
        set_ups=shape.setups,
        per_setup=shape.per_setup,
        most_per_setup=shape.most_per_setup,
        coupons=shape.coupons,
        total=shape.coupons + shape.extra,
        hours=judged.bench.hours(shape),
        gap=gap,
        chance=chance,
        smallest_p=reachable_p(shape),
        df=shape.df,
        remark=_remark(shape),
        current=current,
        tried=tried,
    )


def _remark(shape: Shape) -> str:
    if shape.df < 1:
        return "cannot answer"
    units = shape.setups_per_level
    return "weak" if units is not None and units < ENOUGH_ROUNDS else ""


def reachable_p(shape: Shape) -> float | None:
    """Return the smallest two-sided p that a shuffle test of a plan can reach.

    None for a complete shuffle of several factors, whose orders are not counted.
    """
    if shape.listed and not shape.counted_orders:
        return None
    if not shape.by_setups:
        if shape.combos != 2 or shape.centre or shape.parts > 1 or shape.levels != 2:
            return None
        splits = count_splits([shape.replicates, shape.replicates])
        return float(min(Fraction(1), Fraction(2, int(splits**shape.rounds))))
    # Where other factors are set between set-ups too, a level has a set-up with each of them; the
    # restriction is then on their combinations, and hardly thins out the orders of the levels.
    per_round = shape.per_round * shape.others
    limit = shape.first_at_most if shape.others == 1 else None
    if shape.rounds == 1:
        return float(smallest_p_shuffled([per_round] * shape.levels))
    return float(smallest_p(shape.rounds, shape.levels, limit, per_round))


def rounds_table(shape: Shape, judged: Judged) -> tuple[BudgetRow, ...]:
    """Return every way to share the counting coupons of a plan over rounds.

    Parameters
    ----------
    shape
        The plan as asked for; its row is marked.  Each row keeps whole factorials of the easy
        factors in every set-up.  For a complete shuffle the rows hold fewer and more coupons.

    Returns
    -------
    tuple of BudgetRow
        By rounds (by coupons for a complete shuffle), the asked-for plan among them.
    """
    if shape.listed:
        return (budget_row(shape, judged, current=True),)
    if not shape.by_setups:
        now = shape.replicates
        sizes = {now // 2, 3 * now // 4, now, -(-5 * now // 4), -(-3 * now // 2), 2 * now, 3 * now}
        rows = [(replace(shape, replicates=n), n == now) for n in sorted(sizes - {0})]
        return tuple(budget_row(one, judged, current=current) for one, current in rows)
    if shape.parts > 1 or shape.centre:
        return _more_or_fewer_rounds(shape, judged)
    per_level = shape.rounds * shape.per_round * shape.replicates
    shapes = []
    for rounds in (n for n in range(1, per_level + 1) if per_level % n == 0):
        one = replace(
            shape,
            rounds=rounds,
            per_round=1,
            replicates=per_level // rounds,
            first_at_most=usual_limit(rounds),
            free=False,
        )
        same = rounds == shape.rounds and shape.per_round == 1 and not shape.free
        shapes.append((shape if same else one, same))
    if not any(same for _, same in shapes):
        shapes.append((shape, True))
        shapes.sort(key=lambda pair: (pair[0].setups or 0, pair[0].rounds))
    return tuple(budget_row(one, judged, current=same) for one, same in shapes)


def _more_or_fewer_rounds(shape: Shape, judged: Judged) -> tuple[BudgetRow, ...]:
    """Return rows with the same set-ups in more and fewer rounds: what they hold has no halves."""
    step = shape.parts if shape.parts_by_round else 1
    now = shape.per_round if shape.free else shape.rounds
    sizes = {now // 2, 3 * now // 4, now, -(-5 * now // 4), -(-3 * now // 2), 2 * now, 3 * now}
    if shape.free and shape.parts > 1:
        step = shape.parts
    rows = []
    for size in sorted(one for one in sizes if one and one % step == 0):
        if size == now:
            rows.append((shape, True))
        elif shape.free:
            rows.append((replace(shape, per_round=size), False))
        else:
            limit = usual_limit(size)
            rows.append((replace(shape, rounds=size, first_at_most=limit), False))
    return tuple(budget_row(one, judged, current=current) for one, current in rows)


@dataclass(frozen=True, slots=True)
class Doubt:
    """What is left of the chance when the set-ups scatter more than was guessed."""

    setup: float
    chance: float | None
    gap: float | None


def if_setups_scatter_more(shape: Shape, judged: Judged) -> Doubt | None:
    """Return the plan's chance with half as much scatter again between set-ups.

    Where no set-up scatter was assumed, half the coupons' scatter is tried.  None where set-ups
    do not matter or nothing is known of the scatter.
    """
    spread = judged.spread
    if spread is None or not shape.by_setups or shape.df < 1:
        return None
    setup = 1.5 * spread.setup if spread.setup else spread.seen / 2
    row = budget_row(shape, replace(judged, spread=replace(spread, setup=setup)))
    return Doubt(setup, row.chance, row.gap)
