from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import optimize, special

from weldtrial.analysis.firth import fit_firth, penalised
from weldtrial.analysis.profiles import recedes
from weldtrial.shared.problems import NotEstimable


def two_gases(passed, of, passed_reference, of_reference):
    x = np.column_stack([np.ones(of + of_reference), np.repeat([1.0, 0.0], [of, of_reference])])
    y = np.concatenate([np.arange(of) < passed, np.arange(of_reference) < passed_reference])
    return x, y.astype(float)


def test_many_coupons_agree_with_plain_logistic_regression():
    """statsmodels' Logit; the penalty is worth one coupon in two thousand."""
    rng = np.random.default_rng(5)
    x = np.column_stack([np.ones(2000), rng.normal(size=(2000, 2))])
    y = (rng.random(2000) < special.expit(x @ [0.3, -0.5, 0.8])).astype(float)
    fit, plain = fit_firth(x, y), sm.Logit(y, x).fit(disp=0)
    assert fit.coefficients == pytest.approx(plain.params, abs=0.004)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(plain.bse, rel=0.002)
    assert not fit.separated
    null = sm.Logit(y, x[:, [0, 2]]).fit(disp=0)
    assert fit.profile([0, 1, 0]).loss(0.0) == pytest.approx(2 * (plain.llf - null.llf), rel=0.01)


def test_slope_is_that_of_the_height():
    rng = np.random.default_rng(2)
    x = np.column_stack([np.ones(12), rng.normal(size=(12, 2))])
    y = (rng.random(12) < 0.5).astype(float)
    for b in rng.normal(size=(3, 3)):
        slope = optimize.approx_fprime(b, lambda at: penalised(x, y, at)[0], 1e-7)
        assert penalised(x, y, b)[1] == pytest.approx(slope, abs=1e-5)


@pytest.mark.parametrize(("passed", "reference"), [(5, 8), (0, 8), (7, 2), (1, 0), (4, 4)])
def test_two_gases_add_a_half_to_every_cell(passed, reference):
    """The closed form of a saturated table (Firth 1993): log odds of the cells plus a half."""
    fit = fit_firth(*two_gases(passed, 8, reference, 8))
    half = np.log((np.array([passed, reference]) + 0.5) / (8.5 - np.array([passed, reference])))
    assert fit.profile([0, 1]).estimate == pytest.approx(half[0] - half[1], abs=2e-7)
    assert fit.share([1, 1]) == pytest.approx((passed + 0.5) / 9, abs=1e-7)


def test_the_profile_is_the_largest_height_with_the_contrast_held():
    """Against a general maximiser of the same penalised likelihood, the full model's penalty."""
    x, y = two_gases(8, 8, 3, 8)
    fit = fit_firth(x, y)
    profile = fit.profile([0, 1])
    for value in (0.0, 1.0, 6.0):
        held = optimize.minimize_scalar(
            lambda a, value=value: -penalised(x, y, np.array([a, value]))[0], bounds=(-9, 9),
            options={"xatol": 1e-10}, method="bounded",
        )  # fmt: skip
        assert profile.loss(value) == pytest.approx(2 * (fit.height + held.fun), abs=1e-8)
    low, high = profile.interval()
    for end in (low, high):
        assert profile.loss(end) == pytest.approx(3.841458820694124, abs=1e-6)
    assert 0 < low < profile.estimate < high < 12
    assert fit.separated
    ratio = profile.odds_ratio()
    assert ratio == pytest.approx((math.exp(profile.estimate), math.exp(low), math.exp(high)))


def test_contrasts_of_several_factors():
    """A contrast is one number however the columns are coded."""
    rng = np.random.default_rng(8)
    gas, travel = np.repeat([0, 1, 2], 8), np.tile([-1.0, 1.0], 12)
    y = (rng.random(24) < special.expit(0.5 * travel + (gas == 2))).astype(float)
    dummy = np.column_stack([np.ones(24), gas == 1, gas == 2, travel]).astype(float)
    zero = np.vstack([np.eye(2), [-1, -1]])[gas]
    sums = np.column_stack([np.ones(24), zero, travel])
    one = fit_firth(dummy, y).profile([0, -1, 1, 0])
    two = fit_firth(sums, y).profile([0, -1, -2, 0])
    assert one.estimate == pytest.approx(two.estimate, abs=1e-6)
    assert one.p == pytest.approx(two.p, abs=1e-8)
    assert one.interval(0.9) == pytest.approx(two.interval(0.9), abs=1e-5)
    both = fit_firth(dummy, y).test([[0, 1, 0, 0], [0, 0, 1, 0]])
    again = fit_firth(sums, y).test([[0, 1, 0, 0], [0, 0, 1, 0]])
    assert (both.df, both.p) == (2, pytest.approx(again.p, abs=1e-8))
    single = fit_firth(dummy, y).test([0, -1, 1, 0])
    assert single.p == pytest.approx(one.p, abs=1e-10)


def test_everything_passed_is_refused_in_words():
    x, y = two_gases(8, 8, 8, 8)
    with pytest.raises(NotEstimable, match="all 16 coupons passed: nothing tells"):
        fit_firth(x, y)
    with pytest.raises(NotEstimable, match="all 16 coupons failed"):
        fit_firth(x, 1 - y)
    with pytest.raises(ValueError, match="16 zeros and ones"):
        fit_firth(x, 2 * y)
    with pytest.raises(NotEstimable, match="can be made from"):
        fit_firth(np.column_stack([x, x[:, 1]]), two_gases(8, 8, 3, 8)[1])


def test_few_coupons_are_known_to_be_few():
    assert not fit_firth(*two_gases(4, 4, 1, 4)).enough
    assert fit_firth(*two_gases(4, 8, 1, 8)).enough


def test_separation_is_seen_whatever_the_units():
    assert recedes(np.array([[1.0, 0.0], [1.0, 2000.0]]))
    assert not recedes(np.array([[1.0, 0.001], [-1.0, -0.001]]))
    x = np.array([-2.0, -1.0, 1.0, 2.0])
    assert fit_firth(np.column_stack([np.ones(4), 1e4 * x]), x > 0).separated
