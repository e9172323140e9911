"""What would undo a counted answer: against hand, scipy, and running the whole analysis again."""

from __future__ import annotations

import importlib.util
import re
from dataclasses import replace
from itertools import combinations
from math import comb
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from weldtrial.analysis import respond_counted, settle_counted, undo_counted_words
from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.counted import Pair
from weldtrial.analysis.counted_chances import answers
from weldtrial.analysis.counted_codes import exact_code, fisher_p
from weldtrial.analysis.counted_many import Rule, setup_places
from weldtrial.analysis.levels import ONCE
from weldtrial.analysis.points import in_points
from weldtrial.analysis.proportion_intervals import difference_above, difference_interval
from weldtrial.analysis.proportion_power import (
    chance_equal,
    chance_no_worse,
    chance_of_fall,
    coupons_for_no_worse,
)
from weldtrial.analysis.proportions import no_worse
from weldtrial.analysis.settle_counted import coupons_that_settle, rough_coupons
from weldtrial.analysis.undo_counted import MOST_FORGOTTEN

_spec = importlib.util.spec_from_file_location(
    "counted_bench", Path(__file__).with_name("counted_bench.py")
)
assert _spec is not None
assert _spec.loader is not None
made = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(made)

BANNED = re.compile(
    r"\b(proves|no difference|identical|same strength|significant|trend towards|as strong as|safe|"
    r"approved|guaranteed)\b",
    re.IGNORECASE,
)


def found_of(trial, record):
    response = analyse(trial, record).responses[0]
    return response, response.comparisons[0].verdict.code


def verdict_of(trial, record):
    """The verdict of the whole analysis run again, without what stands beside it."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(respond_counted, "undo_counted", lambda *_: None)
        patch.setattr(respond_counted, "other_ways", lambda *_: ())
        patch.setattr(respond_counted, "_naive", lambda *_: [])
        return analyse(trial, record).responses[0].comparisons[0].verdict.code


def with_outcomes(record, stamps, said, name="bend"):
    """The record with some coupons read otherwise (a lost one then is no longer lost)."""
    coupons = tuple(
        replace(c, readings={name: (made.reading(said),)}) if c.stamp in stamps else c
        for c in record.coupons
    )
    return replace(record, coupons=coupons)


def and_failed(record, *places):
    """The record with further failed coupons: (level, round, set-up)."""
    more = [
        made.coupon(900 + n, level, round=number, setup=setup, bend="fail")
        for n, (level, number, setup) in enumerate(places)
    ]
    return replace(record, coupons=(*record.coupons, *more))


def without(record, stamps):
    return replace(record, coupons=tuple(c for c in record.coupons if c.stamp not in stamps))


def lose(record, stamps, name="bend"):
    return with_outcomes(record, stamps, "lost", name)


def passed(record, level, name="bend"):
    return [
        c for c in record.coupons if c.levels["gas"] == level and c.readings[name][0].kind == "pass"
    ]


def told(response, level, how):
    return next(f for f in response.undo.forgotten if (f.level, f.how) == (level, how))


# ---------------------------------------------------------------------- by hand


def test_the_undo_table_of_three_of_four_against_none_of_twelve_by_hand() -> None:
    """Three of four porous against none of twelve: 1 in 140; forgotten porous beads undo it.

    Hypergeometric by hand: of 16 beads 4 are new; with m porous in all, the chance that three or
    four of the new are among them.
    """
    assert fisher_p(1, 4, 12, 12) == pytest.approx(1 / 140, rel=1e-12)
    by_hand = {
        1: (4 * 12 + 1) / comb(16, 4),  # 49 of 1820
        2: (4 * comb(12, 2) + 12) / comb(16, 5),  # 276 of 4368
        3: (4 * comb(12, 3) + comb(12, 2)) / comb(16, 6),  # 946 of 8008
    }
    assert [round(p, 3) for p in by_hand.values()] == [0.027, 0.063, 0.118]
    response, code = found_of(made.trial(made.asking("difference", None)),
                              made.passes((12, 12), (1, 4)))  # fmt: skip
    assert code == "difference_shown"
    rows = {row.coupons: row for row in response.undo.rows if row.level in ("", "mix")}
    assert rows[0].p == pytest.approx(1 / 140)
    for many, p in by_hand.items():
        assert rows[many].p == pytest.approx(p, rel=1e-12)
        assert (rows[many].passed_reference, rows[many].of_reference) == (12 - many, 12)
    assert [rows[many].code for many in range(4)] == [
        "difference_shown", "difference_shown", "not_settled", "not_settled",
    ]  # fmt: skip
    assert told(response, "mix", "passed").fewest == 2


@pytest.mark.parametrize("table", [(1, 4, 12, 12), (3, 9, 5, 7), (6, 15, 14, 16), (0, 5, 0, 8)])
def test_fishers_p_is_scipys(table) -> None:
    one, of, zero, more = table
    scipys = stats.fisher_exact([[one, of - one], [zero, more - zero]]).pvalue
    assert fisher_p(*table) == pytest.approx(scipys, rel=1e-9)


# ---------------------------------------------------------------------- the same code, sooner


@pytest.mark.parametrize(
    ("of", "of_reference", "hypothesis", "confidence"),
    [(4, 12, 0.0, 0.95), (6, 6, -0.2, 0.90), (5, 8, 0.1, 0.95)],
)
def test_a_limit_lies_above_just_where_the_interval_says(
    of: int, of_reference: int, hypothesis: float, confidence: float
) -> None:
    for one in range(of + 1):
        for zero in range(0, of_reference + 1, 3):
            low = difference_interval(one, of, zero, of_reference, confidence).low
            said = difference_above(one, of, zero, of_reference, hypothesis, confidence)
            assert said == (low > hypothesis)


def test_where_test_and_interval_disagree_the_interval_decides() -> None:
    """10 of 12 against 15 of 20 at .20: the one outcome known where p dips below the tail."""
    assert no_worse(10, 12, 15, 20, 0.20).p <= 0.05
    assert difference_interval(10, 12, 15, 20, 0.90).low < -0.20
    assert not difference_above(10, 12, 15, 20, -0.20, 0.90)
    low = difference_interval(10, 12, 15, 20, 0.90).low
    assert difference_above(10, 12, 15, 20, low - 1e-5, 0.90)
    assert not difference_above(10, 12, 15, 20, low + 1e-5, 0.90)


@pytest.mark.parametrize("ask", ["difference", "no-worse", "equal-enough"])
@pytest.mark.parametrize("better", ["higher", "lower"])
def test_the_code_is_that_of_the_whole_comparison(ask: str, better: str) -> None:
    for counts in [(15, 16, 2, 16), (10, 12, 9, 12), (16, 16, 16, 16), (4, 16, 11, 16)]:
        response = made.asking(ask, 0.3, better)
        record = made.passes(counts[2:], counts[:2])
        _, code = found_of(made.trial(response), record)
        pair = Pair(in_points(response), made.gas(hard=False), "co2", "mix", ONCE, 1)
        assert exact_code(pair, *counts) == code


# ---------------------------------------------------------------------- forgotten failures


COUNTS = [
    (made.asking("difference"), (12, 12), (3, 8)),
    (made.asking("no-worse"), (11, 12), (14, 14)),
    (made.asking("difference", None), (9, 10), (5, 9)),
]


@pytest.mark.parametrize(("response", "mix", "co2"), COUNTS)
def test_forgotten_failures_are_the_fewest_that_flip_the_whole_analysis(response, mix, co2) -> None:
    trial, record = made.trial(response), made.passes(mix, co2)
    found, code = found_of(trial, record)
    for level in ("mix", "co2"):
        turned = [c.stamp for c in passed(record, level)]
        said = told(found, level, "passed")
        most = said.fewest or said.tried
        for many in sorted({1, max(1, most - 1), most}):
            other = verdict_of(trial, with_outcomes(record, turned[:many], "fail"))
            assert (other != code) == (many == said.fewest)
            assert said.fewest is None or many < said.fewest or other == said.code
        said = told(found, level, "left out")
        for many in sorted({1, said.fewest or 2}):
            other = verdict_of(trial, and_failed(record, *[(level, None, None)] * many))
            assert (other != code) == (many == said.fewest)
        assert said.tried <= MOST_FORGOTTEN


def test_with_setups_every_placement_is_tried() -> None:
    trial = made.trial(hard=True, rounds=4)
    record = made.in_setups([(4, 1), (4, 2), (3, 1), (4, 0)])
    found, code = found_of(trial, record)
    assert code.startswith("worse")
    for level in ("mix", "co2"):
        said = told(found, level, "passed")
        stamps = [c.stamp for c in passed(record, level)]
        for many in range(1, min(said.fewest or said.tried, 2) + 1):
            codes = {
                verdict_of(trial, with_outcomes(record, chosen, "fail"))
                for chosen in combinations(stamps, many)
            }
            assert (codes != {code}) == (many == said.fewest)
        said = told(found, level, "left out")
        setups = sorted({(c.round, c.setup) for c in record.coupons if c.levels["gas"] == level})
        codes = {verdict_of(trial, and_failed(record, (level, *place))) for place in setups}
        assert (codes != {code}) == (said.fewest == 1)
    flipping = next(f for f in found.undo.forgotten if f.fewest)
    assert flipping.setups
    assert "change the answer soonest" in " ".join(found.undo.words)


def test_forgotten_failures_where_only_the_shuffle_speaks() -> None:
    trial, record = made.trial(hard=True, rounds=6), made.in_setups([(4, 0)] * 6)
    found, code = found_of(trial, record)
    assert code == "difference_shown"
    said = told(found, "mix", "passed")
    first = passed(record, "mix")[0]
    other = verdict_of(trial, with_outcomes(record, [first.stamp], "fail"))
    assert (said.fewest, said.code) == (1, other)


@settings(max_examples=25, deadline=None)
@given(
    of=st.integers(3, 9), of_reference=st.integers(3, 9), one=st.integers(0, 9),
    zero=st.integers(0, 9), more=st.integers(1, 3),
)  # fmt: skip
def test_more_failures_of_the_new_never_take_back_that_it_is_worse(
    of: int, of_reference: int, one: int, zero: int, more: int
) -> None:
    """The score orders outcomes by how far the new falls short: one pass fewer is further out."""
    one, zero = min(one, of), min(zero, of_reference)
    pair = Pair(in_points(made.asking("difference", None)), made.gas(hard=False), "co2", "mix",
                ONCE, 1)  # fmt: skip
    worse = one / of < zero / of_reference
    if worse and exact_code(pair, one, of, zero, of_reference) == "difference_shown":
        fewer = max(0, one - more)
        assert exact_code(pair, fewer, of, zero, of_reference) == "difference_shown"


# ---------------------------------------------------------------------- left out


def test_what_carries_the_answer_is_what_leaving_out_says() -> None:
    trial = made.trial(made.asking("difference"))
    record = made.passes((7, 8), (1, 7))
    found, code = found_of(trial, record)
    carried = " ".join(one.what for one in found.undo.carries)
    for level in ("mix", "co2"):
        for said in ("passed", "failed"):
            kind = "pass" if said == "passed" else "fail"
            mine = [c for c in record.coupons
                    if c.levels["gas"] == level and c.readings["bend"][0].kind == kind]  # fmt: skip
            other = verdict_of(trial, without(record, {mine[0].stamp}))
            named = (
                f"coupon {mine[0].stamp}" if len(mine) == 1
                else f"any of the {len(mine)} coupons of {level} that {said}"
            )  # fmt: skip
            assert (other != code) == (named in carried)
    assert found.undo.tried == 15


def test_rounds_are_left_out_whole_and_coupons_one_by_one() -> None:
    trial = made.trial(hard=True, rounds=4)
    record = made.in_setups([(4, 2), (4, 1), (3, 1), (4, 3)])
    found, code = found_of(trial, record)
    carried = {one.what: one.code for one in found.undo.carries}
    assert found.undo.tried == 32 + 4
    for number in range(1, 5):
        stamps = {c.stamp for c in record.coupons if c.round == number}
        other = verdict_of(trial, without(record, stamps))
        assert (other not in (code, "cannot_tell")) == (f"round {number}" in carried)
    turned = sum(
        verdict_of(trial, without(record, {c.stamp})) not in (code, "cannot_tell")
        for c in record.coupons
    )
    sizes = [int(m[1]) if (m := re.match(r"any of the (\d+)", what)) else 1
             for what in carried if "coupon" in what]  # fmt: skip
    assert sum(sizes) == turned


# ---------------------------------------------------------------------- lost


def test_lost_coupons_flip_the_answer_just_where_it_is_said() -> None:
    trial = made.trial(made.asking("difference"))
    whole = made.passes((11, 12), (7, 12))
    gone = [c.stamp for c in passed(whole, "co2")][:4]
    record = lose(whole, gone)
    found, code = found_of(trial, record)
    (lost,) = found.undo.lost_counted
    assert (lost.level, lost.stamps) == ("co2", tuple(gone))
    changed = []
    for failing in range(5):
        holed = with_outcomes(with_outcomes(record, gone, "pass"), gone[:failing], "fail")
        other = verdict_of(trial, holed)
        changed.append(other != code)
        if failing in (0, 4):
            assert other == (lost.worst if failing else lost.best)
    assert any(changed)
    assert not all(changed)
    assert lost.fewest_worst == next((n for n in range(5) if all(changed[n:])), None)
    assert lost.fewest_best == next(
        (4 - n for n in reversed(range(5)) if all(changed[: n + 1])), None
    )
    assert "lost coupons of co2" in " ".join(found.undo.words)


def test_lost_coupons_of_a_setup_come_back_into_it() -> None:
    trial = made.trial(hard=True, rounds=4)
    whole = made.in_setups([(4, 1), (4, 2), (3, 1), (4, 1)])
    gone = [c.stamp for c in passed(whole, "mix") if c.round == 3]
    record = lose(whole, gone)
    found, code = found_of(trial, record)
    (lost,) = found.undo.lost_counted
    assert lost.best == verdict_of(trial, whole)
    assert lost.worst == verdict_of(trial, with_outcomes(record, gone, "fail"))
    assert (lost.fewest_worst is None) == (lost.worst == code)


def test_lost_on_both_sides_is_looked_at_together() -> None:
    trial = made.trial(made.asking("difference", None))
    whole = made.passes((12, 12), (5, 12))
    mix, co2 = passed(whole, "mix")[0].stamp, passed(whole, "co2")[0].stamp
    record = lose(whole, [mix, co2])
    found, _ = found_of(trial, record)
    both = {one.worst: one for one in found.undo.lost_both}
    against = with_outcomes(with_outcomes(record, [mix], "fail"), [co2], "pass")
    assert both["mix"].code == verdict_of(trial, against)


# ---------------------------------------------------------------------- grades


@pytest.mark.parametrize(
    ("mix", "co2"), [((0, 1, 2, 5), (3, 4, 1, 0)), ((1, 3, 5, 7), (6, 6, 3, 1))]
)
def test_grades_read_too_well(mix, co2) -> None:
    trial, record = made.trial(made.SPATTER), made.graded(mix, co2)
    found, code = found_of(trial, record)
    said = told(found, "mix", "one grade worse")
    heaps = [[c.stamp for c in record.coupons
              if c.levels["gas"] == "mix" and c.readings["spatter"][0].text == grade]
             for grade in made.SCALE[1:]]  # fmt: skip
    codes: dict[int, set] = {}
    for one in range(3):
        for two in range(3):
            if not 0 < one + two <= 2:
                continue
            for a, b in combinations(range(3), 2):
                changed = record
                for heap, many in ((a, one), (b, two)):
                    changed = with_outcomes(changed, heaps[heap][:many], made.SCALE[heap],
                                            "spatter")  # fmt: skip
                short = len(heaps[a]) < one or len(heaps[b]) < two
                if not short:
                    codes.setdefault(one + two, set()).add(verdict_of(trial, changed))
    for many in (1, 2):
        if said.fewest is None or many <= said.fewest:
            assert (codes[many] != {code}) == (many == said.fewest)
    assert found.undo.rows == ()


def test_single_grades_left_out_and_lost_ones() -> None:
    trial, whole = made.trial(made.SPATTER), made.graded((0, 1, 1, 4), (2, 3, 1, 0))
    gone = whole.coupons[-1].stamp
    record = lose(whole, [gone], "spatter")
    found, code = found_of(trial, record)
    carried = " ".join(one.what for one in found.undo.carries)
    for coupon in record.coupons[:-1]:
        other = verdict_of(trial, without(record, {coupon.stamp}))
        grade, level = coupon.readings["spatter"][0].text, coupon.levels["gas"]
        named = coupon.stamp in carried or f"coupons of {level} that graded {grade}" in carried
        assert (other != code) == named
    (lost,) = found.undo.lost_counted
    for said, grade in ((lost.worst, "heavy"), (lost.best, "none")):
        assert said == verdict_of(trial, with_outcomes(record, [gone], grade, "spatter"))


# ---------------------------------------------------------------------- what would settle it


@pytest.mark.parametrize(("share", "margin"), [(0.9, 0.2), (0.7, 0.2), (0.8, 0.15), (0.95, 0.1)])
def test_coupons_that_settle_are_enough_by_the_exact_chance(share: float, margin: float) -> None:
    needed = coupons_that_settle(
        "no-worse", margin, share, rough_coupons("no-worse", margin, share)
    )
    assert chance_no_worse(needed, needed, margin, share, share) >= 0.8
    full = coupons_for_no_worse(share, margin)
    assert full.first <= needed <= 1.05 * full.coupons
    fall = coupons_that_settle(
        "difference", margin, share, rough_coupons("difference", margin, share)
    )
    assert chance_of_fall(fall, fall, share - margin, share) >= 0.79


def test_equal_within_a_margin_needs_both_sides() -> None:
    both = chance_equal(30, 30, 0.25, 0.8)
    one = chance_no_worse(30, 30, 0.25, 0.8, 0.8)
    assert 2 * one - 1 - 1e-12 <= both < one
    needed = coupons_that_settle("equal-enough", 0.25, 0.8, 20)
    assert chance_equal(needed, needed, 0.25, 0.8) >= 0.8


def test_what_would_settle_rests_on_the_margin_and_not_on_the_change() -> None:
    def said(mix, co2):
        verdict = analyse(made.trial(made.asking("no-worse")), made.passes(mix, co2)).responses[0]
        return next(line for line in verdict.comparisons[0].verdict.lines if "settle it" in line)

    # As many passes in all, the gap the one way and the other.
    assert said((9, 10), (7, 10)) == said((8, 10), (8, 10))
    assert said((9, 10), (7, 10)).startswith("With 80 in 100 passing, as here, about ")


def test_setups_that_settle_are_said_in_setups_and_with_the_scatter_used() -> None:
    trial = made.trial(made.asking("no-worse"), hard=True, rounds=4)
    found, code = found_of(trial, made.in_setups([(4, 2), (1, 3), (4, 4), (3, 1)]))
    assert code == "not_settled"
    line = next(one for one in found.comparisons[0].verdict.lines if "settle it" in one)
    assert line.startswith("With scatter between set-ups like this, about ")
    assert "set-ups of each" in line
    alike, code = found_of(trial, made.in_setups([(3, 2), (3, 3), (3, 2), (2, 3)]))
    assert code == "not_settled"
    line = next(one for one in alike.comparisons[0].verdict.lines if "settle it" in one)
    assert line.startswith("With the least scatter between set-ups that the verdict reckons with, ")


def test_setups_that_settle_near_the_end_are_enough_for_the_verdict_played() -> None:
    """Three failures in 48, all of one set-up; 20 000 beta-binomial trials at correlation .2."""
    trial = made.trial(made.asking("no-worse"), hard=True, rounds=6)
    found, code = found_of(trial, made.in_setups([(4, 4)] * 5 + [(4, 1)]))
    assert code == "not_settled"
    line = next(one for one in found.comparisons[0].verdict.lines if "settle it" in one)
    needed = int(line.split("about ")[1].split(" ")[0])
    few, _ = found_of(trial, made.in_setups([(4, 4)] * 5 + [(4, 3)]))
    assert "With the least scatter between set-ups that the verdict reckons with, " in " ".join(
        few.comparisons[0].verdict.lines
    )
    share = 45 / 48
    rng = np.random.default_rng(6)
    passed = rng.binomial(4, rng.beta(share * 4, (1 - share) * 4, size=(20_000, 2 * needed)))
    places = setup_places(
        passed.astype(float), np.full(2 * needed, 4.0), np.arange(2 * needed) < needed,
        np.array([*range(needed)] * 2), Rule("no-worse", 1, 0.2, 0.05, 0.05), None,
    )  # fmt: skip
    assert answers(places, "no-worse").mean() >= 0.8


# ---------------------------------------------------------------------- around it


def test_nothing_is_undone_of_a_pilot_or_where_nothing_can_be_told() -> None:
    pilot = analyse(made.trial(purpose="pilot"), made.passes((9, 10), (3, 10))).responses[0]
    assert pilot.undo is None
    found, code = found_of(made.trial(hard=True, rounds=4), made.in_setups([(4, 4)] * 4))
    assert (code, found.undo) == ("cannot_tell", None)
    closed = analyse(made.trial(), made.passes((9, 10), (3, 10)), codes_open=False)
    assert not re.search(r"\b(mix|co2)\b", str(closed.spreads))


def test_no_sentence_uses_a_banned_word() -> None:
    said = [
        value for module in (undo_counted_words, settle_counted) for value in vars(module).values()
        if isinstance(value, str)
    ]  # fmt: skip
    for response, mix, co2 in COUNTS:
        record = lose(made.passes(mix, co2), ["X001", "X020"])
        found, _ = found_of(made.trial(response), record)
        said += [*found.undo.words, found.undo.brief, *found.comparisons[0].verdict.lines]
    for sentence in said:
        assert not BANNED.search(sentence)
