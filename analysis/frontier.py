"""Plans worth choosing between: none cheaper sees as much, from cheapest to most certain.

Plans of one question differ in rounds, in set-ups of each level a round and in coupons of each
combination.  What the file asks for stays: whole designs of the easy factors in every set-up (or
the same parts), several levels, other hard-to-change factors.  A plan is beaten where another costs
no more and has at least its chance; what is left is the frontier.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cache
from math import ceil

from weldtrial.analysis.budget import BudgetRow, Judged, Shows, budget_row
from weldtrial.analysis.plans_alike import shapes_within, with_units
from weldtrial.analysis.power import CHANCE, chance_to_show, power_difference
from weldtrial.analysis.shape import Shape

MOST_TRIED = 4000
"""Coupons beyond which no plan is looked at."""
_AT_FIRST = 60
"""Coupons that are looked at in any case, however small the file's own plan."""
_ENDLESS = 1_000_000
_MANY = 60
"""Coupons of each combination in a set-up that stand for endless ones where trials are played."""
_CLOSE = 1e-6
"""A chance so little short of the target reaches it: gaps are found by search."""
_WORTH = 0.01
"""A rise of the chance that is not worth more welding, once it is all that is left to gain."""


@dataclass(frozen=True, slots=True)
class Limits:
    """What may be spent; None for no limit.

    Attributes
    ----------
    hours, cost
        At the bench; in the file's currency.
    coupons
        Spares and warm-ups included.
    set_ups
        Set-ups in the whole trial.
    """

    hours: float | None = None
    cost: float | None = None
    coupons: int | None = None
    set_ups: int | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """One plan, what it costs and what it sees.

    Attributes
    ----------
    shape
        Its numbers.
    row
        Hours, gap, chance, smallest p and remark, as in the rounds table.
    cost
        Money, None where a price is missing.
    days
        Whole days of the bench's hours, None where these are not known.
    spent
        What the plans are ordered by: hours, or money.
    """

    shape: Shape
    row: BudgetRow
    cost: float | None
    days: int | None
    spent: float


@dataclass(frozen=True, slots=True)
class Costing:
    """What plans cost.

    Attributes
    ----------
    money
        Cost of so many coupons (spares and warm-ups included) and set-ups; None without prices.
    hours_per_day
        None where the file does not say.
    by_money
        Whether plans are ordered by money instead of hours.
    """

    money: Callable[[int, int], float | None] | None = None
    hours_per_day: float | None = None
    by_money: bool = False


@dataclass(frozen=True, slots=True)
class Frontier:
    """The plans worth choosing between, and the one chosen.

    Attributes
    ----------
    plans
        From the cheapest to the most certain (but for one in a hundred), within the limits.
    own
        The file's own plan, whether it is among them or not.
    own_within
        Whether the limits allow the file's own plan.
    beaten_by
        The cheapest of `plans` that sees at least as much as the file's own for less; None where
        there is none.
    chosen
        The cheapest plan that reaches the target chance; without one the last of `plans`. None
        where no plan within the limits can answer at all.
    reached
        Whether `chosen` reaches the target.
    target
        The chance aimed for.
    few
        For as many hours (or as much money) as `chosen` takes (or as the limit allows, where that
        has kept it from its target): as many coupons as fit on as few set-ups as there can be; None
        for a complete shuffle, and where nothing fits.
    ceiling
        Chance that endless coupons would have, on as many set-ups as the limit allows; None
        without such a limit.
    looked_at
        Plans that were looked at within the limits.
    """

    plans: tuple[Plan, ...]
    own: Plan
    own_within: bool
    beaten_by: Plan | None
    chosen: Plan | None
    reached: bool
    target: float
    few: Plan | None
    ceiling: float | None
    looked_at: int


def reaches(plan: Plan, target: float) -> bool:
    """Whether a plan has the chance that is aimed for."""
    return (plan.row.chance or 0.0) >= target - _CLOSE


def frontier(
    shape: Shape,
    judged: Judged,
    costing: Costing,
    limits: Limits | None = None,
    target: float = CHANCE,
) -> Frontier:
    """Return the plans of a question that are worth choosing between.

    Parameters
    ----------
    shape
        The file's own plan; the others keep what it holds in every set-up.
    judged
        Its spread must be known, and its bench (or `costing.money`) priced.
    target
        Chance to aim for, above 0.05 and below 1.  Without a margin plans are compared by the
        chance to see the gap that the file's own plan probably sees.

    Raises
    ------
    ValueError
        When what the plans are ordered by is not known.
    """
    limits = limits or Limits()
    maker = _Maker(judged, costing, _chance_of(shape, judged))
    own = maker.plan(shape, current=True)
    ceiling = _ceiling(shape, maker, limits)
    hopeless = ceiling is not None and ceiling < target
    reach = limits.coupons or max(_AT_FIRST, 2 * own.row.total)
    while True:
        shapes = [one for one in shapes_within(shape, reach) if maker.within(one, limits)]
        plans = maker.unbeaten(shapes)
        found = bool(plans) and reaches(plans[-1], target)
        if found or hopeless or limits.coupons or reach >= MOST_TRIED:
            break
        if not _more(shape, maker, limits, reach):
            break
        reach *= 2
    plans = _until_worth(plans, target)
    good = [one for one in plans if reaches(one, target)]
    chosen = good[0] if good else plans[-1] if plans else None
    return Frontier(
        plans=plans,
        own=own,
        own_within=maker.within(shape, limits) and own.row.total <= reach,
        beaten_by=_beaten_by(own, plans),
        chosen=chosen,
        reached=bool(good),
        target=target,
        few=_few(shape, maker, limits, chosen, limited=not good),
        ceiling=ceiling,
        looked_at=len(shapes),
    )


def _chance_of(shape: Shape, judged: Judged) -> Callable[[Shape], float]:
    """Return the chance that plans are compared by."""
    spread, aim, counted = judged.spread, judged.aim, judged.counted
    if counted is not None:
        return _chance_counted(shape, counted)
    if spread is None:
        raise ValueError("nothing is known of the scatter")
    gap = None if aim.margin is not None else budget_row(shape, judged).gap

    def chance(one: Shape) -> float:
        precision = one.precision(spread)
        if aim.margin is not None:
            return chance_to_show(aim, precision) or 0.0
        if gap is None:
            return 0.0
        return power_difference(gap, precision.se, precision.df, precision.alpha)

    return chance


def _chance_counted(shape: Shape, counted: Shows) -> Callable[[Shape], float]:
    """Return the chance for passes or grades; without a margin, of a fall the file's plan sees."""
    asks = counted.chance(shape) is not None
    gap = None if asks else counted.gap(shape)

    @cache
    def chance(one: Shape) -> float:
        if not asks and gap is None:
            return 0.0
        return counted.chance(one, None, gap) or 0.0

    return chance


def _ceiling(shape: Shape, maker: _Maker, limits: Limits) -> float | None:
    """Return the chance that endless coupons would have on as many set-ups as are allowed."""
    if limits.set_ups is None or not shape.by_setups or shape.parts > 1:
        return None
    most = limits.set_ups // (shape.levels * shape.others)
    sized = [with_units(shape, number) for number in range(most, 0, -1)]
    one = next((one for one in sized if one is not None), None)
    endless = _ENDLESS if maker.judged.counted is None else _MANY
    return 0.0 if one is None else maker.chance(replace(one, replicates=endless))


def _more(shape: Shape, maker: _Maker, limits: Limits, reach: int) -> bool:
    """Tell whether more coupons than `reach` could still be within the limits."""
    return any(
        maker.within(one, limits)
        for one in shapes_within(shape, 2 * reach)
        if one.coupons + one.extra > reach
    )


@dataclass(frozen=True, slots=True)
class _Maker:
    judged: Judged
    costing: Costing
    chance: Callable[[Shape], float]

    def money(self, shape: Shape) -> float | None:
        if self.costing.money is None:
            return None
        return self.costing.money(shape.coupons + shape.extra, shape.setups or 0)

    def spent(self, shape: Shape) -> float:
        found = self.money(shape) if self.costing.by_money else self.judged.bench.hours(shape)
        if found is None:
            raise ValueError("what a plan costs is not known")
        return found

    def within(self, shape: Shape, limits: Limits) -> bool:
        """Tell whether a plan keeps every limit; what is not known keeps none."""
        kept: list[tuple[float | None, float | None]] = [
            (limits.hours, self.judged.bench.hours(shape)),
            (limits.cost, self.money(shape)),
            (limits.coupons, shape.coupons + shape.extra),
            (limits.set_ups, shape.setups or 0),
        ]
        # A limit met to the last digit must not be missed by a rounding error.
        return all(
            limit is None or (found is not None and found <= limit * (1 + 1e-9))
            for limit, found in kept
        )

    def plan(self, shape: Shape, *, current: bool = False) -> Plan:
        row = budget_row(shape, self.judged, current=current)
        row = replace(row, chance=self.chance(shape))
        per_day, hours = self.costing.hours_per_day, row.hours
        days = None if per_day is None or hours is None else ceil(round(hours / per_day, 9))
        return Plan(shape, row, self.money(shape), days, self.spent(shape))

    def unbeaten(self, shapes: Iterable[Shape]) -> tuple[Plan, ...]:
        """Return the plans that none beats, from the cheapest."""
        kept = self._precise(shapes)
        measured = [(self.spent(one), -self.chance(one), place) for place, one in enumerate(kept)]
        found, best = [], 0.0
        for _, less_chance, place in sorted(measured):
            if -less_chance > best + 1e-9:
                best = -less_chance
                found.append(self.plan(kept[place]))
        return tuple(found)

    def _precise(self, shapes: Iterable[Shape]) -> list[Shape]:
        """Drop what is beaten on cost, variance and degrees of freedom at once.

        The chance rises with precision and with degrees of freedom, so none of these can be on the
        frontier; most of the plans go, before any chance is worked out.
        """
        counted = self.judged.counted
        spread = self.judged.spread if counted is None else counted.spread
        assert spread is not None
        # Reading several levels together changes no variance, and is dear to work out.
        measured = sorted(
            (
                self.spent(one),
                replace(one, family="single").precision(spread).variance,
                -one.df,
                index,
                one,
            )
            for index, one in enumerate(shapes)
            if one.df >= 1
        )
        kept: list[tuple[float, int]] = []
        found = []
        for _, variance, less_df, _, shape in measured:
            if any(v <= variance and d <= less_df for v, d in kept):
                continue
            kept.append((variance, less_df))
            found.append(shape)
        return found


def _until_worth(plans: tuple[Plan, ...], target: float) -> tuple[Plan, ...]:
    """Return the plans up to the first that is as good as the last, but for one in a hundred."""
    best = plans[-1].row.chance or 0.0 if plans else 0.0
    enough = best - _WORTH if best < target - _CLOSE else max(best - _WORTH, target - _CLOSE)
    for place, one in enumerate(plans):
        if (one.row.chance or 0.0) >= enough:
            return plans[: place + 1]
    return plans


def _beaten_by(own: Plan, plans: tuple[Plan, ...]) -> Plan | None:
    better = [
        one
        for one in plans
        if (one.row.chance or 0.0) >= (own.row.chance or 0.0) - 1e-9
        and one.spent < own.spent - 1e-9
    ]
    return better[0] if better else None


def _few(
    shape: Shape, maker: _Maker, limits: Limits, chosen: Plan | None, *, limited: bool
) -> Plan | None:
    """Return the plan with the fewest set-ups and the most coupons for the same spending.

    That is what the chosen plan takes, or the limit where the limit has kept it from its target.
    """
    if chosen is None or not shape.by_setups or shape.parts > 1:
        return None
    bound = limits.cost if maker.costing.by_money else limits.hours
    most = bound if limited and bound is not None else chosen.spent
    units = 1 if shape.free else shape.per_round
    one = with_units(shape, units)
    if one is None:
        return None
    found = None
    for replicates in range(1, MOST_TRIED):
        sized = replace(one, replicates=replicates)
        if maker.spent(sized) > most * (1 + 1e-9) or not maker.within(sized, limits):
            break
        found = sized
    if found is None or found.setups == chosen.shape.setups:
        return None
    return maker.plan(found)
