from __future__ import annotations

import itertools

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from weldtrial.analysis.gauge_study import cost, crossed, nested
from weldtrial.analysis.mean_squares import MeanSquare, component
from weldtrial.shared.problems import NotEstimable


def long(table):
    """Readings of an array readers × coupons × repeats, and their labels."""
    cells = list(itertools.product(*(range(n) for n in table.shape)))
    return (
        np.array([table[cell] for cell in cells]),
        [f"coupon {cell[1]}" for cell in cells],
        [f"reader {cell[0]}" for cell in cells],
    )


def invented(seed=3, shape=(3, 6, 2), coupon=3.0, reader=1.0, each=0.5, again=1.0):
    rng = np.random.default_rng(seed)
    o, c, r = shape
    return (
        coupon * rng.normal(size=(1, c, 1))
        + reader * rng.normal(size=(o, 1, 1))
        + each * rng.normal(size=(o, c, 1))
        + again * rng.normal(size=(o, c, r))
    )


def test_sums_of_squares_are_those_of_least_squares():
    """statsmodels' residual sums of squares of the models left out one by one."""
    table = invented()
    values, coupon, reader = long(table)
    study = crossed(values, coupon, reader, pool=False)
    eye_c = np.eye(6)[[int(c[-1]) for c in coupon]]
    eye_r = np.eye(3)[[int(r[-1]) for r in reader]]
    cells = (eye_c[:, :, None] * eye_r[:, None, :]).reshape(len(values), -1)
    ssr = [
        sm.OLS(values, x).fit().ssr
        for x in (eye_r, eye_c, np.column_stack([eye_c, eye_r[:, 1:]]), cells)
    ]
    found = [line.squares for line in study.squares]
    assert found == pytest.approx([ssr[0] - ssr[2], ssr[1] - ssr[2], ssr[2] - ssr[3], ssr[3]])


def test_parts_add_up_and_pooling_is_a_choice():
    values, coupon, reader = long(invented(each=1.5))
    apart = crossed(values, coupon, reader, pool=False)
    assert apart.gauge.variance == pytest.approx(
        apart.repeatability.variance + apart.reproducibility.variance
    )
    assert apart.total.variance == pytest.approx(apart.gauge.variance + apart.coupon.variance)
    assert sum(apart.percent_of_variance(p) for p in apart.parts) == pytest.approx(100)
    pooled = crossed(values, coupon, reader, pool=True)
    assert pooled.interaction is None
    assert pooled.pooled
    ruled = crossed(values, coupon, reader)
    assert ruled.pooled == (apart.interaction_p > 0.25)
    assert pooled.coupon.low < pooled.coupon.raw < pooled.coupon.high


def test_order_of_the_sheet_changes_nothing():
    values, coupon, reader = long(invented())
    order = np.random.default_rng(1).permutation(len(values))
    mixed = crossed(values[order], [coupon[i] for i in order], [reader[i] for i in order])
    assert mixed.gauge.raw == pytest.approx(crossed(values, coupon, reader).gauge.raw)


def test_repeatability_interval_is_chi_squared():
    values, coupon, reader = long(invented())
    study = crossed(values, coupon, reader, pool=False)
    line = study.squares[3]
    low, high = (line.squares / stats.chi2.ppf(q, line.df) for q in (0.975, 0.025))
    assert (study.repeatability.low, study.repeatability.high) == pytest.approx((low, high))


def test_interval_of_a_difference_ends_at_zero_where_the_f_test_does():
    """Ting et al. (1990): the lower limit is 0 exactly where F is at its upper 2.5 % point."""
    f = stats.f.ppf(0.975, 9, 18)
    at = component("x", [0.5, -0.5], [MeanSquare("a", 9 * f, 9), MeanSquare("b", 18.0, 18)])
    assert at.low == pytest.approx(0.0, abs=1e-9)
    above = component("x", [0.5, -0.5], [MeanSquare("a", 10 * f, 9), MeanSquare("b", 18.0, 18)])
    assert above.low > 0.01


def test_a_negative_component_is_shown_raw_and_counts_as_zero():
    table = invented(seed=11, shape=(3, 8, 3), reader=0.0, each=0.0)
    values, coupon, reader = long(table)
    study = crossed(values, coupon, reader, pool=False)
    assert min(part.raw for part in study.parts) < 0
    assert all(part.variance >= 0 for part in study.parts)
    assert study.gauge.variance >= study.repeatability.variance


def test_nested_is_one_way_within_one_way():
    """Readers who each broke coupons of their own; mean squares by hand."""
    table = np.array([[[10.0, 12], [14, 15]], [[20, 21], [18, 22]]])
    values, coupon, reader = long(table)
    study = nested(values, [reader, coupon], ["reader", "coupon"])
    by_coupon, by_reader = table.mean(axis=2), table.mean(axis=(1, 2))
    assert study.squares[0].squares == pytest.approx(4 * ((by_reader - 16.5) ** 2).sum())
    assert study.squares[1].squares == pytest.approx(
        2 * ((by_coupon - by_reader[:, None]) ** 2).sum()
    )
    assert [line.df for line in study.squares] == [1, 2, 4]
    assert study.coupon.raw == pytest.approx((study.squares[1].value - study.squares[2].value) / 2)
    assert study.reader.raw == pytest.approx((study.squares[0].value - study.squares[1].value) / 4)
    assert study.reproducibility.variance == study.reader.variance


def test_repeats_within_coupons_are_restricted_likelihood_where_balanced():
    """statsmodels' MixedLM; in balanced studies with positive components the two coincide."""
    table = invented(seed=5, shape=(1, 8, 3))[0]
    coupon = np.repeat([f"coupon {k}" for k in range(8)], 3)
    study = nested(table.ravel(), [coupon.tolist()], ["coupon"])
    fit = sm.MixedLM(table.ravel(), np.ones(24), groups=coupon).fit(reml=True)
    assert study.repeatability.raw == pytest.approx(fit.scale, rel=1e-4)
    assert study.coupon.raw == pytest.approx(float(fit.cov_re[0, 0]), rel=1e-3)
    assert study.reproducibility is None
    assert study.gauge.variance == study.repeatability.variance


def test_what_the_gauge_costs():
    values, coupon, reader = long(invented(each=1.5))
    study = crossed(values, coupon, reader, pool=False)
    once, thrice = cost(study, coupon_sd=2.0), cost(study, readings=3, coupon_sd=2.0)
    spread = study.repeatability.variance + study.interaction.variance
    assert once.sd_reading == pytest.approx(spread**0.5)
    assert once.inflation == pytest.approx((1 + spread / 4) ** 0.5)
    assert once.coupons == pytest.approx(once.inflation**2)
    assert thrice.inflation < once.inflation
    several = cost(study, coupon_sd=2.0, one_reader=False)
    assert several.sd_value**2 == pytest.approx(4 + spread + study.reader.variance)
    assert cost(study).sd_value > study.coupon.sd
    with pytest.raises(ValueError, match="at least once"):
        cost(study, readings=0)


def test_the_average_of_readings_scatters_as_said():
    """10 000 invented coupons read three times by one reader."""
    rng = np.random.default_rng(21)
    values, coupon, reader = long(invented(seed=7, each=1.5))
    study = crossed(values, coupon, reader, pool=False)
    said = cost(study, readings=3, coupon_sd=2.0).sd_value
    own = 2.0 * rng.normal(size=10_000) + study.interaction.sd * rng.normal(size=10_000)
    read = own + study.repeatability.sd * rng.normal(size=(3, 10_000)).mean(axis=0)
    assert read.std() == pytest.approx(said, abs=3 * said / 20_000**0.5)


def test_what_is_missing_is_named():
    values, coupon, reader = long(invented())
    with pytest.raises(NotEstimable, match=r"coupon 5 by reader 2 \(1 of 2\)"):
        crossed(values[:-1], coupon[:-1], reader[:-1])
    with pytest.raises(NotEstimable, match="read once by each reader"):
        crossed(values[::2], coupon[::2], reader[::2])
    with pytest.raises(NotEstimable, match="one reader only"):
        crossed(values[:12], coupon[:12], reader[:12])
    with pytest.raises(NotEstimable, match="two coupons"):
        crossed(values[:2], coupon[:2], reader[:2])
    with pytest.raises(NotEstimable, match="steps are wider"):
        crossed(np.round(values / 100), coupon, reader)
    with pytest.raises(NotEstimable, match="1 to 2 of 'reading'"):
        nested(values[:11], [coupon[:11]], ["coupon"])
    with pytest.raises(NotEstimable, match="one 'reading' at a time"):
        nested(values[:12:2], [coupon[:12:2]], ["coupon"])
    study = nested(values[:12], [["standard"] * 6 + ["other"] * 6], ["day"], coupon=None)
    with pytest.raises(NotEstimable, match="no scatter from coupon"):
        cost(study)


@pytest.mark.parametrize("reading", [1.2, 0.1, 84.3])
def test_equal_readings_leave_no_scatter_of_binary_arithmetic(reading: float) -> None:
    coupon = [f"C{place // 4}" for place in range(40)]
    reader = [f"reader {place // 2 % 2}" for place in range(40)]
    with pytest.raises(NotEstimable, match="every repeat reading is the same"):
        crossed([reading] * 40, coupon, reader)
