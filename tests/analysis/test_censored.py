"""Readings at a limit, every coupon on its own: the fit, its profile, what it refuses."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, special, stats

from weldtrial.analysis.at_limit import at_limit, mostly_at_limit
from weldtrial.analysis.censored import fit_censored
from weldtrial.analysis.censored_batch import batch_censored
from weldtrial.analysis.censored_climb import Coupons, Readings
from weldtrial.analysis.censored_profile import profile
from weldtrial.analysis.censored_terms import between, one_sided
from weldtrial.analysis.least_squares import fit_least_squares
from weldtrial.analysis.linear import estimate
from weldtrial.shared.problems import NotEstimable

GAS = np.array([0.0, 2.0])


def two_gases(n):
    return np.column_stack([np.ones(n), np.resize([1.0, -1.0], n)])


def loads(n, seed, effect=2.0):
    x = two_gases(n)
    return x, 84.0 + 4.0 * np.random.default_rng(seed).standard_normal(n) + 0.5 * effect * x[:, 1]


def limited(y, most=None, least=None):
    low, high = y.copy(), y.copy()
    if most is not None:
        low, high = np.minimum(low, most), np.where(y > most, np.inf, high)
    if least is not None:
        low, high = np.where(y < least, -np.inf, low), np.where(y < least, least, high)
    return low, high


def mixed(n, seed):
    """Readings of all four kinds."""
    x, y = loads(n, seed)
    low, high = limited(y, 88.0, 80.0)
    low[4:7], high[4:7] = y[4:7] - 1.0, y[4:7] + 2.0
    return x, low, high


# --- terms -----------------------------------------------------------------------------------


@pytest.mark.parametrize("t", [-300.0, -40.0, -3.0, 0.0, 2.0, 8.0])
def test_one_sided_derivatives_in_the_tails(t):
    """log Phi(-300) is about -45006.6; its slope about 300."""
    found = one_sided(np.array([t]))
    assert found.log[0] == special.log_ndtr(t)
    step = 1e-5 * max(1.0, abs(t))
    slope = (special.log_ndtr(t + step) - special.log_ndtr(t - step)) / (2 * step)
    assert found.first[0] == pytest.approx(slope, rel=1e-6, abs=1e-12)
    bend = (one_sided(t + step).first - one_sided(t - step).first) / (2 * step)
    assert found.second[0] == pytest.approx(bend, rel=1e-5, abs=1e-11)


@pytest.mark.parametrize(
    ("a", "b"), [(-1.0, 0.5), (3.0, 3.0001), (-41.0, -40.0), (40.0, 41.0), (12.0, 30.0)]
)
def test_between_stays_finite_and_mirrors(a, b):
    one, other = between(np.array([a]), np.array([b])), between(np.array([-b]), np.array([-a]))
    assert np.isfinite(one.log[0])
    assert one.log[0] == pytest.approx(other.log[0], rel=1e-12)
    assert one.high[0] == pytest.approx(-other.low[0], rel=1e-10)
    bend = one.low2[0] + 2 * one.both[0] + one.high2[0]
    # the variance of what lies between is not negative, nor more than the whole; the three terms
    # cancel to about 1 / (b - a) units of rounding
    assert -1.0 - 1e-7 <= bend <= 1e-7


def test_between_far_out_equals_the_lower_tail():
    """P(-41 < Z < -40) is P(Z < -40) but for e^-40 of it."""
    found = between(np.array([-41.0]), np.array([-40.0]))
    assert found.log[0] == pytest.approx(special.log_ndtr(-40.0), rel=1e-14)


def test_gradient_and_hessian_against_finite_differences():
    x, low, high = mixed(16, 2)
    q, _ = np.linalg.qr(x)
    hill = Coupons(q, Readings.of((low[None] - 84) / 4, (high[None] - 84) / 4))

    def at(v):
        return hill.slopes(v[None, :2], v[None, 2])

    point = np.array([0.3, -0.4, 1.3])
    _, gradient, hessian = at(point)
    for k, step in enumerate(1e-5 * np.eye(3)):
        up, down = at(point + step), at(point - step)
        assert (up[0] - down[0])[0] / 2e-5 == pytest.approx(gradient[0, k], abs=1e-7)
        np.testing.assert_allclose((up[1] - down[1])[0] / 2e-5, hessian[0, k], atol=1e-6)


def test_maximum_is_where_a_general_optimiser_finds_it():
    x, low, high = mixed(20, 4)
    fit = fit_censored(x, low, high)

    def minus(v):
        law = stats.norm(x @ v[:2], np.exp(v[2]))
        exact = low == high
        log = np.where(exact, law.logpdf(np.where(exact, low, 0.0)), 0.0)
        return -(log.sum() + np.log((law.cdf(high) - law.cdf(low))[~exact]).sum())

    best = optimize.minimize(minus, [84.0, 0.0, 1.0], method="Nelder-Mead",
                             options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000})  # fmt: skip
    np.testing.assert_allclose([*fit.coefficients, np.log(fit.sigma)], best.x, atol=1e-5)
    assert fit.log_likelihood == pytest.approx(-best.fun, rel=1e-10)


# --- nothing beyond a limit: least squares ----------------------------------------------------


@pytest.mark.parametrize("n", [4, 10, 31])
@pytest.mark.parametrize("confidence", [0.90, 0.95, 0.99])
def test_nothing_beyond_the_limit_is_the_least_squares_t_interval(n, confidence):
    x, y = loads(n, n)
    found = estimate(fit_least_squares(x, y), GAS)
    fit = fit_censored(x, y, y)
    ours = profile(fit, GAS)
    assert (fit.effective, ours.df) == (n, n - 2)
    assert ours.estimate == pytest.approx(found.estimate, abs=1e-10)
    assert ours.se == pytest.approx(found.se, rel=1e-10)
    assert ours.p == pytest.approx(found.p, rel=1e-8)
    np.testing.assert_allclose(ours.interval(confidence), found.interval(confidence), atol=1e-8)
    np.testing.assert_allclose(fit.covariance, fit_least_squares(x, y).covariance, rtol=1e-9,
                               atol=1e-12)  # fmt: skip


def test_one_sample_is_student_s_interval():
    y = np.random.default_rng(1).normal(84.0, 3.0, 9)
    wanted = stats.ttest_1samp(y, 0.0).confidence_interval(0.95)
    found = profile(fit_censored(np.ones((9, 1)), y, y), [1.0])
    np.testing.assert_allclose(found.interval(), [wanted.low, wanted.high], atol=1e-8)


def test_scaled_contrast_at_a_value_is_least_squares_too():
    """One mean against 90 % of the other, as a percent margin asks."""
    x, y = loads(12, 8)
    row = np.array([1.0, 1.0]) - 0.9 * np.array([1.0, -1.0])
    found, ours = estimate(fit_least_squares(x, y), row), profile(fit_censored(x, y, y), row)
    t = (found.estimate - 7.0) / found.se
    assert ours.t_at(7.0) == pytest.approx(t, rel=1e-9)
    np.testing.assert_allclose(ours.within(2.5), [found.estimate - 2.5 * found.se,
                                                  found.estimate + 2.5 * found.se])  # fmt: skip


def test_few_beyond_the_limit_moves_little():
    x, y = loads(30, 5)
    plain = estimate(fit_least_squares(x, y), GAS).interval()
    top = np.sort(y)[-2]
    one = profile(fit_censored(x, *limited(y, most=top + 1e-6)), GAS).interval()
    np.testing.assert_allclose(one, plain, atol=0.15 * (plain[1] - plain[0]))


# --- properties -------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(
    seed=st.integers(0, 500),
    shift=st.floats(-1e4, 1e4),
    log_scale=st.floats(-4.0, 4.0),
    flip=st.booleans(),
)
def test_shift_and_scale_carry_through(seed, shift, log_scale, flip):
    x, low, high = mixed(14, seed)
    scale = 10.0**log_scale
    fit = fit_censored(x, low, high)
    ends = (scale * low + shift, scale * high + shift)
    if flip:
        ends = (-ends[1], -ends[0])
    other = fit_censored(x, *ends)
    sign = -1.0 if flip else 1.0
    assert other.sigma == pytest.approx(scale * fit.sigma, rel=1e-6)
    size = abs(shift) + scale * 100
    expected = sign * (scale * fit.coefficients + [shift, 0.0])
    np.testing.assert_allclose(other.coefficients, expected, atol=1e-9 * size)
    one, two = profile(fit, GAS).interval(), profile(other, GAS).interval()
    mapped = sorted(sign * scale * end for end in one)
    np.testing.assert_allclose(two, mapped, atol=1e-7 * size)


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 500), which=st.integers(0, 11), wider=st.floats(0.01, 5.0))
def test_widening_a_reading_between_stops_never_lowers_the_likelihood(seed, which, wider):
    """A wider reading says less, so what is best explains it at least as well."""
    x, y = loads(12, seed)
    low, high = y - 0.5, y + 0.5
    low[:6] = high[:6] = y[:6]
    which = 6 + which % 6
    fit = fit_censored(x, low, high)
    low[which], high[which] = low[which] - wider, high[which] + wider
    assert fit_censored(x, low, high).log_likelihood >= fit.log_likelihood - 1e-9


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 500), most=st.floats(82.0, 90.0))
def test_beyond_the_limit_estimates_at_least_what_the_limit_would(seed, most):
    """All coupons of one sample: `>90` never gives less than 90 taken as read."""
    y = 84.0 + 4.0 * np.random.default_rng(seed).standard_normal(15)
    low, high = limited(y, most=most)
    if (low == high).sum() < 3:
        return
    beyond = fit_censored(np.ones((15, 1)), low, high).coefficients[0]
    taken = fit_censored(np.ones((15, 1)), low, low).coefficients[0]
    assert beyond >= taken - 1e-9


def test_stops_very_close_together_are_an_exact_reading():
    x, y = loads(16, 6)
    exact, close = fit_censored(x, y, y), fit_censored(x, y - 1e-4, y + 1e-4)
    np.testing.assert_allclose(close.coefficients, exact.coefficients, atol=1e-6)
    assert close.effective == pytest.approx(16, abs=1e-6)
    np.testing.assert_allclose(profile(close, GAS).interval(), profile(exact, GAS).interval(),
                               atol=1e-5)  # fmt: skip


def test_stops_far_apart_count_little():
    """With all coupons between the same stops, a reading tells next to nothing."""
    x, y = loads(16, 7)
    low, high = y.copy(), y.copy()
    low[10:], high[10:] = 20.0, 150.0
    fit = fit_censored(x, low, high)
    assert fit.effective == pytest.approx((16 + 10) / 2, abs=1e-6)


def test_p_and_interval_agree():
    x, low, high = mixed(18, 9)
    found = profile(fit_censored(x, low, high), GAS)
    for end in found.interval(0.95):
        assert found.p_at(end) == pytest.approx(0.05, abs=1e-9)
    assert found.t_at(found.estimate) == pytest.approx(0.0, abs=1e-5)


# --- a level wholly beyond the limit ----------------------------------------------------------


def one_level_beyond(side=1.0):
    x, y = loads(16, 11)
    top = side * (x[:, 1] > 0)
    low, high = np.where(top > 0, 80.0, y), np.where(top > 0, np.inf, y)
    return x, low, high


def test_level_wholly_beyond_gives_a_one_sided_interval():
    x, low, high = one_level_beyond()
    fit = fit_censored(x, low, high)
    found = profile(fit, GAS)
    start, end = found.interval()
    assert (found.estimate, found.se, end) == (math.inf, math.inf, math.inf)
    assert math.isfinite(start)
    assert found.p_at(start) == pytest.approx(0.05, abs=1e-9)
    against = profile(fit, -GAS)
    assert against.estimate == -math.inf
    np.testing.assert_allclose(against.interval(), [-math.inf, -start], atol=1e-6)
    other = profile(fit, [1.0, -1.0])
    assert all(map(math.isfinite, (*other.interval(), other.se)))


def test_one_sided_lower_end_is_the_profile_of_the_supremum():
    """By hand: with the difference free the beyond coupons can be explained with certainty."""
    x, low, high = one_level_beyond()
    found = profile(fit_censored(x, low, high), GAS)
    rest = x[:, 1] < 0
    y = low[rest]
    n, k = 16, int(rest.sum())
    top = stats.norm(y.mean(), y.std()).logpdf(y).sum()

    def held(v):
        def minus(b):
            law = stats.norm(b[0], np.exp(b[1]))
            return -(law.logpdf(y).sum() + (n - k) * law.logsf(80.0 - v))

        return -optimize.minimize(minus, [y.mean(), np.log(y.std())], tol=1e-12).fun

    size = (n + k) / 2
    t2 = (size - 2) * np.expm1(2 * (top - held(1.0)) / size)
    assert abs(found.t_at(1.0)) == pytest.approx(t2**0.5, rel=1e-5)


# --- refusals ---------------------------------------------------------------------------------


def test_everything_beyond_the_limit_is_refused_in_words():
    x = two_gases(8)
    with pytest.raises(NotEstimable, match="every coupon held at the limit, so no average") as told:
        fit_censored(x, np.full(8, 90.0), np.full(8, np.inf))
    assert "compared instead: how many reached it" in told.value.words
    with pytest.raises(NotEstimable, match="every coupon is below the limit"):
        fit_censored(x, np.full(8, -np.inf), np.full(8, 0.2))


def test_fewer_read_than_coefficients_and_one_are_refused():
    x, y = loads(8, 12)
    low, high = limited(y, most=np.sort(y)[1])
    with pytest.raises(NotEstimable, match="6 of 8 coupons are beyond the gauge limit: the 2 that"):
        fit_censored(x, low, high)


def test_read_coupons_that_leave_no_scatter_are_refused():
    """Each gas always reads the same where it was read."""
    x = two_gases(12)
    low = np.where(x[:, 1] > 0, 80.0, 84.0)
    high = low.copy()
    low[8:], high[8:] = 75.0, np.inf
    with pytest.raises(NotEstimable, match="no scatter, so nothing to judge a change by"):
        fit_censored(x, low, high)
    found = batch_censored(x, low[:, None], high[:, None], GAS)
    assert found.cannot.tolist() == [True]


def test_both_levels_beyond_leaves_their_difference_open():
    """Three gases, two of them never broken: nothing tells those two apart."""
    gas = np.resize([0, 1, 2], 18)
    x = np.vstack([np.eye(2), -np.ones(2)])[gas]
    x = np.column_stack([np.ones(18), x])
    y = 84.0 + np.random.default_rng(5).standard_normal(18)
    low, high = np.where(gas > 0, 88.0, y), np.where(gas > 0, np.inf, y)
    fit = fit_censored(x, low, high)
    means = {k: np.array([1.0, *row]) for k, row in enumerate([[1, 0], [0, 1], [-1, -1]])}
    with pytest.raises(NotEstimable, match="could be anything"):
        profile(fit, means[1] - means[2])
    assert profile(fit, means[1] - means[0]).estimate == math.inf


@pytest.mark.parametrize(
    ("low", "high"), [(90.0, 80.0), (np.nan, 80.0), (-np.inf, np.inf), (np.inf, np.inf)]
)
def test_readings_that_are_none_are_named(low, high):
    x, y = loads(6, 1)
    lows, highs = y.copy(), y.copy()
    lows[3], highs[3] = low, high
    with pytest.raises(ValueError, match="reading 3"):
        fit_censored(x, lows, highs)


# --- batches and shares -----------------------------------------------------------------------


def test_batch_is_the_single_fit():
    x = two_gases(16)
    ys = 84.0 + 4.0 * np.random.default_rng(2).standard_normal((16, 60)) + x[:, 1:]
    low, high = np.minimum(ys, 86.0), np.where(ys > 86.0, np.inf, ys)
    low[3], high[3] = ys[3] - 2.0, ys[3] + 1.0
    low[:, 7], high[:, 7] = 86.0, np.inf
    found = batch_censored(x, low, high, GAS, (0.0, -3.0))
    assert found.cannot.sum() >= 1
    assert found.cannot[7]
    assert np.isnan(found.t[:, 7]).all()
    for k in np.flatnonzero(~found.cannot)[:40]:
        one = profile(fit_censored(x, low[:, k], high[:, k]), GAS)
        assert found.df[k] == pytest.approx(one.df, rel=1e-7)
        if math.isfinite(one.estimate):
            assert found.estimate[k] == pytest.approx(one.estimate, abs=1e-4)
        np.testing.assert_allclose(found.t[:, k], [one.t_at(0.0), one.t_at(-3.0)], atol=1e-5)
        assert found.above(0.9)[1, k] == (one.interval(0.9)[0] > -3.0)
        assert found.below(0.95)[0, k] == (one.interval(0.95)[1] < 0.0)


def test_share_at_the_limit():
    low, high = [90, 90, 80, 75], [np.inf, np.inf, 80, 78]
    counts = at_limit(["mix", "co2", "co2", "mix"], low, high)
    assert [(c.level, c.beyond, c.coupons) for c in counts] == [("mix", 1, 2), ("co2", 1, 2)]
    assert not mostly_at_limit(counts)
    low[2], high[2] = 90, np.inf
    counts = at_limit(["mix", "co2", "co2", "mix"], low, high)
    assert mostly_at_limit(counts)
    assert [c.wholly for c in counts] == [False, True]
