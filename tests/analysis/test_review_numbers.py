"""Whole reviews by numbers alone: two whole screens, and what has no interval."""

from __future__ import annotations

import json
from dataclasses import asdict, replace

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.evidence import Evidence, Said, Side, Study
from weldtrial.analysis.review_averages import weigh_numbers
from weldtrial.analysis.review_numbers import Weighing
from weldtrial.shared.claim_text import parse_claim
from weldtrial.shared.review_texts import parse_counts, parse_margin, parse_summary

LEAFLET = "new 68.2 4.4 4, old 70.3 3.8 4"


def counts(text: str, claim: str = "", margin: str = "", **more: object) -> Weighing:
    found, problems = parse_counts(text, what="porous")
    assert found is not None, problems
    return weighed(found, claim, margin, **more)


def averages(text: str, claim: str = "", margin: str = "", **more: object) -> Weighing:
    found, problems = parse_summary(text, unit="kN")
    assert found is not None, problems
    return weighed(replace(found, **more), claim, margin)  # type: ignore[arg-type]


def weighed(evidence: Evidence, claim: str, margin: str, **more: object) -> Weighing:
    return weigh_numbers(
        evidence,
        parse_claim(claim)[0] if claim else None,
        parse_margin(margin)[0] if margin else None,
        **more,  # type: ignore[arg-type]
    )


def one(says: tuple[Said, ...], code: str) -> Said:
    return next(said for said in says if said.code == code)


def codes(says: tuple[Said, ...]) -> list[str]:
    return [said.code for said in says]


def test_the_spool() -> None:
    found = counts("new 3/4, before 0/12", thing="spool")
    assert found.code == "difference_shown"
    assert one(found.says, "sides").words == (
        "new 3 of 4 porous: true rate could be 19 % to 99 %; before 0 of 12: could be 0 % to 26 %."
    )
    assert one(found.says, "chance-split").words == (
        "If nothing set new and before apart, a split this one-sided comes up 1 time in 140 "
        "(Fisher exact p = 0.007; by Boschloo's unconditional test p = 0.004)."
    )
    assert "up to 26 %" in one(found.says, "zero-reading").words
    assert "29 in a row" in one(found.says, "zero-reading").words
    assert "expect-less" in codes(found.says)
    assert [row.code for row in found.undo][-1] == "clusters"
    assert found.test is not None
    assert found.test.words.startswith("4 fresh set-ups of each spool, 1 coupon each, shuffled")


def test_the_leaflet() -> None:
    found = averages(LEAFLET, "ratio 0.97", "5%", step=0.1)
    assert found.code == "not_settled"
    assert one(found.says, "ratio").words == (
        "new/old = 0.970, could be 0.875 to 1.076 (95 %). p for \u2018any difference\u2019 = 0.50 "
        "\u2013 which here only means the test could not see anything smaller than about 10 kN."
    )
    assert one(found.says, "claim-not-settled").words == (
        "Not settled: \u201cratio 0.97\u201d. The figure is the middle of a range from 13 % lower "
        "to 8 % higher. Compatible with it; also compatible with 0.90 and 1.05. Not shown equal "
        "within 5 %."
    )
    assert one(found.says, "would-show").words == (
        'About 24 coupons of each for "equal within 5 %", 18 for "no more than 5 % worse", 23 for '
        "a true gap of 5 % (8 chances in 10, the first two if truly equal, spread 4.1 kN, every "
        "coupon its own set-up)."
    )
    assert one(found.checks, "figures-possible").words == (
        "Means possible from a 0.1 kN gauge with n = 4; spreads possible."
    )
    assert found.test is not None
    assert found.test.ask == "equal-enough"
    assert found.undo == ()


def test_exaggeration_never_takes_the_observed_difference_for_the_truth() -> None:
    truths = [
        one(averages(text, "ratio 0.97", "5%").says, "exaggeration").values["truth"]
        for text in (LEAFLET, "new 60.2 4.4 4, old 70.3 3.8 4")
    ]
    assert truths == pytest.approx([0.05 * 70.3] * 2)
    assert "exaggeration" not in codes(averages(LEAFLET).says)
    by_claim = one(averages(LEAFLET, "ratio 0.9").says, "exaggeration").values["truth"]
    assert by_claim == pytest.approx(0.1 * 70.3)


def test_a_loss_that_is_there() -> None:
    found = averages("new 60.2 4.4 18, old 70.3 3.8 18", "at least 5 % worse", "5%")
    assert found.code == "worse_beyond_margin"
    assert "claim-supported" in codes(found.says)
    bias = one(found.says, "hidden-bias")
    ends = one(found.says, "ratio").values
    assert bias.values["bias"] == pytest.approx(0.95 - ends["high"])
    assert found.undo[-1].code == "one-set-up"
    assert found.undo[-1].undone


def test_told_set_ups_are_said() -> None:
    evidence, _ = parse_summary("new 66.0 3.0 9, old 70.3 3.0 9")
    assert evidence is not None
    told = replace(
        evidence, new=replace(evidence.new, setups=3), old=replace(evidence.old, setups=3)
    )
    found = weigh_numbers(told)
    said = one(found.says, "set-ups")
    assert said.words.startswith("As these are 3 and 3 set-ups")
    assert all(row.told for row in found.undo if row.code == "clusters")
    alone = replace(told, new=replace(told.new, setups=1), old=replace(told.old, setups=1))
    assert (
        "nothing tells one side from its set-up" in one(weigh_numbers(alone).says, "set-ups").words
    )


def test_one_coupon_against_the_old_range() -> None:
    found = averages("new 61.5 0 1, old 70.3 3.8 4")
    assert found.code is None
    assert codes(found.says) == ["lone-coupon"]
    assert "lies inside the range" in found.says[0].words
    assert "lies outside" in averages("new 30 0 1, old 70.3 3.8 4").says[0].words
    assert codes(averages("new 61.5 3 4, old 70.3 0 1").says) == ["lone-coupon"]


def test_a_p_alone_and_nothing_at_all() -> None:
    assert codes(averages("new n 4, old n 4, p 0.03").says) == ["from-p"]
    bare = Evidence("summary", Side("new", 4, 60.0), Side("old", 4, 70.0), "kN")
    assert codes(weigh_numbers(bare).says) == ["no-spread"]
    still = Evidence("summary", Side("new", 4, 60.0, 0.0), Side("old", 4, 70.0, 0.0), "kN")
    assert codes(weigh_numbers(still).says) == ["no-scatter"]


def test_impossible_figures_are_said_in_the_words_of_the_bad_inputs() -> None:
    """An impossible average: the message word for word."""
    found = averages("new 84.25 0.58 3, old 84.17 0.45 3", step=0.5)
    assert one(found.checks, "impossible-mean").words == (
        "A mean of 84.25 cannot come from 3 readings on a gauge with 0.5 kN steps (nearest 84.17 "
        "or 84.33). Check n, the step or the figure."
    )
    assert one(found.checks, "impossible-sd").words == (
        "A standard deviation of 0.45 kN cannot come from 3 readings of old: no readings in whole "
        "steps give it with that mean. Check n, the step or the figure."
    )
    assert "figures-possible" not in codes(found.checks)


def test_ratio_claimed_against_their_own_means() -> None:
    assert "own-means" not in codes(averages(LEAFLET, "ratio 0.97").checks)
    said = one(averages(LEAFLET, "ratio 0.99").checks, "own-means")
    assert said.words == "Their own means give a ratio of 0.97, not 0.99. Please check."


def test_spreads_may_be_errors() -> None:
    said = one(averages(LEAFLET).checks, "if-errors")
    assert said.values["low"] == pytest.approx(-2.1 - 2.0 * 7.15, abs=0.1)
    printed = averages("new 68.2 4.4 4, old 70.3 3.8 4, p 0.72")
    assert codes(printed.checks) == ["printed-p-standard-errors"]


def test_picked_from_nine() -> None:
    found = counts("new 3/4, before 0/12")
    several = weigh_numbers(
        replace(parse_counts("new 3/4, before 0/12")[0], looked_at=9)  # type: ignore[type-var]
    )
    assert "picked" not in codes(found.says)
    said = one(several.says, "picked")
    assert said.words.startswith("One of 9 looked at:")
    assert said.words.endswith("So counted, it no longer stands out.")
    assert said.values["p_smallest"] == pytest.approx(1 - (1 - 1 / 140) ** 9)


def test_counts_beside_a_margin_get_the_count_that_would_settle_it() -> None:
    found = counts("new 6/18, before 3/18", "no difference", "20%")
    assert found.code == "not_settled"
    assert found.claim is not None
    assert found.claim.margin == 0.2
    words = one(found.says, "claim-not-settled").words
    assert "from \u221213 to +45 points" in words
    assert "Not shown equal within 20 points." in words
    assert found.test is not None
    assert found.test.ask == "equal-enough"


def test_what_dealing_gives_ten_times_in_a_hundred_is_not_shown() -> None:
    """3 of 3 against 0 of 3: the unconditional interval leaves zero out, Fisher's p is 0.10."""
    found = counts("new 0/3, before 3/3")
    assert found.code == "not_settled"
    assert one(found.says, "smallest-p").values["p"] == pytest.approx(0.1)


def test_a_claim_beyond_the_margin_is_to_be_shown() -> None:
    found = averages("new 2.4 0.3 6, old 1.2 0.25 6", "twice the penetration", "10%")
    assert found.test is not None
    assert (found.test.ask, found.test.margin) == ("difference", pytest.approx(1.2))


def test_ratio_of_counts_is_never_said_in_points() -> None:
    words = one(counts("new 2/30, before 9/120", "half", "5%").says, "claim-not-settled").words
    assert words == (
        "Not settled: \u201chalf\u201d. Found 0.89 times, 0.27 to 4.0. Compatible with it; also "
        "compatible with 1 and 3."
    )


def test_the_smallest_printable_p_stands_for_any_below() -> None:
    found = averages("new 2.4 0.3 6, old 1.2 0.25 6, p 0.001")
    assert codes(found.checks) == ["printed-p-welch"]


def test_percent_of_a_count_is_points_and_worse_is_more() -> None:
    found = counts("new 15/18, before 3/18", "at least 20 % worse", "20%")
    assert found.code == "worse_beyond_margin"
    assert found.claim is not None
    assert found.claim.verdict == "supported"
    assert (found.claim.low, found.claim.scale) == (pytest.approx(0.2), "difference")


def test_studies_together() -> None:
    studies = (Study("A", -2.1, 0.9), Study("B", 1.0, 0.51), Study("C", -1.0, 0.5))
    blank = Evidence("studies", Side("new", 0), Side("old", 0), "kN", studies=studies)
    found = weighed(blank, "no difference", "5 kN")
    assert codes(found.says)[:4] == ["pooled", "between-studies", "common-effect", "next-study"]
    assert found.code == "equivalent"
    ratio = weighed(blank, "ratio 0.97", "5 kN")
    assert ratio.claim is not None
    assert ratio.claim.needs == "ratio"


def test_raw_coupons_are_averaged_and_each_left_out() -> None:
    blank = Evidence("raw", Side("new", 0), Side("old", 0), "kN")
    new, old = (60.0, 61.0, 62.0, 80.0), (70.0, 71.0, 72.0, 73.0)
    raw = replace(blank, values_new=new, values_old=old)
    found = weigh_numbers(raw)
    assert one(found.says, "left-out").values["turned"] == 1
    assert found.checks == ()  # Nothing was printed, so nothing printed can be wrong.


@pytest.mark.parametrize(
    "found",
    [
        counts("new 3/4, before 0/12", "2 times", "10%"),
        counts("new 0/3, before 0/3", "no difference"),
        counts("new 4/4, before 5/5", "no difference", "20%"),
        averages(LEAFLET, "ratio 0.97", "5%"),
        averages("new 1 4 4, old -2 3 4", "ratio 0.97", "5%"),
        averages("new n 4, old n 4, p 0.03"),
    ],
)
def test_words_and_numbers_can_always_be_given_out(found: Weighing) -> None:
    json.dumps([asdict(said) for said in (*found.says, *found.checks)], allow_nan=False)
    for said in (*found.says, *found.checks):
        assert said.words.endswith(".")
        assert "nan" not in said.words
        assert "None" not in said.words


def test_a_p_of_five_in_a_hundred_ends_at_nought() -> None:
    said = one(averages("new n 4, old n 4, p 0.05").says, "from-p")
    assert "could be 0 to 3.4" in said.words


def test_coupons_left_out_of_many_are_taken_off_their_sums() -> None:
    """The same as working all out anew, to ten digits."""
    from weldtrial.analysis import leave_out

    rng = np.random.default_rng(3)
    many = tuple(float(v) for v in rng.normal(80, 4, 400))
    sides = (Side("new", 400), Side("old", 5))
    raw = Evidence("raw", *sides, values_new=many, values_old=many[:5])
    found = leave_out.left_out(raw)
    for place in (0, 17, 399):
        fewer = [*many[:place], *many[place + 1 :]]
        other = stats.ttest_ind(fewer, many[:5], equal_var=False)
        assert found[place].gap.p == pytest.approx(float(other.pvalue), rel=1e-10)
