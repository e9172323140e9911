from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import combinations
from math import comb, inf

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from weldtrial.analysis.counted_evidence import counted, fisher_p, smallest_p
from weldtrial.analysis.evidence import Evidence, Side
from weldtrial.analysis.honest_test import (
    chance_of_count,
    count_margin_test,
    count_test,
    least_counts,
    measured_test,
    needed,
    sturdier_counts,
)
from weldtrial.analysis.picked import picked
from weldtrial.analysis.power import Spread, by_setups, power_no_worse
from weldtrial.analysis.review_words import about, figures, once_in, p_is, p_words, share
from weldtrial.analysis.undo_claim import setups_p, undo_counts


def evidence(new: str, old: str, **more: object) -> Evidence:
    sides = [
        Side(name, int(text.split("/")[1]), passed=int(text.split("/")[0]))
        for name, text in (("new", new), ("before", old))
    ]
    return replace(Evidence("counts", *sides, what="porous", better="lower"), **more)  # type: ignore[arg-type]


def test_three_of_four_against_none_of_twelve_by_hand() -> None:
    """Three events among 16 coupons: all three fall on the four new ones 4 ways of 560."""
    by_hand = Fraction(comb(4, 3) * comb(12, 0), comb(16, 3))
    assert by_hand == Fraction(1, 140)
    # No other split of three events is as unlikely: 1 of 4 against 2 of 12 and so on are likelier.
    others = [Fraction(comb(4, k) * comb(12, 3 - k), comb(16, 3)) for k in range(3)]
    assert min(others) > by_hand
    found = counted(evidence("3/4", "0/12"))
    assert found.fisher == pytest.approx(1 / 140)
    assert once_in(found.fisher) == "1 time in 140"


def test_true_rates_of_the_spool() -> None:
    found = counted(evidence("3/4", "0/12"))
    ends = (found.new_low, found.new_high, found.old_low, found.old_high)
    assert [share(one) for one in ends] == ["19 %", "99 %", "0 %", "26 %"]
    for passed, of, low, high in ((3, 4, *ends[:2]), (0, 12, *ends[2:])):
        other = stats.binomtest(passed, of).proportion_ci(method="exact")
        assert (low, high) == pytest.approx((other.low, other.high))


counts = st.integers(1, 8).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@given(counts, counts)
def test_fisher_by_counting_out_every_table(new: tuple[int, int], old: tuple[int, int]) -> None:
    (a, n), (b, m) = new, old
    ways = [comb(n, k) * comb(m, a + b - k) for k in range(a + b + 1)]
    p = Fraction(sum(one for one in ways if one <= ways[a]), comb(n + m, a + b))
    assert fisher_p(a, n, b, m) == pytest.approx(float(p))


@given(st.integers(1, 9), st.integers(1, 9))
def test_smallest_p_is_the_smallest_of_all_outcomes(n: int, m: int) -> None:
    every = [fisher_p(a, n, b, m) for a in range(n + 1) for b in range(m + 1)]
    assert smallest_p(n, m) == pytest.approx(min(every))


def test_large_counts_have_the_intervals_for_large_numbers() -> None:
    """Beyond a hundred coupons: a few hundredths from the exact intervals of a hundred."""
    few, many = counted(evidence("30/50", "20/50")), counted(evidence("31/51", "20/50"))
    assert (few.exact, many.exact) == (True, False)
    for one, other in (
        (many.difference95.low, few.difference95.low),
        (many.difference95.high, few.difference95.high),
    ):
        assert one == pytest.approx(other, abs=0.03)
    assert many.ratio95 is not None
    assert few.ratio95 is not None
    assert many.ratio95.low == pytest.approx(few.ratio95.low, abs=0.1)


def test_newcombes_published_difference() -> None:
    """Newcombe (1998), table II (from memory): 56 of 70 against 48 of 80, .0524 to .3339."""
    found = counted(evidence("56/70", "48/80"))
    assert not found.exact
    assert (round(found.difference95.low, 4), round(found.difference95.high, 4)) == (
        0.0524, 0.3339,
    )  # fmt: skip


def test_a_ratio_of_none_to_none_has_no_value() -> None:
    for text in ("0/4", "0/90"):
        assert counted(evidence(text, text)).ratio95 is None
    some = counted(evidence("9/90", "0/90")).ratio95
    assert some is not None
    assert (some.estimate, some.high) == (inf, inf)


# ------------------------------------------------------------------------------ undoing


def test_undo_table_of_the_spool() -> None:
    """Hypergeometric, by hand: 0.027, 0.063, 0.118, 0.14 and 0.25."""
    rows = {row.what: row for row in undo_counts(evidence("3/4", "0/12"))}
    assert [(what, round(row.p or 0, 3), row.undone) for what, row in rows.items()] == [
        ("one forgotten porous coupon among the 12", 0.027, False),
        ("two", 0.063, True),
        ("three", 0.118, True),
        ("one of new's 3 misjudged", 0.05, False),
        ("really only 4 earlier coupons", 0.143, True),
        ("the 12 are 3 set-ups of 4, new is 1", 0.25, True),
    ]


def test_undo_table_by_hand() -> None:
    """One more event on the old side: 3 of 4 against 1 of 12, four events among 16."""
    ways = [comb(4, k) * comb(12, 4 - k) for k in range(5)]
    by_hand = Fraction(sum(one for one in ways if one <= ways[3]), comb(16, 4))
    assert by_hand == Fraction(7, 260)
    assert float(by_hand) == pytest.approx(undo_counts(evidence("3/4", "0/12"))[0].p or 0)
    # Five earlier coupons still stand out, four do not: 4 of 84 and 4 of 28 ... of all splits.
    assert fisher_p(3, 4, 0, 5) == pytest.approx(float(Fraction(4, comb(9, 3))))
    assert fisher_p(3, 4, 0, 4) == pytest.approx(float(2 * Fraction(4, comb(8, 3))))


def test_a_p_too_small_to_be_written_is_none_of_one() -> None:
    """All of 700 against none of 700: the p is below what a computer holds, and no row is 1.00."""
    rows = {row.code: row for row in undo_counts(evidence("700/700", "0/700"))}
    assert rows["forgotten"].p == pytest.approx(0, abs=1e-12)
    assert not rows["misjudged"].undone
    assert "fewer-earlier" not in rows or (rows["fewer-earlier"].p or 0) > 0.05
    assert rows["clusters"].what == "before is 1 set-up, new is 1"


def test_fewer_earlier_coupons_of_thousands_are_found_by_halving() -> None:
    rows = {row.code: row for row in undo_counts(evidence("86/101", "3139/5000"))}
    most = rows["fewer-earlier"].values["earlier"]
    assert fisher_p(86, 101, 3139, int(most)) > 0.05
    assert all(fisher_p(86, 101, 3139, int(most) + more) <= 0.05 for more in range(1, 60))


def test_large_counts_are_weighed_without_the_test_whose_work_grows_as_their_cube() -> None:
    assert counted(evidence("300/300", "290/300")).boschloo is not None
    found = counted(evidence("40000/400000", "38000/500000"))
    assert found.boschloo is None
    # Counted in whole numbers up to a thousand, by their logarithms beyond.
    ways = comb(1010, 8)
    assert smallest_p(8, 1002) == pytest.approx(1 / ways)
    assert smallest_p(400_000, 500_000) == 0


def test_nothing_to_undo_where_nothing_stands_out() -> None:
    assert undo_counts(evidence("1/4", "0/12")) == ()


def test_told_set_ups_are_used_and_marked() -> None:
    one = evidence("3/4", "0/12")
    told = replace(one, new=replace(one.new, setups=4), old=replace(one.old, setups=12))
    row = undo_counts(told)[-1]
    assert row.told
    assert row.p == pytest.approx(1 / comb(16, 4))
    assert undo_counts(one, remembered=True)[1].told
    assert not undo_counts(one, remembered=True)[-1].told


def test_strong_counts_are_followed_until_they_turn() -> None:
    rows = undo_counts(evidence("12/12", "0/12"))
    last = [row for row in rows if row.code == "forgotten"][-1]
    assert last.undone
    assert last.values["forgotten"] > 3


def test_new_with_fewer_is_told_from_its_own_side() -> None:
    rows = undo_counts(evidence("0/18", "9/18"))
    assert rows[0].what == "one overlooked porous coupon among the 18 of new"
    assert rows[0].p == pytest.approx(fisher_p(1, 18, 9, 18))


@given(st.lists(st.integers(0, 9), min_size=1, max_size=4),
       st.lists(st.integers(0, 9), min_size=1, max_size=4))  # fmt: skip
def test_dealing_set_ups_by_counting(new: list[int], old: list[int]) -> None:
    values, k = np.array([*new, *old], dtype=float), len(new)
    chosen = [list(one) for one in combinations(range(len(values)), k)]
    apart = [abs(values[one].mean() - np.delete(values, one).mean()) for one in chosen]
    by_hand = np.mean([one >= apart[0] - 1e-9 for one in apart])
    assert by_hand >= setups_p(len(new), len(old)) - 1e-12


def test_smallest_p_of_set_ups() -> None:
    assert setups_p(1, 3) == 0.25
    assert setups_p(3, 3) == pytest.approx(0.1)
    assert setups_p(1, 1) == 1.0


# ------------------------------------------------------------------------------ honest tests


def test_least_count_that_could_stand_out() -> None:
    """2 of 70 deals and 2 of 20: 4 + 4 reaches 0.03 and 3 + 3 never less than 0.10."""
    assert least_counts() == 4
    test = count_test("new", "before", "porous", "spool")
    assert (test.rounds, test.coupons, test.counts) == (4, 1, True)
    assert "4 fresh set-ups of each spool, 1 coupon each, shuffled" in test.words
    assert "p = 0.03. (3 + 3 could never do it: p = 0.10.)" in test.words


def test_chance_of_a_count_by_simulation() -> None:
    rng = np.random.default_rng(6)
    some = rng.binomial(12, 0.5, 20_000)
    p = np.array([fisher_p(int(x), 12, 0, 12) for x in range(13)])
    seen = np.mean(p[some] <= 0.05)
    assert chance_of_count(12, 0.5) == pytest.approx(seen, abs=3 * 0.5 / 20_000**0.5)
    assert chance_of_count(4, 0.5) == pytest.approx(1 / 16)
    assert sturdier_counts() == 12


def test_coupons_that_the_leaflet_needs() -> None:
    """By noncentral t: 24 for "equal within 5 %" and 18 for "no more than 5 % weaker"."""
    found = needed(4.1, 0.05 * 70.3)
    assert (found.equal, found.no_worse) == (24, 18)


def test_plan_in_rounds_is_enough_and_one_round_less_is_not() -> None:
    test = measured_test(4.0, 5.0, "no-worse", "kN", sd_setup=2.0)
    assert test is not None
    chances = [
        power_no_worse(5.0, one.se, one.df)
        for one in (
            by_setups(Spread(4.0, 2.0), rounds, test.coupons, paired=True)
            for rounds in (test.rounds, test.rounds - 1)
        )
    ]
    assert chances[0] >= 0.795 > chances[1]
    assert test.chance == pytest.approx(chances[0])
    assert "2.0 kN between set-ups (given)" in test.words


def test_a_trial_beyond_any_bench_is_said_to_be() -> None:
    test = measured_test(4.1, 0.5, "difference", "kN")
    assert test is not None
    assert "more than a bench can be asked for" in test.words


def test_count_for_a_margin() -> None:
    test = count_margin_test(0.2, 15 / 18, "equal-enough", "")
    assert test is not None
    assert 55 < test.rounds < 75
    assert test.margin == 0.2


# ------------------------------------------------------------------------------ picked


def test_the_smallest_of_nine_by_simulation() -> None:
    rng = np.random.default_rng(10)
    least = rng.random((40_000, 9)).min(axis=1)
    found = picked(0.03, 9)
    assert found.p_smallest == pytest.approx(np.mean(least <= 0.03), abs=3 * 0.43 / 200)
    assert found.usual_smallest == pytest.approx(least.mean(), abs=3 * 0.09 / 200)
    assert found.p_bound == pytest.approx(0.27)


@given(st.floats(0, 1), st.integers(1, 50))
def test_picking_never_helps(p: float, many: int) -> None:
    found = picked(p, many)
    assert p - 1e-12 <= found.p_smallest <= found.p_bound + 1e-12
    assert found.p_bound <= 1


@pytest.mark.parametrize(("p", "many"), [(0.03, 0), (-0.1, 2), (1.1, 2)])
def test_no_p_is_picked_from_none(p: float, many: int) -> None:
    with pytest.raises(ValueError, match="cannot be picked"):
        picked(p, many)


# ------------------------------------------------------------------------------ figures


@pytest.mark.parametrize(
    ("p", "text"),
    [(1 / 140, "p = 0.007"), (0.0269, "p = 0.03"), (0.0632, "p = 0.06"), (0.118, "p = 0.12"),
     (0.0479, "p = 0.048"), (0.0512, "p = 0.051"), (0.5, "p = 0.50"), (1e-5, "p < 0.001")],
)  # fmt: skip
def test_p_in_words(p: float, text: str) -> None:
    assert p_is(p) == text
    assert text.endswith(p_words(p))


@pytest.mark.parametrize(
    ("p", "text"),
    [(1 / 140, "1 time in 140"), (1 / 1820, "1 time in 1 800"), (0.5, "50 times in 100"),
     (1.0, "100 times in 100"), (1e-9, "less than 1 time in a million"), (0.05, "1 time in 20")],
)  # fmt: skip
def test_chances_as_people_count(p: float, text: str) -> None:
    assert once_in(p) == text


def test_shares_beside_none_and_all_are_not_rounded_to_them() -> None:
    assert [share(one) for one in (0, 0.0002, 0.004, 0.5, 0.9991, 0.99999, 1)] == [
        "0 %", "under 0.1 %", "0.4 %", "50 %", "99.9 %", "over 99.9 %", "100 %",
    ]  # fmt: skip


def test_loosely_and_closely() -> None:
    assert [about(one) for one in (9.83, 3.41, 29.2, 0.96, 4.04)] == ["10", "3.4", "29", "1",
                                                                     "4.0"]  # fmt: skip
    assert [figures(one) for one in (0.412, 14.7, 138.2, 0)] == ["0.41", "15", "138", "0"]
