"""Passes, grades and places through `analyse`: what is compared, by which units, and said how."""

from __future__ import annotations

import importlib.util
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis import counted_words, where_broke
from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.figures import counted_by_round
from weldtrial.analysis.firth import fit_firth
from weldtrial.analysis.proportion_intervals import difference_interval, ratio_interval
from weldtrial.analysis.proportions import no_worse
from weldtrial.analysis.ranks import better_interval
from weldtrial.analysis.setup_proportions import by_setups
from weldtrial.shared.factors import Factor
from weldtrial.shared.record import Correction

_spec = importlib.util.spec_from_file_location(
    "counted_bench", Path(__file__).with_name("counted_bench.py")
)
assert _spec is not None
assert _spec.loader is not None
made = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(made)

ROOT = Path(__file__).resolve().parents[2]
BANNED = re.compile(
    r"\b(proves|no difference|identical|same strength|significant|trend towards|as strong as|safe|"
    r"approved|guaranteed)\b",
    re.IGNORECASE,
)
TRAVEL = Factor("travel", "numeric", ("low", "high"), unit="cm/min", settings={"": (30.0, 50.0)})


def first(trial, record, name="bend"):
    found = analyse(trial, record)
    response = next(one for one in found.responses if one.name == name)
    return response, response.comparisons[0]


# ---------------------------------------------------------------------- passes, coupon by coupon


def test_coupons_dealt_one_by_one_are_compared_by_the_exact_interval() -> None:
    response, found = first(made.trial(), made.passes((13, 18), (10, 18)))
    wide, narrow = (difference_interval(10, 18, 13, 18, level) for level in (0.95, 0.90))
    assert (found.difference, found.ci_low, found.ci_high) == pytest.approx(
        (100 * wide.estimate, 100 * wide.low, 100 * wide.high)
    )
    assert (found.ci90_low, found.ci90_high) == pytest.approx((100 * narrow.low, 100 * narrow.high))
    assert found.margin == pytest.approx(20.0)
    both = no_worse(10, 18, 13, 18, 0).p, no_worse(13, 18, 10, 18, 0).p
    assert found.p == pytest.approx(2 * min(both))
    ratio = ratio_interval(10, 18, 13, 18)
    assert (found.ratio, found.ratio_low) == pytest.approx((ratio.estimate, ratio.low))
    assert response.method == "exact-unconditional"
    assert response.unit == "points"
    assert found.verdict.lines[0].startswith(
        "co2 \N{MINUS SIGN} mix = \N{MINUS SIGN}17 points (passes 10 of 18 against 13 of 18), 95 % "
        "interval "
    )


def test_the_vaccine_table_comes_through_analyse() -> None:
    """Mehta & Senchaudhuri (2003): 7 of 15 against 12 of 15, p .0682 where both sides count.

    Printed .06815; ours counts one tied outcome more (see `test_proportions`), so .0682.
    """
    path = ROOT / "tests/reference/data/exact-2x2-barnard.json"
    published = json.loads(path.read_text(encoding="utf-8"))["expected"]
    _, found = first(made.trial(made.asking("difference")), made.passes((12, 15), (7, 15)))
    assert found.p == pytest.approx(published["barnard_p_two_sided_computed"], abs=1e-4)
    assert found.p > 0.05
    assert found.verdict.code == "not_settled"


def test_a_wide_gap_is_shown_beyond_the_margin() -> None:
    _, found = first(made.trial(), made.passes((15, 16), (2, 16)))
    assert found.verdict.code == "worse_beyond_margin"
    assert found.verdict.strength == "shown"


def test_fewer_passes_can_be_the_good_way() -> None:
    lower = made.asking("difference", better="lower")
    _, found = first(made.trial(lower), made.passes((15, 16), (2, 16)))
    assert found.verdict.code == "better_beyond_margin"
    assert found.difference < 0


@pytest.mark.parametrize(("passed", "seen"), [(16, "16 of 16"), (0, "0 of 16")])
def test_all_passing_or_failing_still_has_an_interval(passed: int, seen: str) -> None:
    no_worse_by = made.asking("no-worse", 0.25)
    _, found = first(made.trial(no_worse_by), made.passes((passed, 16), (passed, 16)))
    assert found.difference == 0
    assert -25 < found.ci90_low < 0 < found.ci90_high < 25
    assert found.verdict.code == "not_worse"
    assert seen in found.verdict.lines[0]


def test_eight_coupons_settle_nothing_and_say_so() -> None:
    response, found = first(made.trial(), made.passes((3, 4), (2, 4)))
    assert found.verdict.code == "not_settled"
    assert "not evidence that they are alike" in " ".join(found.verdict.lines)
    assert response.counts.passes[0].share == 0.75
    assert (response.counts.passes[0].ci_low, response.counts.passes[0].ci_high) == pytest.approx(
        (0.1941, 0.9937),
        abs=5e-5,  # Clopper & Pearson, 3 of 4, as in printed tables
    )


def test_rounds_of_single_coupons_add_the_exact_stratified_p() -> None:
    coupons = []
    for number in range(1, 9):
        for level in ("mix", "co2"):
            said = "pass" if level == "mix" or number > 6 else "fail"
            coupons.append(made.coupon(len(coupons) + 1, level, round=number, bend=said))
    _, found = first(made.trial(rounds=8), made.record(coupons))
    # Six rounds of one pass and one failure all one way: the sign test of six.
    assert found.counted.p_exact == pytest.approx(2 / 2**6)


def test_a_coupon_passes_only_if_all_its_pieces_pass() -> None:
    coupons = [made.coupon(1, "mix", bend=["pass", "pass"]),
               made.coupon(2, "mix", bend=["pass", "fail"]),
               made.coupon(3, "co2", bend=["fail", "fail"]),
               made.coupon(4, "co2", bend=["pass", "lost"])]  # fmt: skip
    response, _ = first(made.trial(), made.record(coupons))
    assert [row.passed for row in response.counts.passes] == [1, 1]


def test_several_gases_share_the_error() -> None:
    record = made.passes((9, 12), (6, 12))
    third = [made.coupon(25 + n, "m20", bend="pass" if n < 7 else "fail") for n in range(12)]
    record = replace(record, coupons=(*record.coupons, *third), planned=36)
    response, found = first(made.trial(levels=("mix", "co2", "m20")), record)
    assert len(response.comparisons) == 2
    wide = difference_interval(6, 12, 9, 12, 0.975)
    assert found.ci_low == pytest.approx(100 * wide.low)
    assert found.p_adjusted == pytest.approx(min(1, 2 * found.p))


def test_several_factors_give_odds_by_the_penalised_model() -> None:
    rng = np.random.default_rng(7)
    coupons = [
        made.coupon(n + 1, ("mix", "co2")[n % 2], more={"travel": ("low", "high")[n // 2 % 2]},
                    bend="pass" if rng.random() < 0.6 else "fail")
        for n in range(32)
    ]  # fmt: skip
    response, _ = first(made.trial(more=(TRAVEL,)), made.record(coupons))
    x = [[1, 1 if c.levels["gas"] == "co2" else 0, c.levels["travel"] == "high"] for c in coupons]
    y = [c.readings["bend"][0].kind == "pass" for c in coupons]
    expected = fit_firth(np.array(x, dtype=float), y).profile([0, 1, 0])
    row = response.counts.odds[0]
    assert (row.one, row.other) == ("co2", "mix")
    assert (row.odds_ratio, row.ci_low, row.ci_high) == pytest.approx(
        expected.odds_ratio(), rel=1e-5
    )
    few, _ = first(made.trial(more=(TRAVEL,)), made.record(coupons[:12]))
    assert few.counts.odds == ()


# ---------------------------------------------------------------------- passes, by set-up


def test_setups_are_compared_by_set_up_and_a_warning_says_why() -> None:
    shares = [(4, 2), (3, 3), (4, 1), (2, 2)]
    response, found = first(made.trial(hard=True, rounds=4), made.in_setups(shares))
    passed = [one for pair in shares for one in pair]
    alone = by_setups(passed, [4] * 8, [0, 1] * 4, rounds=[1, 1, 2, 2, 3, 3, 4, 4])
    assert found.difference == pytest.approx(100 * alone.difference.estimate)
    assert found.ci_low == pytest.approx(100 * alone.difference.interval(0.95)[0])
    assert found.df == 3
    gaps = np.array([mix - co2 for mix, co2 in shares])
    assert found.p == pytest.approx(stats.ttest_1samp(gaps, 0).pvalue)  # equal set-ups: paired t
    assert response.shuffle_orders == 16
    assert "set_ups_count" in [note.code for note in response.warnings]
    assert [way.name for way in response.least_squares.comparisons] == [
        "every coupon apart",
        "two heaps of coupons",
    ]
    low, high = response.counts.passes[0].ci_low, response.counts.passes[0].ci_high
    assert high - low > np.ptp(stats.binomtest(13, 16).proportion_ci(method="exact"))


def test_the_shuffle_obeys_the_restriction_of_the_draw() -> None:
    shares = [(4, 0)] * 3 + [(4, 1)] * 2 + [(3, 0)]
    response, found = first(made.trial(hard=True, rounds=6), made.in_setups(shares))
    # Of 64 orders 14 put one gas first in five or six rounds: 50 are left, 2 as far out.
    assert response.shuffle_orders == 50
    assert found.counted.p_exact == pytest.approx(2 / 50)


def test_without_scatter_between_rounds_only_the_shuffle_speaks() -> None:
    response, found = first(made.trial(hard=True, rounds=6), made.in_setups([(4, 0)] * 6))
    assert found.verdict.code == "difference_shown"
    assert found.verdict.words == "Shown: co2 is worse than mix."
    assert found.difference == -100
    assert found.ci_low is None
    assert found.p == found.counted.p_exact == pytest.approx(2 / 50)
    assert "nothing is said of the margin" in found.verdict.lines[0]
    assert response.method == "set-ups-dealt-again"


@pytest.mark.parametrize("passed", [4, 0])
def test_with_setups_all_alike_cannot_be_told(passed: int) -> None:
    _, found = first(made.trial(hard=True, rounds=4), made.in_setups([(passed, passed)] * 4))
    assert found.verdict.code == "cannot_tell"
    assert found.difference is None
    assert "all 32 coupons" in found.verdict.words


def test_two_rounds_alike_cannot_reach_five_in_a_hundred() -> None:
    _, found = first(made.trial(hard=True, rounds=2), made.in_setups([(4, 0)] * 2))
    assert found.verdict.code == "cannot_tell"
    assert "no scatter to judge by" in found.verdict.words


def test_what_is_changed_within_setups_is_compared_within_them() -> None:
    coupons = []
    rng = np.random.default_rng(2)
    for number in range(1, 7):
        for level in ("mix", "co2") * 2:
            said = "pass" if rng.random() < (0.9 if level == "mix" else 0.3) else "fail"
            coupons.append(made.coupon(len(coupons) + 1, level, round=1, setup=number, bend=said))
    response, found = first(made.trial(), made.record(coupons))
    assert found.df == 5
    assert found.counted.p_exact is not None
    assert "within their set-ups" in response.warnings[0].words


# ---------------------------------------------------------------------- grades


def test_enough_coupons_are_graded_by_the_model_and_its_odds_are_said() -> None:
    record = made.graded((2, 4, 6, 8), (6, 6, 5, 3))
    response, found = first(made.trial(made.SPATTER), record, "spatter")
    assert response.method == "proportional-odds"
    assert found.counted.odds_ratio < 1
    # 50 in 100 is a ratio of 1: the two intervals agree on whether there is a gap.
    assert (found.counted.odds_high < 1) == (found.ci_high < 0)
    y = [made.SCALE.index(c.readings["spatter"][0].text) for c in record.coupons]
    new = [c.levels["gas"] == "co2" for c in record.coupons]
    seen = np.mean(np.sign(np.subtract.outer(np.array(y)[new], np.array(y)[np.invert(new)])) / 2)
    assert found.difference == pytest.approx(100 * seen, abs=3)
    low, high = better_interval(y, new)
    assert (found.ci_low, found.ci_high) == pytest.approx((100 * low - 50, 100 * high - 50), abs=6)
    words = " ".join(found.verdict.lines)
    assert "50 is alike" in words
    assert "The odds of a better grade are" in words
    assert "margin" not in words


def test_few_coupons_are_graded_by_ranks() -> None:
    response, found = first(
        made.trial(made.SPATTER), made.graded((0, 1, 2, 1), (1, 1, 2, 0)), "spatter"
    )
    assert response.method == "ranks"
    assert found.verdict.code == "not_settled"
    assert "not evidence that they are alike" in " ".join(found.verdict.lines)


def test_a_failed_assumption_falls_back_to_ranks_and_is_said() -> None:
    record = made.graded((0, 16, 16, 0), (14, 2, 2, 14))
    response, found = first(made.trial(made.SPATTER), record, "spatter")
    assert response.method == "ranks"
    assert "odds_differ" in [note.code for note in response.warnings]
    assert found.counted.odds_ratio is None


def test_grades_apart_without_overlap_are_told_by_ranks() -> None:
    response, found = first(
        made.trial(made.SPATTER), made.graded((0, 0, 0, 10), (10, 0, 0, 0)), "spatter"
    )
    assert response.method == "ranks"
    assert found.difference == -50
    assert found.verdict.code == "difference_shown"


def test_one_grade_for_all_cannot_be_told() -> None:
    _, found = first(made.trial(made.SPATTER), made.graded((0, 8, 0, 0), (0, 8, 0, 0)), "spatter")
    assert found.verdict.code == "cannot_tell"
    assert "same grade" in found.verdict.words


def test_the_worst_grade_of_a_coupon_counts() -> None:
    coupons = [
        made.coupon(1, "mix", spatter=["none", "heavy"]),
        made.coupon(2, "mix", spatter="some"),
        made.coupon(3, "co2", spatter="none"),
        made.coupon(4, "co2", spatter="little"),
    ]
    response, _ = first(made.trial(made.SPATTER), made.record(coupons), "spatter")
    assert response.counts.grades[0].counts == (1, 1, 0, 0)
    assert response.counts.scale == made.SCALE


# ---------------------------------------------------------------------- where it broke


def broken(hard: bool = False) -> list:
    """Throat 9 and 4, root 3 and 8, one plate: coupons dealt one by one."""
    places = {
        "mix": ["throat"] * 9 + ["root"] * 3,
        "co2": ["throat"] * 4 + ["root"] * 8 + ["plate"],
    }
    return [
        made.coupon(n + 1, level, bend=f"fail@{place}")
        for n, (level, place) in enumerate(
            (level, place) for level, found in places.items() for place in found
        )
    ]


def test_where_it_broke_is_tabulated_and_tested() -> None:
    response, _ = first(made.trial(), made.record(broken()))
    places = response.places
    assert places.counts == ((9, 3, 0), (4, 8, 1))
    # The same table by scipy, which lists or draws tables of its own.
    drawn = stats.fisher_exact(
        [[9, 3, 0], [4, 8, 1]], method=stats.MonteCarloMethod(n_resamples=20_000, rng=5)
    ).pvalue
    assert places.p == pytest.approx(drawn, abs=3 * (drawn * (1 - drawn) / 20_000) ** 0.5)
    assert places.method == "exact"
    assert "They differ no more than chance explains." in places.words[0]
    assert "throat 9 and 4, root 3 and 8, plate 0 and 1" in places.words[0]
    assert places.words[1].startswith("1 broke in the plate and does not measure the weld")
    assert "X025" in places.words[1]
    assert "failed_in_plate" in [note.code for note in response.warnings]


def test_with_setups_places_are_dealt_again_by_whole_setups() -> None:
    record = made.in_setups([(2, 1)] * 6, 2)
    placed = tuple(
        replace(c, readings={"bend": (replace(c.readings["bend"][0], failed_at=(
            "throat" if c.levels["gas"] == "mix" else "root")),)})
        for c in record.coupons
    )  # fmt: skip
    response, _ = first(made.trial(hard=True, rounds=6), replace(record, coupons=placed))
    assert response.places.method == "set-ups dealt again"
    assert response.places.p == pytest.approx(2 / 50)
    assert "more than chance explains" in response.places.words[0]
    few = made.in_setups([(2, 1)] * 4, 2)
    placed = tuple(
        replace(c, readings=p.readings) for c, p in zip(few.coupons, placed, strict=False)
    )
    response, _ = first(made.trial(hard=True, rounds=4), replace(few, coupons=placed))
    assert "Too few set-ups" in response.places.words[0]


def test_a_coupon_of_two_places_has_more_than_one() -> None:
    coupons = [made.coupon(1, "mix", bend=["fail@toe", "fail@root"]),
               made.coupon(2, "co2", bend="fail@root")]  # fmt: skip
    response, _ = first(made.trial(), made.record(coupons))
    assert response.places.places == ("root", where_broke.SEVERAL)


def test_a_number_has_its_places_too() -> None:
    from weldtrial.shared.responses import Response

    load = Response("load", "kN")
    coupons = [
        made.coupon(n + 1, ("mix", "co2")[n % 2], load=f"{80 + n % 5}@{('toe', 'root')[n % 2]}")
        for n in range(12)
    ]
    response, _ = first(made.trial(load), made.record(coupons), "load")
    assert response.places.counts == ((6, 0), (0, 6))
    assert "more than chance explains" in response.places.words[0]
    nobody = [replace(c, readings={"load": (made.reading("80.5"),)}) for c in coupons[:1]]
    bare = made.record([*nobody, *(made.coupon(n, "mix", load=f"8{n}") for n in (2, 3)),
                        *(made.coupon(n, "co2", load=f"7{n}") for n in (4, 5, 6))])  # fmt: skip
    assert first(made.trial(load), bare, "load")[0].places is None


# ---------------------------------------------------------------------- around it


def test_one_coupon_past_the_gauge_alone_compares_nothing() -> None:
    from weldtrial.shared.record import Reading
    from weldtrial.shared.responses import Response

    above = replace(
        made.coupon(1, "mix", load="80"), readings={"load": (Reading("above", low=90.0),)}
    )
    found = analyse(made.trial(Response("load", "kN")), made.record([above]))
    verdict = found.responses[0].comparisons[0].verdict
    assert verdict.code == "at_limit"
    assert verdict.lines[0].startswith("Nothing to compare yet: 1 of 1 (mix) reached the limit")


def test_closed_codes_tell_sums_and_no_gas() -> None:
    found = analyse(
        made.trial(made.BEND, made.SPATTER), made.passes((13, 18), (10, 18)), codes_open=False
    )
    assert found.responses == ()
    assert "23 of 36 passed, all gases together" in found.spreads["bend"]
    assert not re.search(r"\b(mix|co2)\b", str(found.spreads))


def test_a_pilot_has_counts_and_no_verdict() -> None:
    response, found = first(made.trial(purpose="pilot"), made.passes((13, 18), (10, 18)))
    assert found.verdict.code is None
    assert response.counts.passes[0].passed == 13
    assert {way.code for way in response.alternatives} <= {None}


def test_corrections_after_opening_that_turn_the_answer_are_both_told() -> None:
    record = made.passes((12, 15), (2, 15))
    flipped = []
    for one in record.coupons:
        reading = one.readings["bend"][0]
        if one.levels["gas"] == "co2" and reading.kind == "fail":
            reading = replace(reading, corrected=True, first=made.reading("pass"))
        flipped.append(replace(one, readings={"bend": (reading,)}))
    late = Correction("", "", "readings/bend.csv", "X020", "reading", "pass", "fail", "", True, "")
    record = replace(record, coupons=tuple(flipped), corrections=(late,))
    _, found = first(made.trial(), record)
    assert found.verdict.code == "depends_on"
    assert "As first typed in: " in " ".join(found.verdict.lines)


def test_no_sentence_uses_a_banned_word() -> None:
    templates = [
        value for module in (counted_words, where_broke) for value in vars(module).values()
        if isinstance(value, str)
    ]  # fmt: skip
    _, found = first(made.trial(), made.passes((13, 18), (10, 18)))
    for sentence in [*templates, found.verdict.words, *found.verdict.lines]:
        assert not BANNED.search(sentence)


def test_the_figure_shows_every_coupon_and_says_so() -> None:
    response, _ = first(made.trial(hard=True, rounds=4), made.in_setups([(4, 2), (3, 3)] * 2))
    figure, text = counted_by_round.draw(response), counted_by_round.describe(response)
    dots = sum(
        len(line.get_xdata()) for line in figure.axes[0].lines if line.get_linestyle() == "None"
    )
    assert dots == 32
    assert text.alt.startswith("Dot plot of 32 coupons by Bend test; mix: fail 2, pass 14; co2:")
    assert text.table_rows[0][3:] == ("4", "0", "4")
    again = counted_by_round.draw(response)
    assert [line.get_xydata().tolist() for line in again.axes[0].lines] == [
        line.get_xydata().tolist() for line in figure.axes[0].lines
    ]
