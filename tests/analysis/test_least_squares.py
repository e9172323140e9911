"""Least squares: the same numbers as statsmodels' own tests, and refusals in words."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from weldtrial.analysis.least_squares import fit_least_squares
from weldtrial.analysis.linear import estimate, term_test
from weldtrial.shared.problems import NotEstimable


@pytest.fixture
def data():
    rng = np.random.default_rng(1)
    x = np.column_stack([np.ones(20), rng.standard_normal((20, 3))])
    return x, 80 + x @ [0.0, 1.0, -2.0, 0.0] + rng.standard_normal(20)


def test_tests_and_intervals_as_statsmodels(data):
    x, y = data
    fit, other = fit_least_squares(x, y), sm.OLS(y, x).fit()
    np.testing.assert_allclose(fit.coefficients, other.params, rtol=1e-10)
    np.testing.assert_allclose(fit.covariance, other.cov_params(), rtol=1e-9, atol=1e-14)
    np.testing.assert_allclose(fit.residuals, other.resid, atol=1e-10)
    np.testing.assert_allclose(fit.fitted, other.fittedvalues, rtol=1e-12)
    np.testing.assert_allclose(fit.leverage, other.get_influence().hat_matrix_diag, rtol=1e-10)
    assert fit.r_squared == pytest.approx(other.rsquared, rel=1e-10)
    assert fit.residual_variance == pytest.approx(other.mse_resid, rel=1e-10)
    rows = np.array([[0, 1.0, 0, 0], [0, 0, 1.0, -1.0]])
    test, reference = term_test(fit, rows), other.f_test(rows)
    assert test.statistic == pytest.approx(float(reference.fvalue), rel=1e-9)
    assert (test.df_num, test.df_den) == (reference.df_num, reference.df_denom)
    assert test.p == pytest.approx(float(reference.pvalue), rel=1e-8)
    one, t = estimate(fit, rows[1]), other.t_test(rows[1])
    assert one.p == pytest.approx(float(t.pvalue), rel=1e-9)
    np.testing.assert_allclose(one.interval(0.9), t.conf_int(alpha=0.1)[0], rtol=1e-9)


def test_cell_means_coding_is_centred_and_gives_the_same_fit():
    """No constant column, but the columns make one: R squared must be the corrected one."""
    rng = np.random.default_rng(2)
    cells = np.eye(3)[np.repeat([0, 1, 2], 5)]
    y = 1000 + rng.standard_normal(15)
    fit = fit_least_squares(cells, y)
    coded = fit_least_squares(np.column_stack([np.ones(15), cells[:, 1:]]), y)
    assert fit.r_squared == pytest.approx(coded.r_squared, rel=1e-9)
    np.testing.assert_allclose(fit.coefficients, [y[:5].mean(), y[5:10].mean(), y[10:].mean()])


def test_without_a_constant_r_squared_is_uncorrected(data):
    x, y = data
    fit, other = fit_least_squares(x[:, 1:], y), sm.OLS(y, x[:, 1:]).fit()
    assert fit.r_squared == pytest.approx(other.rsquared, rel=1e-9)
    np.testing.assert_allclose(fit.coefficients, other.params, rtol=1e-9)


REFUSED = {
    "saturated": (lambda x, y: (x[:4], y[:4]), "nothing is left over"),
    "columns repeat": (lambda x, y: (np.column_stack([x, x[:, 0]]), y), "column 4 can be made"),
    "no scatter": (lambda x, y: (x, np.full(20, 80.0)), "read the same"),
    "exact fit": (lambda x, y: (x, 3 + 2 * x[:, 1]), "fits every coupon exactly"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_estimated_is_refused_in_words(data, case):
    change, words = REFUSED[case]
    with pytest.raises(NotEstimable, match=words):
        fit_least_squares(*change(*data))


@pytest.mark.parametrize("confidence", [0.0, 1.0, 95])
def test_confidence_must_be_a_share(data, confidence):
    with pytest.raises(ValueError, match="between 0 and 1"):
        estimate(fit_least_squares(*data), [0, 1, 0, 0]).interval(confidence)


@pytest.mark.parametrize("rows", [[1.0, 0.0], np.empty((0, 4)), [[0.0, np.nan, 0.0, 0.0]]])
def test_contrasts_of_the_wrong_shape_are_refused(data, rows):
    with pytest.raises(ValueError, match="contrasts"):
        term_test(fit_least_squares(*data), rows)
