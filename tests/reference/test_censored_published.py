"""Readings at a limit, against published digits and general-purpose software.

Sources: Tobin (1958), the durable-goods data with the values of R's `survreg` (data file); single
samples against `scipy.stats.CensoredData` with `scipy.stats.norm.fit`.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.censored import fit_censored
from weldtrial.analysis.censored_profile import profile


@pytest.fixture(scope="module")
def tobin(reference):
    case = reference.load("tobit-tobin")
    y = case.numbers("durable")
    x = np.column_stack([np.ones(len(y)), case.numbers("age"), case.numbers("quant")])
    return case, x, np.where(y <= 0.0, -np.inf, y), y


def test_tobin_as_printed(tobin, reference):
    case, x, low, high = tobin
    fit = fit_censored(x, low, high)
    names = ("Intercept", "age", "quant")
    errors = np.sqrt(np.diag(fit.wald))
    for name, value, error in zip(names, fit.coefficients, errors, strict=False):
        assert reference.as_printed(value, case.expected["coef"][name])
        assert reference.as_printed(error, case.expected["se"][name])
    assert reference.as_printed(fit.sigma, case.expected["scale"])
    assert reference.as_printed(np.log(fit.sigma), case.expected["log_scale"])
    assert reference.as_printed(errors[3], case.expected["se_log_scale"])
    assert reference.as_printed(fit.log_likelihood, case.expected["loglik"])
    assert (fit.n, fit.uncensored, fit.kinds.below) == (20, 7, 13)


def test_tobin_without_slopes_as_printed(tobin, reference):
    case, x, low, high = tobin
    null = fit_censored(x[:, :1], low, high)
    assert reference.as_printed(null.log_likelihood, case.expected["loglik_null"])


def test_tobin_profile_of_one_slope_is_the_fit_without_it(tobin):
    """Holding age at 0 by `profile` is leaving its column out."""
    _, x, low, high = tobin
    fit = fit_censored(x, low, high)
    without = fit_censored(x[:, [0, 2]], low, high)
    lost = 2.0 * (fit.log_likelihood - without.log_likelihood)
    expected = (fit.df * np.expm1(lost / fit.effective)) ** 0.5
    assert abs(profile(fit, [0, 1, 0]).t_at(0.0)) == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("kind", ["above", "below", "between", "all"])
def test_single_sample_agrees_with_scipy(kind):
    y = np.random.default_rng(3).normal(84.0, 5.0, 40)
    low, high = y.copy(), y.copy()
    if kind in ("above", "all"):
        low, high = np.minimum(low, 87.0), np.where(y > 87.0, np.inf, high)
    if kind in ("below", "all"):
        low, high = np.where(y < 79.0, -np.inf, low), np.maximum(high, np.where(y < 79, 79.0, high))
    if kind in ("between", "all"):
        middle = (y > 81.0) & (y < 84.5)
        low, high = np.where(middle, 81.0, low), np.where(middle, 84.5, high)
    exact = low == high
    data = stats.CensoredData(
        uncensored=low[exact],
        left=high[np.isneginf(low)],
        right=low[np.isposinf(high)],
        interval=np.column_stack([low, high])[~exact & np.isfinite(low) & np.isfinite(high)],
    )
    mean, sigma = stats.norm.fit(data)
    fit = fit_censored(np.ones((40, 1)), low, high)
    # scipy searches by simplex and stops at about five digits
    assert fit.coefficients[0] == pytest.approx(mean, rel=1e-5)
    assert fit.sigma == pytest.approx(sigma, rel=1e-4)
    at_ours = by_scipy(fit.coefficients[0], fit.sigma, low, high)
    assert fit.log_likelihood == pytest.approx(at_ours, rel=1e-11)
    assert at_ours >= by_scipy(mean, sigma, low, high)


def by_scipy(mean, sigma, low, high):
    """Log-likelihood summed up from scipy's normal distribution, reading by reading."""
    law = stats.norm(mean, sigma)
    exact = low == high
    chance = law.cdf(high[~exact]) - law.cdf(low[~exact])
    return law.logpdf(low[exact]).sum() + np.log(chance).sum()
