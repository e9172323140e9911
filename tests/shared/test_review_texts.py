from __future__ import annotations

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.shared.claim_text import parse_claim
from weldtrial.shared.claimed import Claim, Side
from weldtrial.shared.responses import Margin
from weldtrial.shared.review_texts import (
    parse_counts,
    parse_margin,
    parse_studies,
    parse_summary,
)


@pytest.mark.parametrize(
    "text",
    ["new 3/4, before 0/12", "new 3/4,before 0/12", "new: 3 of 4; before: 0 of 12",
     "new 3 / 4 , before 0 / 12"],
)  # fmt: skip
def test_counts(text: str) -> None:
    found, problems = parse_counts(text, what="porous")
    assert problems == []
    assert found is not None
    assert (found.new, found.old) == (Side("new", 4, passed=3), Side("before", 12, passed=0))
    assert (found.kind, found.what, found.better) == ("counts", "porous", "lower")


def test_counts_with_set_ups_and_without_names() -> None:
    found, _ = parse_counts("3/4, 0/12 in 3 set-ups")
    assert found is not None
    assert (found.new.name, found.old.name) == ("new", "old")
    assert (found.new.setups, found.old.setups) == (None, 3)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("new 5/4, before 0/12", "5 of 4 cannot be for 'new': no more can fail than there are. Did "
         "you mean 4/5?"),
        ("new 3/4", "'new 3/4' has one side only, a comparison has two: write both sides"),
        ("a 1/2, b 1/2, c 1/2", "has 3 sides"),
        ("", "has nothing"),
        ("new 3/4, new 0/12", "both sides are called 'new'"),
        ("new 0/0, old 1/2", "0 coupons for 'new'"),
        ("new 3.5/4, old 1/2", "'3.5' is not a whole number of coupons"),
        ("new 1/1234567, old 1/2", "'1234567' is more coupons than can be weighed; 999999 are"),
        ("new 3/4 in x set-ups, old 1/2", "'x' is not a whole number of set-ups"),
        ("new 3-4, old 1/2", "'new 3-4' is not a count"),
        ("new 3/4 in 9 set-ups, old 1/2", "9 set-ups for 4 coupons of 'new': from 1 to 4 can be."),
    ],
)  # fmt: skip
def test_counts_that_cannot_be(text: str, words: str) -> None:
    found, problems = parse_counts(text)
    assert found is None
    assert str(problems[0]).startswith("review --counts: ")
    assert words in str(problems[0])


def test_all_problems_of_a_text_at_once() -> None:
    _, problems = parse_counts("new x/4, old 7/5")
    assert len(problems) == 2
    _, problems = parse_summary("new 68.2 -4.4 4, old 70.3 3.8 0, p 3")
    assert len(problems) == 3


@given(st.integers(1, 999), st.integers(1, 999), st.data())
def test_any_count_is_read_back(n: int, m: int, data: st.DataObject) -> None:
    a, b = data.draw(st.integers(0, n)), data.draw(st.integers(0, m))
    found, problems = parse_counts(f"one side {a}/{n}, the other {b} of {m}")
    assert problems == []
    assert found is not None
    assert (found.new.passed, found.new.n, found.old.passed, found.old.n) == (a, n, b, m)
    assert (found.new.name, found.old.name) == ("one side", "the other")


@pytest.mark.parametrize(
    "text",
    ["new 68.2 4.4 4, old 70.3 3.8 4", "new 68,2 4,4 4, old 70,3 3,8 4",
     "new 68.2 sd 4.4 n 4; old mean 70.3 3.8 n=4", "new: 68.2 ± 4.4 (4), old: 70.3 +/- 3.8 (4)"],
)  # fmt: skip
def test_averages(text: str) -> None:
    found, problems = parse_summary(text, unit="kN")
    assert problems == []
    assert found is not None
    assert found.new == Side("new", 4, 68.2, 4.4, decimals=1, sd_decimals=1)
    assert found.old == Side("old", 4, 70.3, 3.8, decimals=1, sd_decimals=1)
    assert found.unit == "kN"


def test_figures_that_no_unit_has() -> None:
    """Squares of squares of what is weighed stay within what a computer holds."""
    for huge in ("9" * 300, "0." + "0" * 300 + "1"):
        for text in (f"new {huge} 4 4, old 70 4 4", f"new 68 {huge} 4, old 70 4 4"):
            found, problems = parse_summary(text)
            assert found is None
            assert "to be weighed. Write all in a unit that suits it." in str(problems[0])
        assert parse_studies([f"A {huge} se 1", "B 1 se 1"])[0] is None
        assert parse_margin(huge)[0] is None
        assert parse_claim(f"difference {huge}")[0] is None


def test_a_mean_outside_its_own_interval_is_quoted_as_it_was_written() -> None:
    _, problems = parse_summary("new 68.2 70..75.2 4, old 70 4 4")
    assert "lies outside its own interval, 70..75.2. Check all three." in str(problems[0])


def test_printed_decimals_are_kept() -> None:
    found, _ = parse_summary("new 84.20 4 3, old 70 3.80 3, p 0.030")
    assert found is not None
    assert (found.new.decimals, found.new.sd_decimals) == (2, 0)
    assert (found.old.decimals, found.old.sd_decimals) == (0, 2)
    assert (found.stated.p, found.stated.p_decimals) == (0.03, 3)


def test_errors_intervals_and_a_p_alone() -> None:
    found, _ = parse_summary("new 68.2 se 2.2 4, old 70.3 64.3..76.3 4")
    assert found is not None
    assert (found.new.se, found.new.sd) == (2.2, None)
    assert (found.old.low, found.old.high, found.old.sd) == (64.3, 76.3, None)
    for text in ("new n 4, old n 6, p 0.03", "new 4, old 6, p = 0.03"):
        found, problems = parse_summary(text)
        assert problems == []
        assert found is not None
        assert (found.new.n, found.old.n, found.new.mean, found.stated.p) == (4, 6, None, 0.03)


def test_one_coupon_is_a_warning_in_the_words_of_the_bad_inputs() -> None:
    """One coupon has no spread: the message word for word."""
    found, problems = parse_summary("new 61.5 0 1, old 70.3 3.8 4")
    assert found is not None
    assert [str(one) for one in problems] == [
        "review --summary: n = 1 for 'new'. One coupon has no spread; no interval is possible. "
        "I can check it against the old range only."
    ]
    assert problems[0].warning


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("new 68.2 4.4, old 70.3 3.8 4", "has 2 bare numbers where 3 are wanted"),
        ("new 68.2 4.4 4", "one side only"),
        ("new 68.2 4.4 4, old 70.3 3.8 4.5", "'4.5' is not a whole number of coupons"),
        ("new 68.2 4.4 4, old 70.3 sdd 3.8 4", "'sdd' of 'old' is neither a number nor sd, se or "
         "n. Did you mean 'sd'?"),
        ("new 68.2 70..75 4, old 70.3 3.8 4", "lies outside its own interval"),
        ("new 68.2 -4.4 4, old 70.3 3.8 4", "a spread is never below 0"),
        ("new 68.2 4.4 4, new 70.3 3.8 4", "both sides are called 'new'"),
        ("new 68.2 4.4 4, old 70.3 3.8 4, p 0", "a p lies above 0 and at most at 1"),
    ],
)  # fmt: skip
def test_averages_that_cannot_be(text: str, words: str) -> None:
    found, problems = parse_summary(text)
    assert found is None
    assert any(words in str(one) for one in problems), problems


def test_studies() -> None:
    found, problems = parse_studies(["shop A -2.1 se 0.9", "shop B: \u22122 -3.9..-0.1", "1 0.5"])
    assert problems == []
    assert found is not None
    assert [one.name for one in found.studies] == ["shop A", "shop B", "study 3"]
    assert [one.estimate for one in found.studies] == [-2.1, -2.0, 1.0]
    assert found.studies[1].se == pytest.approx(3.8 / 2 / 1.959964, rel=1e-6)


@pytest.mark.parametrize(
    ("texts", "words"),
    [
        (["a 1 2"], "one study is nothing to pool"),
        (["a 1 2", "a 3 4"], "two studies are called 'a'"),
        (["a 1 0", "b 3 4"], "no standard error above 0"),
        (["a 1 2..3", "b 3 4"], "outside its interval"),
        (["a 1", "b 3 4"], "'a 1' is not a study"),
    ],
)
def test_studies_that_cannot_be(texts: list[str], words: str) -> None:
    found, problems = parse_studies(texts)
    assert found is None
    assert any(words in str(one) for one in problems)


@pytest.mark.parametrize(
    ("text", "margin"),
    [("5%", Margin(0.05, True)), ("5 %", Margin(0.05, True)), ("5 kN", Margin(5.0)),
     ("2,5", Margin(2.5)), ("0", None), ("-3", None), ("100%", None), ("much", None), ("", None)],
)  # fmt: skip
def test_margins(text: str, margin: Margin | None) -> None:
    found, problems = parse_margin(text)
    assert found == margin
    assert (len(problems) == 1) == (margin is None)


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("ratio 0.97", (0.97, 0.97)), ("ratio 0,97", (0.97, 0.97)), ("2 times", (2, 2)),
        ("Twice the penetration", (2, 2)), ("3x", (3, 3)), ("half", (0.5, 0.5)),
        ("difference -5", (-5, -5)), ("difference \u22125 kN", (-5, -5)), ("+3 worse", (-3, -3)),
        ("no difference", (0, 0)), ("equal", (0, 0)), ("alike.", (0, 0)),
        ("3 % worse", (0.97, 0.97)), ("3 kN better", (3, 3)), ("difference 4 %", (1.04, 1.04)),
        ("at least 5 % worse", (-inf, 0.95)), ("loses at least 5 %", (-inf, 0.95)),
        ("more than 5 kN weaker", (-inf, -5)), ("at most 5 % worse", (0.95, inf)),
        ("no more than 5 % weaker", (0.95, inf)), ("at least 5 % better", (1.05, inf)),
        ("at most 5 better", (-inf, 5)), ("worse", (-inf, 0)), ("stronger", (0, inf)),
        ("no worse", (0, inf)),
    ],
)  # fmt: skip
def test_claims(text: str, span: tuple[float, float]) -> None:
    claim, problems = parse_claim(text)
    assert problems == []
    assert claim is not None
    assert claim.text == text.strip()
    assert claim.span("higher") == pytest.approx(span)


def test_worse_is_more_where_lower_is_better() -> None:
    claim, _ = parse_claim("at least 5 % worse")
    assert claim == Claim("at least 5 % worse", "at-least", 0.05, True, "worse")
    assert claim.span("lower") == pytest.approx((1.05, inf))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("ratoi 0.97", "For 'ratoi' did you mean 'ratio'?"),
        ("at leest 5 % worse", "For 'leest' did you mean 'least'?"),
        ("5 % worser", "did you mean 'worse'?"),
        ("", "the claim is empty"),
        ("ratio 0", "a ratio of 0 cannot be"),
        ("at most -5 % worse", "says a direction twice"),
        ("100 % worse", "nothing loses 100 % or more"),
        ("it is the gas", "is not a claim I can hold against numbers"),
        ("ratio 1e5", "is not a claim"),
    ],
)
def test_claims_that_cannot_be_read(text: str, words: str) -> None:
    claim, problems = parse_claim(text)
    assert claim is None
    assert len(problems) == 1
    assert words in str(problems[0])
    assert str(problems[0]).startswith("review --claim: ")


@given(st.text(max_size=40))
def test_no_text_is_more_than_any_reader_can_bear(text: str) -> None:
    for found, problems in (
        parse_counts(text), parse_summary(text), parse_studies([text, text]),
        parse_margin(text), parse_claim(text),
    ):  # fmt: skip
        assert (found is None) == any(not one.warning for one in problems)
