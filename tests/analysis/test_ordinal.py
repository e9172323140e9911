from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, special
from statsmodels.miscmodels.ordinal_model import OrderedModel

from weldtrial.analysis.ordinal import (
    check_odds,
    departure,
    edges,
    fit_ordinal,
    likelihood,
    used_grades,
)
from weldtrial.shared.problems import NotEstimable

GAS = np.repeat([0.0, 1.0], 16)[:, None]
GRADE = np.array([0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2, 2, 3, 3, 1, 0,
                  1, 1, 2, 2, 2, 3, 3, 3, 3, 3, 3, 2, 2, 1, 0, 3])  # fmt: skip


def test_agrees_with_statsmodels():
    """statsmodels' OrderedModel with the logit link, on grades that overlap."""
    rng = np.random.default_rng(4)
    x = np.column_stack([GAS[:, 0], rng.normal(size=32)])
    fit = fit_ordinal(x, GRADE)
    plain = OrderedModel(GRADE, x, distr="logit").fit(method="newton", disp=0, tol=1e-12)
    assert fit.coefficients == pytest.approx(plain.params[:2], abs=1e-6)
    assert fit.height == pytest.approx(plain.llf, abs=1e-9)
    assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(plain.bse[:2], rel=1e-3)
    null = OrderedModel(GRADE, x[:, 1:], distr="logit").fit(method="newton", disp=0, tol=1e-12)
    assert fit.profile([1, 0]).loss(0.0) == pytest.approx(2 * (plain.llf - null.llf), abs=1e-7)


def test_two_grades_are_plain_logistic_regression():
    """The closed form of a two by two table."""
    fit = fit_ordinal(np.repeat([0.0, 1.0], 10)[:, None], [0] * 7 + [1] * 3 + [0] * 4 + [1] * 6)
    assert fit.coefficients[0] == pytest.approx(np.log(7 / 3 * 6 / 4), abs=1e-8)
    assert fit.thresholds[0] == pytest.approx(np.log(7 / 3), abs=1e-8)
    assert fit.shares([0.0]) == pytest.approx([0.7, 0.3], abs=1e-9)


def test_slope_and_information_are_those_of_the_height():
    rng = np.random.default_rng(6)
    x = rng.normal(size=(20, 2))
    grade = np.concatenate([np.arange(4), rng.integers(0, 4, 16)])
    ends = edges(x, grade, 4, x[:, :1])
    weights = rng.integers(1, 4, 20).astype(float)
    b = np.array([-1.0, 0.2, 1.5, 0.4, -0.3, 0.1, -0.2])
    _, slope, information = likelihood(*ends, weights, b)
    numeric = optimize.approx_fprime(b, lambda at: likelihood(*ends, weights, at)[0], 1e-7)
    assert slope == pytest.approx(numeric, abs=1e-5)
    bend = optimize.approx_fprime(b, lambda at: likelihood(*ends, weights, at)[1], 1e-7)
    assert information == pytest.approx(-bend, abs=1e-5)


def test_profile_interval_ends_where_the_likelihood_has_fallen_enough():
    fit = fit_ordinal(GAS, GRADE)
    profile = fit.profile([1.0])
    low, high = profile.interval()
    assert low < profile.estimate < high
    for end in (low, high):
        assert profile.loss(end) == pytest.approx(special.chdtri(1, 0.05), abs=1e-6)
    assert (low > 0) == (profile.p < 0.05)
    assert fit.test([[1.0]]).p == pytest.approx(profile.p, abs=1e-12)


def test_turning_the_scale_round_turns_the_contrast_round():
    one, two = fit_ordinal(GAS, GRADE), fit_ordinal(GAS, 3 - GRADE)
    assert two.coefficients == pytest.approx(-one.coefficients, abs=1e-7)
    assert two.height == pytest.approx(one.height, abs=1e-9)
    first, second = one.profile([1.0]).interval(), two.profile([1.0]).interval()
    assert second == pytest.approx((-first[1], -first[0]), abs=1e-5)


def test_grades_nobody_used_are_merged_and_rows_can_be_weighted():
    assert used_grades([5, 2, 2, 9]).tolist() == [1, 0, 0, 2]
    one = fit_ordinal(GAS, GRADE)
    spaced = fit_ordinal(GAS, GRADE * 10 + 3)
    assert spaced.height == one.height
    counts = np.array([[np.sum((GAS[:, 0] == g) & (k == GRADE)) for k in range(4)] for g in (0, 1)])
    table = fit_ordinal(
        np.repeat([[0.0], [1.0]], 5, axis=0), np.tile(np.arange(5), 2),
        np.column_stack([counts, [0, 0]]).ravel(),
    )  # fmt: skip
    assert table.coefficients == pytest.approx(one.coefficients, abs=1e-8)
    assert table.height == pytest.approx(one.height, abs=1e-9)


def test_grades_that_part_the_gases_are_refused_towards_ranks():
    with pytest.raises(NotEstimable, match="without overlap") as refused:
        fit_ordinal(np.repeat([0.0, 1.0], 4)[:, None], [0, 1, 1, 2, 2, 3, 3, 3])
    assert "by ranks" in str(refused.value.hint)
    # One coupon that overlaps is enough.
    fit_ordinal(np.repeat([0.0, 1.0], 4)[:, None], [0, 1, 1, 3, 2, 3, 3, 3])
    with pytest.raises(NotEstimable, match="same grade"):
        fit_ordinal(GAS, np.ones(32))
    with pytest.raises(NotEstimable, match="can be made from"):
        fit_ordinal(np.ones((32, 1)), GRADE)


def test_check_of_the_odds_sees_a_gas_that_only_spreads():
    middle, ends = [0] * 2 + [1] * 14 + [2] * 14 + [3] * 2, [0] * 14 + [1] * 2 + [2] * 2 + [3] * 14
    gas = np.repeat([0.0, 1.0], 32)[:, None]
    found = check_odds(fit_ordinal(gas, middle + ends), [0])
    assert found.verdict == "fails"
    assert found.df == 2
    assert found.p < 1e-4
    assert check_odds(fit_ordinal(GAS, GRADE), [0]).verdict == "holds"
    few = fit_ordinal(np.repeat([0.0, 1.0], 6)[:, None], [0, 0, 1, 1, 2, 2, 0, 1, 1, 2, 2, 2])
    assert check_odds(few, [0]).verdict == "too few"
    two = fit_ordinal(GAS, GRADE > 1)
    assert (check_odds(two, [0]).verdict, check_odds(two, [0]).p) == ("holds", None)


def test_score_of_a_departure_is_near_its_likelihood_ratio():
    """With many coupons score and likelihood ratio agree: two gases freed are two multinomials."""
    counts = np.array([[300, 340, 360], [220, 300, 480]])
    x, grade = np.repeat([[0.0], [1.0]], 3, axis=0), np.tile(np.arange(3), 2)
    fit = fit_ordinal(x, grade, counts.ravel())
    freed = float((counts * np.log(counts / counts.sum(axis=1, keepdims=True))).sum())
    statistic, df = departure(fit, [0])
    assert df == 1
    assert statistic == pytest.approx(2 * (freed - fit.height), rel=0.02, abs=0.005)
