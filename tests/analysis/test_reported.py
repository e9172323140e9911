from __future__ import annotations

from math import log, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

from weldtrial.analysis.clustered import by_setups
from weldtrial.analysis.evidence import Evidence, Side
from weldtrial.analysis.leave_out import left_out, with_sides
from weldtrial.analysis.printed_p import recompute
from weldtrial.analysis.reported import (
    Moments,
    as_ratio,
    from_p,
    log_ratio,
    lone_coupon,
    moments,
    pooled,
    welch,
)
from weldtrial.shared.problems import NotEstimable

NEW, OLD = Moments(4, 68.2, 4.4), Moments(4, 70.3, 3.8)
sides = st.builds(
    Moments, st.integers(2, 40), st.floats(50, 100), st.floats(0.5, 10, allow_nan=False)
)


def test_the_leaflet() -> None:
    """By logarithms and Welch: 0.970, 0.875 to 1.076, p 0.50, nothing below about 10 kN."""
    gap, ratio = welch(NEW, OLD), log_ratio(NEW, OLD)
    assert ratio is not None
    middle, ends = as_ratio(ratio)
    assert [round(one, 3) for one in (middle, ends.low95, ends.high95)] == [0.970, 0.875, 1.076]
    assert round(gap.p, 2) == 0.50
    assert gap.detectable == pytest.approx(9.83, abs=0.005)


@given(sides, sides)
def test_welch_and_student_as_scipy_has_them(new: Moments, old: Moments) -> None:
    for gap, equal in ((welch(new, old), False), (pooled(new, old), True)):
        other = stats.ttest_ind_from_stats(
            new.mean, new.sd, new.n, old.mean, old.sd, old.n, equal_var=equal
        )
        assert gap.p == pytest.approx(other.pvalue, rel=1e-9, abs=1e-12)
        assert gap.estimate / gap.se == pytest.approx(other.statistic, rel=1e-9, abs=1e-12)


def test_interval_as_statsmodels_has_it() -> None:
    rng = np.random.default_rng(3)
    one, two = rng.normal(70, 4, 9), rng.normal(68, 6, 5)
    both = CompareMeans(DescrStatsW(one), DescrStatsW(two))
    gap = welch(*(Moments(len(v), v.mean(), v.std(ddof=1)) for v in (one, two)))
    assert gap.ends() == pytest.approx(both.tconfint_diff(usevar="unequal"))


@given(sides, sides)
def test_ratio_turned_round_is_its_inverse(new: Moments, old: Moments) -> None:
    one, two = log_ratio(new, old), log_ratio(old, new)
    assert (one is None) == (two is None)
    if one is not None and two is not None:
        assert as_ratio(one)[0] * as_ratio(two)[0] == pytest.approx(1)
        assert as_ratio(one)[1].low95 * as_ratio(two)[1].high95 == pytest.approx(1)


@pytest.mark.parametrize("old", [Moments(4, -1, 1), Moments(4, 0, 1), Moments(4, 1, 0.41)])
def test_no_ratio_of_a_mean_near_zero(old: Moments) -> None:
    assert log_ratio(NEW, old) is None


def test_ratio_covers_what_it_promises() -> None:
    """4 000 pairs of 4 coupons, scatter 6 %: 95 in 100 within three Monte-Carlo errors (1.0)."""
    rng, truth = np.random.default_rng(11), 0.9
    new, old = rng.normal(truth * 70, 4.2, (4000, 4)), rng.normal(70, 4.2, (4000, 4))
    inside = 0
    for one, two in zip(new, old, strict=True):
        gap = log_ratio(*(Moments(4, v.mean(), v.std(ddof=1)) for v in (one, two)))
        assert gap is not None
        low, high = gap.ends()
        inside += low <= log(truth) <= high
    # Welch is a little timid at 4 + 4: it may cover more, never less.
    assert 0.95 - 3 * sqrt(0.95 * 0.05 / 4000) < inside / 4000 < 0.975


def test_spread_from_its_error_and_from_its_interval() -> None:
    values = np.random.default_rng(5).normal(70, 4, 7)
    sd, mean = values.std(ddof=1), values.mean()
    low, high = stats.t.interval(0.95, 6, mean, sd / sqrt(7))
    for side in (
        Side("a", 7, mean, sd),
        Side("a", 7, mean, se=sd / sqrt(7)),
        Side("a", 7, mean, low=low, high=high),
    ):
        found = moments(side)
        assert found is not None
        assert found.sd == pytest.approx(sd)
    assert moments(Side("a", 1, mean, 2.0)) is None
    assert moments(Side("a", 7, mean)) is None


def test_nothing_scatters() -> None:
    with pytest.raises(NotEstimable):
        welch(Moments(3, 1, 0), Moments(3, 2, 0))
    assert welch(Moments(3, 1, 0), Moments(3, 2, 1)).df == pytest.approx(2)


@pytest.mark.parametrize(
    ("p", "n", "m"), [(0.03, 4, 4), (0.5, 3, 12), (0.001, 20, 9), (0.03, 1, 2), (1.0, 4, 4)]
)
def test_a_p_alone(p: float, n: int, m: int) -> None:
    found = from_p(p, n, m)
    again = pooled(Moments(n, found.size, 1.0), Moments(m, 0.0, 1.0))
    assert again.p == pytest.approx(p)
    scale = sqrt(1 / n + 1 / m)
    for end, tail in ((found.low, 0.975), (found.high, 0.025)):
        assert stats.nct.cdf(found.t, n + m - 2, end / scale) == pytest.approx(tail, abs=1e-9)


def test_standardised_interval_covers() -> None:
    """600 trials, true gap of one standard deviation: 95 in 100 within three errors (2.7)."""
    rng, inside = np.random.default_rng(8), 0
    for _ in range(600):
        one, two = rng.normal(1, 1, 5), rng.normal(0, 1, 8)
        test = stats.ttest_ind(one, two)
        found = from_p(test.pvalue, 5, 8)
        ends = (found.low, found.high)
        if test.statistic < 0:
            ends = (-found.high, -found.low)
        inside += ends[0] <= 1 <= ends[1]
    assert abs(inside / 600 - 0.95) < 3 * sqrt(0.95 * 0.05 / 600)


def test_lone_coupon_in_the_range_of_the_next() -> None:
    rng, inside = np.random.default_rng(4), 0
    for _ in range(4000):
        old = rng.normal(70, 4, 4)
        found = lone_coupon(rng.normal(70, 4), Moments(4, old.mean(), old.std(ddof=1)))
        inside += found.inside
    assert abs(inside / 4000 - 0.95) < 3 * sqrt(0.95 * 0.05 / 4000)


# ------------------------------------------------------------------------------ set-ups


def test_set_ups_of_one_coupon_change_only_the_degrees_of_freedom() -> None:
    found = by_setups(NEW, OLD, 4, 4, 0.5)
    assert found.gap is not None
    assert found.gap.se == pytest.approx(welch(NEW, OLD).se)
    assert (found.gap.df, found.worth_new) == (6, 4)


def test_one_set_up_each_tells_nothing() -> None:
    found = by_setups(NEW, OLD, 1, 4, 0.2)
    assert found.gap is None
    assert found.worth_new == pytest.approx(4 / 1.6)


def test_raised_variance_is_right_on_average() -> None:
    """Set-up scatter as large as coupon scatter: the variance of a mean, from 20 000 trials."""
    rng, k, m = np.random.default_rng(9), 3, 4
    y = rng.normal(0, 1, (20_000, k, 1)) + rng.normal(0, 1, (20_000, k, m))
    flat = y.reshape(20_000, k * m)
    sds, means = flat.std(axis=1, ddof=1), flat.mean(axis=1)
    claimed = np.mean([by_setups(Moments(12, 0, s), Moments(12, 0, s), k, k, 0.5).gap.se ** 2 / 2
                       for s in sds[:4000]])  # fmt: skip
    assert claimed == pytest.approx(means.var(), rel=0.05)


# ------------------------------------------------------------------------------ printed p


def sides_of(sd_new: float, sd_old: float) -> tuple[Side, Side]:
    return (
        Side("new", 4, 68.2, sd_new, decimals=1, sd_decimals=1),
        Side("old", 4, 70.3, sd_old, decimals=1, sd_decimals=1),
    )


@pytest.mark.parametrize(
    ("p", "how"), [(0.50, "welch"), (0.25, "one-sided"), (0.72, "standard-errors"), (0.03, "none")]
)
def test_a_printed_p_comes_out_again(p: float, how: str) -> None:
    found = recompute(*sides_of(4.4, 3.8), p, 2)
    assert found is not None
    assert found.how == how
    assert found.low < found.p < found.high


@settings(max_examples=50)
@given(st.lists(st.floats(50, 90), min_size=3, max_size=6), st.data())
def test_an_honest_p_is_never_questioned(one: list[float], data: st.DataObject) -> None:
    two = data.draw(st.lists(st.floats(50, 90), min_size=3, max_size=6))
    if np.std(one) < 0.2 or np.std(two) < 0.2:
        return
    p = stats.ttest_ind(one, two, equal_var=False).pvalue
    made = [
        Side(name, len(v), round(float(np.mean(v)), 1), round(float(np.std(v, ddof=1)), 1),
             decimals=1, sd_decimals=1)
        for name, v in (("new", one), ("old", two))
    ]  # fmt: skip
    found = recompute(*made, round(float(p), 2), 2)
    assert found is None or found.how != "none"


def test_leaving_each_coupon_out() -> None:
    new, old = (60.0, 61.0, 62.0, 80.0), (70.0, 71.0, 72.0, 73.0)
    blank = Evidence("raw", Side("new", 0), Side("old", 0), values_new=new, values_old=old)
    evidence = with_sides(blank)
    assert (evidence.new.n, evidence.new.mean) == (4, 65.75)
    found = left_out(evidence)
    assert [one.value for one in found] == [*new, *old]
    assert [one.value for one in found if one.turned] == [80.0]
    without = stats.ttest_ind(new[:3], old, equal_var=False).pvalue
    assert found[3].gap.p == pytest.approx(without)
    assert left_out(Evidence("raw", Side("a", 0), Side("b", 0), values_new=(1, 1, 1),
                             values_old=(2, 2, 2))) == ()  # fmt: skip
