from __future__ import annotations

from math import inf

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

from weldtrial.analysis.evidence import Claim, Study
from weldtrial.analysis.exaggeration import exaggeration
from weldtrial.analysis.judge import Bounds
from weldtrial.analysis.pooled_studies import dersimonian_laird, paule_mandel, pool
from weldtrial.analysis.power import power_difference
from weldtrial.analysis.weigh_claim import Quantity, hidden_bias, numbers_code, weigh
from weldtrial.shared.claim_text import parse_claim
from weldtrial.shared.responses import Better, Margin


def found(low: float, high: float, inner: float = 0.5) -> Quantity:
    """An interval whose 90 % ends lie `inner` inside the 95 % ones."""
    return Quantity((low + high) / 2, Bounds(low, high, low + inner, high - inner))


def said(text: str) -> Claim:
    claim, problems = parse_claim(text)
    assert claim is not None, problems
    return claim


def verdict(
    text: str, difference: Quantity, margin: Margin | None = None, better: Better = "higher"
) -> str:
    ends = difference.bounds
    ratio = Quantity(
        1 + difference.estimate / 100,
        Bounds(*(1 + one / 100 for one in (ends.low95, ends.high95, ends.low90, ends.high90))),
    )
    return weigh(said(text), better, difference, ratio, margin, 100.0).verdict


@pytest.mark.parametrize(
    ("text", "low", "high", "margin", "expected"),
    [
        ("difference -5", -8, -3, None, "not-settled"),
        ("difference -5", -4, 3, None, "contradicted"),
        ("difference -5", -6, -4, Margin(2), "supported"),
        ("ratio 0.95", -8, -3, None, "not-settled"),
        ("ratio 0.95", -4.9, 3, None, "contradicted"),
        ("ratio 0.95", -6, -4, Margin(0.02, True), "supported"),
        ("twice", -6, -4, None, "contradicted"),
        ("5 % worse", -6, -4, Margin(0.02, True), "supported"),
        ("no difference", -3, 3, None, "not-settled"),
        ("no difference", -3, 3, Margin(5), "supported"),
        ("no difference", 1, 3, Margin(5), "supported"),  # A gap is there, within the margin.
        ("no difference", 1, 3, None, "contradicted"),
        ("no difference", -9, 3, Margin(5), "not-settled"),
        ("no difference", -9, -3, Margin(0.05, True), "contradicted"),
        ("at least 5 % worse", -9, -5.1, None, "supported"),
        ("at least 5 % worse", -9, -4.9, None, "not-settled"),
        ("at least 5 % worse", -5.4, 1, None, "contradicted"),  # The one-sided limit is -4.9.
        ("at least 5 % worse", -5.6, 1, None, "not-settled"),
        ("at most 5 % worse", -5.4, 1, None, "supported"),
        ("at most 5 % worse", -5.6, 1, None, "not-settled"),
        ("at most 5 % worse", -9, -5.1, None, "contradicted"),
        ("no worse", -5.4, 1, Margin(5), "supported"),
        ("no worse", -5.4, 1, None, "not-settled"),
        ("worse", -9, -0.1, None, "supported"),
        ("worse", -9, 0.1, None, "not-settled"),
        ("better", -9, 0.4, None, "contradicted"),
        ("at least 5 better", 5.1, 9, None, "supported"),
    ],
)
def test_rules_of_a_claim(
    text: str, low: float, high: float, margin: Margin | None, expected: str
) -> None:
    assert verdict(text, found(low, high), margin) == expected


ends = st.lists(st.floats(-20, 20), min_size=2, max_size=2, unique=True).map(sorted)
texts = st.sampled_from(["at least 5 % worse", "at most 5 % worse", "worse", "5 % worse",
                         "no difference", "at least 3 better", "no worse"])  # fmt: skip


@given(texts, ends, st.sampled_from([None, Margin(4.0)]))
def test_lower_is_better_mirrors(text: str, two: list[float], margin: Margin | None) -> None:
    low, high = two
    one = found(low, high, (high - low) / 12)
    other = found(-high, -low, (high - low) / 12)
    assert verdict(text, one, margin) == verdict(text, other, margin, "lower")


@given(ends)
def test_opposite_claims_are_never_both_supported(two: list[float]) -> None:
    one = found(*two, (two[1] - two[0]) / 12)
    pairs = (("at least 5 % worse", "at most 5 % worse"), ("worse", "better"))
    for left, right in pairs:
        both = (verdict(left, one), verdict(right, one))
        assert both != ("supported", "supported")
        if both[0] == "supported":
            assert both[1] == "contradicted"


def test_claims_that_lack_something() -> None:
    gap = found(-3, 3)
    one = weigh(said("ratio 0.97"), "higher", gap, None, None, None)
    assert (one.verdict, one.needs) == ("not-settled", "ratio")
    assert weigh(said("no worse"), "higher", gap, None, None, None).needs == "margin"
    assert weigh(said("no difference"), "higher", gap, None, None, None).needs == "margin"


@pytest.mark.parametrize(
    ("low", "high", "margin", "code", "bias"),
    [
        (-9, -6, 5, "worse_beyond_margin", 1.0),
        (-4, -1, 5, "worse_within_margin", 1.0),
        (-9, -1, 5, "worse_margin_unsettled", 1.0),
        (1, 9, None, "difference_shown", 1.0),
        (-3, 2, 5, "equivalent", 2.5),
        (-3, 9, 5, "not_worse", 2.5),
        (-9, 9, 5, "not_settled", None),
    ],
)
def test_bias_that_overturns(
    low: float, high: float, margin: float | None, code: str, bias: float | None
) -> None:
    gap = found(low, high)
    near = None if margin is None else Margin(margin)
    assert numbers_code(gap, None, near, "higher", "equal-enough", None) == code
    assert hidden_bias(gap, code, margin, "higher") == bias  # type: ignore[arg-type]
    mirrored = found(-high, -low)
    assert numbers_code(mirrored, None, near, "lower", "equal-enough", None) == code
    assert hidden_bias(mirrored, code, margin, "lower") == bias  # type: ignore[arg-type]


def test_bias_moved_a_little_further_changes_the_verdict() -> None:
    for low, high in ((-9.0, -6.0), (-3.0, 2.0), (-4.0, -1.0), (-5.2, -1.0)):
        gap = found(low, high)
        code = numbers_code(gap, None, Margin(5), "higher", "equal-enough", None)
        bias = hidden_bias(gap, code, 5.0, "higher")
        assert bias is not None
        for by, same in ((0.99 * bias, True), (1.01 * bias, False)):
            moved = [
                numbers_code(
                    Quantity(gap.estimate + sign * by, gap.bounds.shifted(sign * by)),
                    None, Margin(5), "higher", "equal-enough", None,
                )
                for sign in (-1, 1)
            ]  # fmt: skip
            # Equal within the margin is not overturned by a gap that shows inside it.
            kept = {code, "worse_within_margin"} if code == "equivalent" else {code}
            assert all(one in kept for one in moved) == same


# ------------------------------------------------------------------------------ pooling


@settings(max_examples=40)
@given(st.lists(st.tuples(st.floats(-5, 5), st.floats(0.2, 3)), min_size=2, max_size=8))
def test_pooling_as_statsmodels_has_it(pairs: list[tuple[float, float]]) -> None:
    y, v = np.array([one for one, _ in pairs]), np.array([se**2 for _, se in pairs])
    studies = [Study(str(place), one, se) for place, (one, se) in enumerate(pairs)]
    mine = pool(studies, "dersimonian-laird")
    with np.errstate(all="ignore"):  # It lets the scatter between studies fall below none.
        moments = combine_effects(y, v, method_re="dl", use_t=True)
    assert dersimonian_laird(y, v) == pytest.approx(max(0.0, moments.tau2), abs=1e-9)
    assert mine.common == pytest.approx(moments.mean_effect_fe, abs=1e-9)
    assert mine.q == pytest.approx(moments.q, abs=1e-9)
    if moments.tau2 > 1e-6:
        assert mine.estimate == pytest.approx(moments.mean_effect_re, abs=1e-9)
        assert mine.scale == pytest.approx(np.sqrt(moments.scale_hksj_re), abs=1e-6)
        if mine.scale > 1:
            assert mine.se == pytest.approx(moments.sd_eff_w_re_hksj, abs=1e-6)


def test_paule_mandel_as_statsmodels_has_it() -> None:
    rng = np.random.default_rng(12)
    for k in (3, 6, 12):
        v = rng.uniform(0.1, 1, k)
        y = rng.normal(0, np.sqrt(v + 1.5))
        other = combine_effects(y, v, method_re="iterated", use_t=True)
        mine = paule_mandel(y, v)
        # Its iteration stops at about five digits; the equation that it solves is met here.
        assert mine == pytest.approx(other.tau2, rel=2e-5)
        w = 1 / (v + mine)
        assert (w * (y - np.average(y, weights=w)) ** 2).sum() == pytest.approx(k - 1, rel=1e-9)


def test_studies_that_agree_do_not_shrink_the_interval() -> None:
    studies = [Study(str(k), -2.0, 1.0) for k in range(3)]
    got = pool(studies)
    assert (got.tau, got.scale, got.i_squared) == (0, 0, 0)
    assert got.se == got.se_plain == pytest.approx(3**-0.5)
    with pytest.raises(ValueError, match="two or more"):
        pool(studies[:1])


def test_pooled_interval_covers() -> None:
    """1 500 sets of 5 unequal studies, true scatter 1: at least 95 in 100, less three errors."""
    rng, inside = np.random.default_rng(13), 0
    for _ in range(1500):
        se = rng.uniform(0.3, 1.5, 5)
        y = rng.normal(-1, np.hypot(1.0, se))
        got = pool([Study("s", a, b) for a, b in zip(y, se, strict=True)])
        inside += got.bounds.low95 <= -1 <= got.bounds.high95
    assert 0.95 - 3 * (0.95 * 0.05 / 1500) ** 0.5 <= inside / 1500 < 0.99


# ------------------------------------------------------------------------------ exaggeration


@pytest.mark.parametrize("df", [3.0, 5.9, 30.0, inf])
def test_exaggeration_by_drawing(df: float) -> None:
    rng, many = np.random.default_rng(14), 1_000_000
    t = rng.standard_normal(many) if df == inf else rng.standard_t(df, many)
    draws, got = 3.5 + 2.9 * t, exaggeration(3.5, 2.9, df)
    cut = float(stats.norm.ppf(0.975) if df == inf else stats.t.ppf(0.975, df))
    out = draws[np.abs(draws) > cut * 2.9]
    assert got.power == pytest.approx(len(out) / many, abs=3 * 0.5 / many**0.5)
    assert got.wrong_sign == pytest.approx(np.mean(out < 0), abs=3 * 0.5 / len(out) ** 0.5)
    error = 3 * np.abs(out).std() / 3.5 / len(out) ** 0.5
    assert got.exaggeration == pytest.approx(np.abs(out).mean() / 3.5, abs=error)


def test_large_truths_are_not_exaggerated() -> None:
    got = exaggeration(100.0, 1.0, 20)
    assert got.exaggeration == pytest.approx(1.0)
    assert got.power == pytest.approx(power_difference(100.0, 1.0, 20))
    for bad in ((0.0, 1.0, 5.0), (1.0, 0.0, 5.0), (1.0, 1.0, 1.0)):
        with pytest.raises(ValueError, match="no exaggeration"):
            exaggeration(*bad)
