from __future__ import annotations

from dataclasses import replace

import pytest
from scipy import special

from weldtrial.analysis.budget import (
    BenchTime,
    Judged,
    budget_row,
    if_setups_scatter_more,
    reachable_p,
    rounds_table,
)
from weldtrial.analysis.needs import gap_within, needs, share_beyond
from weldtrial.analysis.power import Aim, Spread, chance_to_show, power_difference
from weldtrial.analysis.shape import Shape, error_rates

TESTER = Shape(by_setups=True, rounds=6, replicates=3, extra=4, first_at_most=4)
LOADS = Judged(Spread(4.0, 2.0), Aim("no-worse", 5.0, 80.0), BenchTime(9, 12))


def test_the_same_36_coupons_in_one_to_eighteen_rounds() -> None:
    """Coupon scatter 4 kN, set-up scatter 2 kN, margin 5 kN, nine and twelve minutes."""
    rows = rounds_table(TESTER, LOADS)
    assert [row.rounds for row in rows] == [1, 2, 3, 6, 9, 18]
    assert [row.set_ups for row in rows] == [2, 4, 6, 12, 18, 36]
    assert [row.per_setup for row in rows] == [18, 9, 6, 3, 2, 1]
    assert {(row.coupons, row.total) for row in rows} == {(36, 40)}
    assert [f"{row.hours:.1f}" for row in rows] == ["6.4", "6.8", "7.2", "8.4", "9.6", "13.2"]
    assert [row.gap and f"{row.gap:.2g}" for row in rows] == [None, "39", "12", "6.2", "5.2", "4.4"]
    assert [f"{100 * row.chance:.0f}" for row in rows if row.chance is not None] == [
        "0", "26", "47", "78", "87", "94",
    ]  # fmt: skip
    ps = [row.smallest_p for row in rows]
    assert ps[:4] == [1.0, 0.5, 0.25, 0.04]
    assert ps[4] == pytest.approx(2 / 420)
    assert ps[5] is not None
    assert ps[5] < 0.001
    assert [row.remark for row in rows] == ["cannot answer", "weak", "weak", "", "", ""]
    assert [row.current for row in rows] == [False, False, False, True, False, False]


def test_half_as_much_scatter_again_between_set_ups() -> None:
    doubt = if_setups_scatter_more(TESTER, LOADS)
    assert doubt is not None
    assert doubt.setup == 3.0
    assert f"{doubt.chance:.2f}" == "0.63"


def test_where_no_set_up_scatter_was_assumed_half_the_coupons_is_tried() -> None:
    doubt = if_setups_scatter_more(TESTER, replace(LOADS, spread=Spread(4.0)))
    assert doubt is not None
    assert doubt.setup == 2.0
    assert if_setups_scatter_more(replace(TESTER, by_setups=False), LOADS) is None
    assert if_setups_scatter_more(TESTER, replace(LOADS, spread=None)) is None


def test_five_rounds_of_two_for_a_small_budget() -> None:
    row = budget_row(replace(TESTER, rounds=5, replicates=2), LOADS)
    assert row.chance is not None
    assert round(100 * row.chance) == 59
    assert row.total == 24


def test_rows_keep_whole_factorials_of_the_easy_factors() -> None:
    shape = Shape(by_setups=True, rounds=6, combos=4, replicates=1, first_at_most=4)
    rows = rounds_table(shape, LOADS)
    assert [(row.rounds, row.per_setup) for row in rows] == [(1, 24), (2, 12), (3, 8), (6, 4)]
    assert {row.coupons for row in rows} == {48}


def test_a_plan_of_several_set_ups_a_round_has_a_row_of_its_own() -> None:
    rows = rounds_table(replace(TESTER, rounds=3, per_round=2), LOADS)
    (row,) = [row for row in rows if row.current]
    assert (row.rounds, row.set_ups, row.per_setup, row.df) == (3, 12, 3, 8)
    free = replace(TESTER, rounds=1, per_round=6, first_at_most=None, free=True)
    (row,) = [row for row in rounds_table(free, LOADS) if row.current]
    assert (row.set_ups, row.df) == (12, 10)
    assert row.smallest_p == pytest.approx(2 / 924)


def test_without_minutes_or_scatter_the_cells_are_empty() -> None:
    row = budget_row(TESTER, Judged(None, Aim("difference", None, 80.0)))
    assert (row.hours, row.gap, row.chance) == (None, None, None)
    shuffled = Shape(by_setups=False, rounds=1, combos=4, replicates=3)
    assert budget_row(shuffled, replace(LOADS, bench=BenchTime(10))).hours == 2.0


def test_a_complete_shuffle_is_offered_fewer_and_more_coupons() -> None:
    shape = Shape(by_setups=False, rounds=1, combos=4, replicates=3, terms=3)
    rows = rounds_table(shape, LOADS)
    assert [row.coupons for row in rows] == [4, 8, 12, 16, 20, 24, 36]
    assert [row.df for row in rows] == [0, 4, 8, 12, 16, 20, 32]
    assert rows[0].remark == "cannot answer"
    chances = [row.chance or 0.0 for row in rows]
    assert chances == sorted(chances)
    assert all(row.set_ups is None and row.smallest_p is None for row in rows)


@pytest.mark.parametrize(
    ("shape", "p"),
    [
        (Shape(False, 1, combos=2, replicates=4), 2 / 70),
        (Shape(False, 2, combos=2, replicates=2), 2 / 36),
        (Shape(True, 4), 0.125),
        (Shape(True, 3), 0.25),
        (Shape(True, 1, per_round=4, free=True), 2 / 70),
    ],
)
def test_the_smallest_p_that_an_order_can_reach(shape: Shape, p: float) -> None:
    assert reachable_p(shape) == pytest.approx(p)


# ------------------------------------------------------------------ what a chance needs


def test_what_is_needed_reaches_the_chance_and_one_set_up_less_does_not() -> None:
    aim, spread = Aim("no-worse", 5.0, 80.0), Spread(4.0, 2.0)
    found = needs(TESTER, spread, aim)
    assert found.setups_per_gas == 8
    assert found.coupons == 2 * 8 * 3
    for setups, ask, chance in (
        (found.setups_per_gas, "difference", 0.8),
        (found.no_worse_setups_per_gas, "no-worse", 0.8),
        (found.equal_enough_setups_per_gas, "equal-enough", 0.8),
    ):
        assert setups is not None
        enough = chance_to_show(aim, TESTER.resized(setups).precision(spread), ask)  # type: ignore[arg-type]
        short = chance_to_show(aim, TESTER.resized(setups - 1).precision(spread), ask)  # type: ignore[arg-type]
        assert short is not None
        assert enough is not None
        assert short < chance <= enough


def test_set_ups_shuffled_freely_stay_so_when_more_are_needed() -> None:
    free = Shape(by_setups=True, rounds=1, per_round=6, replicates=3, free=True)
    found = needs(free, Spread(4.0, 2.0), Aim("difference", 3.9, 78.0))
    assert found.df == 10
    assert found.setups_per_gas == 11
    sized = free.resized(11)
    assert (sized.setups_per_level, sized.df) == (11, 20)


def test_one_free_set_up_a_gas_needs_free_set_ups() -> None:
    free = Shape(by_setups=True, rounds=1, per_round=1, replicates=3, free=True)
    aim, spread = Aim("difference", 5.0, 80.0), Spread(4.0, 2.0)
    found = needs(free, spread, aim)
    assert (found.df, found.power, found.detectable) == (0, 0.0, None)
    assert found.setups_per_gas == needs(replace(free, per_round=6), spread, aim).setups_per_gas


def test_set_ups_come_in_whole_rounds() -> None:
    double = Shape(by_setups=True, rounds=3, per_round=2, replicates=3)
    found = needs(double, Spread(4.0, 2.0), Aim("difference", 5.0, 80.0))
    assert found.setups_per_gas is not None
    assert found.setups_per_gas % 2 == 0


def test_a_complete_shuffle_needs_whole_replicates_and_no_set_ups() -> None:
    shape = Shape(by_setups=False, rounds=1, combos=4, replicates=3, terms=3)
    found = needs(shape, Spread(4.0, 2.0), Aim("difference", 4.0, 80.0))
    assert found.setups_per_gas is None
    assert found.coupons is not None
    assert found.coupons % 4 == 0
    precision = replace(shape, replicates=found.coupons // 4).precision(Spread(4.0, 2.0))
    assert power_difference(4.0, precision.se, precision.df) >= 0.8


def test_a_pilot_shows_nothing_but_is_told_what_would() -> None:
    found = needs(replace(TESTER, rounds=1), Spread(4.0, 2.0), Aim("difference", 5.0, 80.0))
    assert (found.power, found.detectable) == (0.0, None)
    assert found.setups_per_gas == 8


def test_without_a_margin_only_the_gap_is_told() -> None:
    found = needs(TESTER, Spread(4.0, 2.0), Aim("difference", None, 80.0))
    assert found.detectable == pytest.approx(6.198, abs=1e-3)
    assert (found.power, found.coupons, found.no_worse, found.equal_enough) == (None,) * 4


def test_the_share_of_coupons_beyond_the_gauge() -> None:
    assert share_beyond(90.0, 80.0, Spread(8.0, 6.0)) == pytest.approx(0.158655, abs=1e-6)
    assert share_beyond(70.0, 80.0, Spread(8.0, 6.0), above=False) == pytest.approx(
        0.158655, abs=1e-6
    )
    assert share_beyond(90.0, 91.0, Spread(0.0)) == 1.0


def test_an_easy_factor_is_seen_through_the_coupons_alone() -> None:
    """24 coupons at each level within set-ups: as a two-sample t with 31 degrees of freedom."""
    shape = Shape(by_setups=True, rounds=6, combos=4, replicates=1)
    gap = gap_within(shape, Spread(4.0, 2.0), 31)
    assert gap is not None
    assert gap == gap_within(shape, Spread(4.0, 20.0), 31)
    assert power_difference(gap, 4.0 * (2 / 24) ** 0.5, 31) == pytest.approx(0.8, abs=1e-9)
    shuffled = gap_within(replace(shape, by_setups=False, rounds=12), Spread(4.0, 3.0), 31)
    assert shuffled == pytest.approx(gap * 5 / 4)
    assert gap_within(shape, Spread(4.0), 0) is None


def test_three_gases_are_judged_as_several() -> None:
    """Dunnett 1955, table of two-sided 5 % points: two comparisons, 6 df, 2.86 (from memory)."""
    shape = Shape(True, 4, levels=3, hard_columns=2, family="reference", replicates=4)
    assert (shape.setups, shape.df, shape.coupons) == (12, 6, 48)
    alpha, alpha_one = error_rates("reference", 3, 6)
    assert float(special.stdtrit(6, 1 - alpha / 2)) == pytest.approx(2.86, abs=0.005)
    assert alpha_one < 0.05
    together = budget_row(shape, LOADS)
    apart = budget_row(replace(shape, family="single"), LOADS)
    assert together.gap is not None
    assert apart.gap is not None
    assert together.gap > apart.gap
    # 3! names of the gases among 6 orders in each of four rounds
    assert together.smallest_p == pytest.approx(6 / 6**4)


def test_all_pairs_are_judged_by_the_studentised_range() -> None:
    """Studentised range at 5 %: 3 levels on 6 df 4.34, over the root of two (published tables)."""
    alpha, _ = error_rates("pairs", 3, 6)
    assert float(special.stdtrit(6, 1 - alpha / 2)) == pytest.approx(4.34 / 2**0.5, abs=0.005)


def test_parts_and_centre_points_stay_as_they_are_in_other_rows() -> None:
    shape = Shape(True, 4, combos=4, parts=2, parts_by_round=True, centre=1)
    rows = rounds_table(shape, LOADS)
    assert [row.rounds for row in rows] == [2, 4, 6, 8, 12]
    assert {row.per_setup for row in rows} == {5}
    assert sum(row.current for row in rows) == 1
