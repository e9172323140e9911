"""Plans worth choosing between: none beaten, every limit kept, the rule obeyed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from weldtrial.analysis.budget import BenchTime, Judged
from weldtrial.analysis.frontier import Costing, Limits, frontier
from weldtrial.analysis.power import Aim, Spread, chance_to_show
from weldtrial.analysis.shape import Shape

SIX = Shape(True, 6, replicates=3, extra=4, first_at_most=4)
JUDGED = Judged(Spread(4, 2), Aim("no-worse", 5.0, 80.0), BenchTime(9, 12))
COSTING = Costing(lambda coupons, setups: 6.5 * coupons + 2.0 * setups, 4.0)

SHAPES = {
    "two gases": SIX,
    "four combinations inside": replace(SIX, combos=4, replicates=1),
    "a centre point": replace(SIX, combos=4, replicates=1, centre=1),
    "halves by round": replace(SIX, combos=4, replicates=1, parts=2, parts_by_round=True),
    "three gases": replace(SIX, levels=3, hard_columns=2, family="reference"),
    "two hard factors": replace(SIX, others=2, rounds=3, hard_columns=3),
    "two of each a round": replace(SIX, rounds=3, per_round=2),
    "shuffled freely": replace(SIX, rounds=1, per_round=6, free=True, first_at_most=None),
    "complete shuffle": Shape(False, 1, combos=2, replicates=12, extra=2),
    "shuffle in blocks": Shape(False, 3, combos=4, replicates=2, terms=3),
}


@pytest.mark.parametrize("name", SHAPES)
def test_every_plan_costs_more_and_sees_more_than_the_one_before(name: str) -> None:
    shape = SHAPES[name]
    found = frontier(shape, JUDGED, COSTING)
    spent = [one.spent for one in found.plans]
    chances = [one.row.chance for one in found.plans]
    assert len(found.plans) > 1
    assert spent == sorted(set(spent))
    assert chances == sorted(set(chances))
    for one in found.plans:
        assert one.row.chance == chance_to_show(JUDGED.aim, one.shape.precision(JUDGED.spread))
        assert one.spent == JUDGED.bench.hours(one.shape)
        assert one.cost == 6.5 * one.row.total + 2.0 * (one.row.set_ups or 0)
        same = ("by_setups", "levels", "others", "centre", "free", "per_round", "family", "extra")
        assert all(
            getattr(one.shape, key) == getattr(shape, key)
            for key in same
            if not (key == "per_round" and shape.free)
        )
        if shape.parts_by_round:
            assert one.shape.rounds % shape.parts == 0
    assert found.reached
    assert found.chosen == next(one for one in found.plans if one.row.chance >= 0.8)


def test_none_is_beaten_by_any_plan_at_all() -> None:
    found = frontier(SIX, JUDGED, COSTING, Limits(coupons=60))
    every = [
        replace(SIX, rounds=rounds, replicates=replicates)
        for rounds in range(2, 29)
        for replicates in range(1, 29)
        if 2 * rounds * replicates + 4 <= 60
    ]
    chances = [chance_to_show(JUDGED.aim, one.precision(JUDGED.spread)) for one in every]
    hours = [JUDGED.bench.hours(one) for one in every]
    for one in found.plans:
        cheaper = [c for c, h in zip(chances, hours, strict=True) if h <= one.spent + 1e-9]
        assert max(cheaper) == pytest.approx(one.row.chance, abs=1e-12)


@pytest.mark.parametrize(
    "limits",
    [
        Limits(hours=8),
        Limits(cost=200),
        Limits(coupons=30),
        Limits(set_ups=8),
        Limits(hours=9, cost=250, coupons=34, set_ups=14),
    ],
)
def test_every_limit_is_kept(limits: Limits) -> None:
    found = frontier(SIX, JUDGED, COSTING, limits)
    assert found.plans
    for one in found.plans:
        assert limits.hours is None or one.row.hours <= limits.hours + 1e-9
        assert limits.cost is None or one.cost <= limits.cost + 1e-9
        assert limits.coupons is None or one.row.total <= limits.coupons
        assert limits.set_ups is None or one.row.set_ups <= limits.set_ups


def test_a_limit_met_exactly_is_kept() -> None:
    hours = JUDGED.bench.hours(replace(SIX, rounds=8, replicates=2))
    found = frontier(SIX, JUDGED, COSTING, Limits(hours=hours))
    assert found.chosen.row.hours == hours


def test_out_of_reach_the_most_certain_is_chosen_and_called_so() -> None:
    found = frontier(SIX, JUDGED, COSTING, Limits(hours=6))
    assert not found.reached
    assert found.chosen == found.plans[-1]
    assert not found.own_within
    nothing = frontier(SIX, JUDGED, COSTING, Limits(coupons=5))
    assert nothing.plans == ()
    assert nothing.chosen is None


def test_many_changes_of_few_against_few_changes_of_many() -> None:
    # Eight hours, nine minutes a coupon, twelve a change: 2 x 12 + (2 x 23 + 4) x 9 min = 7.9 h.
    found = frontier(SIX, JUDGED, COSTING, Limits(hours=8))
    assert found.few is not None
    assert (found.few.row.set_ups, found.few.row.per_setup) == (2, 23)
    assert found.few.row.gap is None
    assert found.few.row.hours == pytest.approx(7.9)
    assert frontier(SHAPES["complete shuffle"], JUDGED, COSTING).few is None


def test_by_money_the_dear_coupon_makes_more_changes_cheap() -> None:
    by_hours = frontier(SIX, JUDGED, COSTING)
    by_money = frontier(SIX, JUDGED, replace(COSTING, by_money=True))
    assert by_money.chosen.cost < by_hours.chosen.cost
    assert by_money.chosen.row.hours >= by_hours.chosen.row.hours


def test_the_files_own_plan_may_be_beaten() -> None:
    wasteful = replace(SIX, rounds=4, replicates=9)
    found = frontier(wasteful, JUDGED, COSTING)
    assert found.beaten_by is not None
    assert found.beaten_by.spent < found.own.spent
    assert found.beaten_by.row.chance >= found.own.row.chance
    best = replace(SIX, rounds=8, replicates=2)
    assert frontier(best, JUDGED, COSTING).beaten_by is None


def test_without_a_margin_plans_are_compared_at_the_gap_of_the_files_own() -> None:
    found = frontier(SIX, replace(JUDGED, aim=Aim("difference", None, 80.0)), COSTING)
    assert found.own.row.chance == pytest.approx(0.8, abs=1e-9)
    assert found.chosen.row.chance >= 0.8 - 1e-9


def test_what_is_not_known_is_said() -> None:
    with pytest.raises(ValueError, match="what a plan costs"):
        frontier(SIX, replace(JUDGED, bench=BenchTime()), COSTING)
    with pytest.raises(ValueError, match="nothing is known"):
        frontier(SIX, replace(JUDGED, spread=None), COSTING)


def test_days_are_whole() -> None:
    found = frontier(SIX, JUDGED, COSTING)
    assert found.own.row.hours == pytest.approx(8.4)
    assert found.own.days == 3
