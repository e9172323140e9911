"""Readings at a limit with set-ups random: the integral, the fit, its strata, what it refuses."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.censored import fit_censored
from weldtrial.analysis.censored_batch import batch_censored
from weldtrial.analysis.censored_climb import Coupons, Readings
from weldtrial.analysis.censored_integral import SetupHill
from weldtrial.analysis.censored_profile import profile
from weldtrial.analysis.censored_setups import (
    fit_censored_setups,
    profile_setups,
    within_setups,
)
from weldtrial.analysis.linear import estimate
from weldtrial.analysis.mixed import fit_setups
from weldtrial.shared.problems import NotEstimable


def rounds(count, coupons, feed=False):
    """Two gases set up once a round, rounds fixed; with `feed`, an easy factor inside set-ups."""
    setup = np.repeat(np.arange(2 * count), coupons)
    blocks = np.vstack([np.eye(count - 1), -np.ones(count - 1)])[setup // 2]
    columns = [np.ones(len(setup)), 1.0 - 2.0 * (setup % 2), *blocks.T]
    if feed:
        columns.append(1.0 - 2.0 * (np.arange(len(setup)) % 2))
    return np.column_stack(columns), setup


def gas(x):
    return 2.0 * np.eye(x.shape[1])[1]


def loads(setup, seed, between=3.0, m=None):
    rng = np.random.default_rng(seed)
    size = () if m is None else (m,)
    inside = 4.0 * rng.standard_normal((len(setup), *size))
    return 84.0 + between * rng.standard_normal((setup.max() + 1, *size))[setup] + inside


def limited(y, most):
    return np.minimum(y, most), np.where(y > most, np.inf, y)


def hill_of(ratio, nodes=30, m=3):
    """Readings of all kinds in six set-ups of three."""
    x, setup = rounds(3, 3)
    y = np.random.default_rng(1).standard_normal((m, len(setup)))
    low, high = np.minimum(y, 0.5), np.where(y > 0.5, np.inf, y)
    low[:, 3], high[:, 3] = -np.inf, -0.3
    low[:, 7], high[:, 7] = -0.2, 0.4
    q, _ = np.linalg.qr(x)
    member = np.eye(setup.max() + 1)[setup]
    return SetupHill(q, Readings.of(low, high), member, np.full(m, ratio), nodes)


# --- the integral -----------------------------------------------------------------------------


@pytest.mark.parametrize("ratio", [-0.3, -0.15, 0.0, 0.4, 6.0])
def test_gradient_and_hessian_against_finite_differences(ratio):
    hill = hill_of(ratio)
    rng = np.random.default_rng(2)
    p = hill.q.shape[1]
    gamma, theta = 0.3 * rng.standard_normal((3, p)), np.full(3, 1.2)
    _, gradient, hessian = hill.slopes(gamma, theta)
    for k, step in enumerate(1e-5 * np.eye(p + 1)):
        up = hill.slopes(gamma + step[:p], theta + step[p])
        down = hill.slopes(gamma - step[:p], theta - step[p])
        np.testing.assert_allclose((up[0] - down[0]) / 2e-5, gradient[:, k], atol=1e-6)
        np.testing.assert_allclose((up[1] - down[1]) / 2e-5, hessian[:, k], rtol=1e-6, atol=1e-5)


def test_no_set_up_scatter_is_every_coupon_on_its_own():
    hill = hill_of(0.0)
    gamma, theta = np.zeros((3, hill.q.shape[1])), np.full(3, 0.9)
    np.testing.assert_allclose(
        hill.slopes(gamma, theta)[0],
        Coupons(hill.q, hill.readings).slopes(gamma, theta)[0],
        rtol=1e-13,
    )


@pytest.mark.parametrize("ratio", [-0.3, -0.2, -0.05, 0.5, 4.0])
@pytest.mark.parametrize("exact", [0, 1, 2])
def test_one_set_up_is_the_multivariate_normal(ratio, exact):
    """Density of the exact readings times the chance of the rest, negative variance included."""
    y = np.array([[0.3, -0.7, 0.4]])
    low = y.copy()
    high = np.where(np.arange(3) < exact, y, np.inf)
    hill = SetupHill(
        np.ones((3, 1)), Readings.of(low, high), np.ones((3, 1)), np.array([ratio]), 40
    )
    cover = np.eye(3) + ratio
    rest = np.arange(exact, 3)
    expected, mean, left = 0.0, np.zeros(3 - exact), cover[np.ix_(rest, rest)]
    if exact:
        first = np.arange(exact)
        inner, link = cover[np.ix_(first, first)], cover[np.ix_(rest, first)]
        expected = stats.multivariate_normal(np.zeros(exact), inner).logpdf(y[0, :exact])
        mean = link @ np.linalg.solve(inner, y[0, :exact])
        left = left - link @ np.linalg.solve(inner, link.T)
    law = stats.multivariate_normal(mean - y[0, exact:], left, seed=1, abseps=1e-9, releps=1e-9)
    expected += np.log(law.cdf(np.full(3 - exact, np.inf), lower_limit=np.zeros(3 - exact)))
    found = hill.slopes(np.zeros((1, 1)), np.ones(1))[0][0]
    # 1e-5: near the bound -1/3 forty nodes still leave a little
    assert found == pytest.approx(expected, abs=1e-5)


def test_all_exact_is_the_closed_form():
    x, setup = rounds(3, 3)
    y = loads(setup, 3)[None] / 10 - 8
    member = np.eye(6)[setup]
    q, _ = np.linalg.qr(x)
    gamma = np.random.default_rng(1).standard_normal((1, q.shape[1]))
    for ratio in (-0.25, 0.7):
        hill = SetupHill(q, Readings.of(y, y), member, np.array([ratio]), 5)
        cover = (np.eye(len(setup)) + ratio * member @ member.T) / 1.3**2
        law = stats.multivariate_normal(q @ gamma[0] / 1.3, cover)
        assert hill.slopes(gamma, np.array([1.3]))[0][0] == pytest.approx(
            law.logpdf(y[0]), rel=1e-12
        )


# --- the fit ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("count", "coupons"), [(6, 3), (4, 4), (3, 2)])
@pytest.mark.parametrize("seed", range(4))
def test_nothing_beyond_the_limit_is_kenward_roger(count, coupons, seed):
    """Balanced: the same interval but for the last steps of the search, 1 part in 10 000."""
    x, setup = rounds(count, coupons)
    y = loads(setup, seed)
    mixed = fit_setups(x, setup, y)
    if mixed.ratio * coupons < -0.85:
        pytest.skip("nearer the negative bound than the integral goes")
    found = profile_setups(fit_censored_setups(x, y, y, setup), gas(x))
    wanted = estimate(mixed, gas(x))
    assert found.df == pytest.approx(wanted.df, rel=1e-6)
    assert found.estimate == pytest.approx(wanted.estimate, abs=1e-8)
    width = np.ptp(wanted.interval())
    np.testing.assert_allclose(found.interval(), wanted.interval(), atol=1e-4 * width)


def test_inside_set_ups_nothing_beyond_the_limit_is_kenward_roger():
    x, setup = rounds(4, 4, feed=True)
    y = loads(setup, 5)
    row = 2.0 * np.eye(x.shape[1])[-1]
    found = profile_setups(fit_censored_setups(x, y, y, setup), row)
    wanted = estimate(fit_setups(x, setup, y), row)
    assert found.df == pytest.approx(wanted.df, rel=1e-6)
    np.testing.assert_allclose(found.interval(), wanted.interval(), rtol=1e-4)


def test_inside_set_ups_is_the_fit_with_set_ups_fixed():
    """Beyond limits too: dummies for the set-ups by hand give the same interval."""
    x, setup = rounds(4, 4, feed=True)
    low, high = limited(loads(setup, 5), 87.0)
    row = 2.0 * np.eye(x.shape[1])[-1]
    found = profile_setups(fit_censored_setups(x, low, high, setup), row)
    by_hand = np.column_stack([np.eye(8)[setup], x[:, -1]])
    wanted = profile(fit_censored(by_hand, low, high), 2.0 * np.eye(9)[-1])
    assert found.df == pytest.approx(wanted.df)
    assert found.df < 32 - 9
    np.testing.assert_allclose(found.interval(), wanted.interval(), atol=1e-6)
    batch = batch_censored(x, low[:, None], high[:, None], row, (0.0,), setup)
    assert batch.t[0, 0] == pytest.approx(wanted.t_at(0.0), abs=1e-5)


def test_strata_of_contrasts():
    x, setup = rounds(4, 4, feed=True)
    y = loads(setup, 6)
    fit = fit_censored_setups(x, *limited(y, 86.0), setup)
    eye = np.eye(x.shape[1])
    assert within_setups(fit.layout, eye[-1])
    assert not within_setups(fit.layout, eye[1])
    assert not within_setups(fit.layout, eye[0] + eye[-1])
    assert fit.df_setup == 3
    beyond = fit.kinds.above
    assert fit.df_within == 32 - 9 - beyond / 2
    assert fit.denominator(eye[-1]).df == fit.df_within
    assert fit.denominator(eye[[1, -1]]).df == 3


def test_no_scatter_between_set_ups_is_near_the_fit_without_them():
    x, setup = rounds(6, 3)
    y = loads(setup, 8, between=0.0)
    low, high = limited(y, 87.0)
    one, other = fit_censored_setups(x, low, high, setup), fit_censored(x, low, high)
    np.testing.assert_allclose(one.coefficients, other.coefficients, atol=0.25 * one.sigma)


def test_shift_scale_and_sign_carry_through():
    x, setup = rounds(4, 3)
    low, high = limited(loads(setup, 9), 86.0)
    one = fit_censored_setups(x, low, high, setup)
    other = fit_censored_setups(x, -(20.0 * high + 500.0), -(20.0 * low + 500.0), setup)
    assert other.ratio == pytest.approx(one.ratio, abs=1e-6)
    assert other.sigma == pytest.approx(20.0 * one.sigma, rel=1e-6)
    ends = profile_setups(one, gas(x)).interval()
    np.testing.assert_allclose(
        profile_setups(other, gas(x)).interval(), [-20 * ends[1], -20 * ends[0]], rtol=1e-6
    )


def test_order_of_rows_and_names_of_set_ups_do_not_matter():
    x, setup = rounds(4, 3)
    low, high = limited(loads(setup, 10), 86.0)
    mixed = np.random.default_rng(1).permutation(len(setup))
    one = profile_setups(fit_censored_setups(x, low, high, setup), gas(x))
    other = profile_setups(
        fit_censored_setups(x[mixed], low[mixed], high[mixed], 90 - setup[mixed]), gas(x)
    )
    np.testing.assert_allclose(other.interval(), one.interval(), rtol=1e-6)


def test_gas_wholly_beyond_gives_a_one_sided_interval():
    """Without rounds the other gas's set-ups still show how set-ups differ."""
    x, setup = rounds(6, 3)
    x = x[:, :2]
    y = loads(setup, 11)
    beyond = setup % 2 == 0
    low, high = np.where(beyond, 84.0, y), np.where(beyond, np.inf, y)
    fit = fit_censored_setups(x, low, high, setup)
    assert (fit.df_setup, fit.df_known) == (10, 5)
    found = profile_setups(fit, gas(x))
    start, end = found.interval()
    assert (found.estimate, end) == (math.inf, math.inf)
    assert math.isfinite(start)
    assert found.p_at(start) == pytest.approx(0.05, abs=1e-6)


def test_gas_wholly_beyond_in_every_round_is_refused():
    """One set-up read in each round: rounds take up all that would show how set-ups differ."""
    x, setup = rounds(6, 3)
    y = loads(setup, 11)
    beyond = setup % 2 == 0
    low, high = np.where(beyond, 84.0, y), np.where(beyond, np.inf, y)
    fit = fit_censored_setups(x, low, high, setup)
    assert (fit.df_setup, fit.df_known) == (5, 0)
    with pytest.raises(NotEstimable, match=r"18 of 36 coupons .* leave none over to show"):
        profile_setups(fit, gas(x))
    assert batch_censored(x, low[:, None], high[:, None], gas(x), (0.0,), setup).cannot.all()


def test_batch_is_the_single_fit():
    """Fewer nodes and steps there: t to a few hundredths."""
    x, setup = rounds(6, 3)
    ys = loads(setup, 12, m=8)
    low, high = limited(ys, 87.0)
    low[:, 3], high[:, 3] = 87.0, np.inf
    found = batch_censored(x, low, high, gas(x), (0.0, 4.0), setup)
    assert found.cannot.tolist() == [k == 3 for k in range(8)]
    for k in np.flatnonzero(~found.cannot):
        one = profile_setups(fit_censored_setups(x, low[:, k], high[:, k], setup), gas(x))
        assert found.df[k] == one.df
        np.testing.assert_allclose(found.t[:, k], [one.t_at(0.0), one.t_at(4.0)], atol=0.03)


# --- refusals ---------------------------------------------------------------------------------


def test_two_rounds_with_a_coupon_beyond_are_refused():
    """Eight coupons in four set-ups: one degree of freedom."""
    x, setup = rounds(2, 2)
    y = loads(setup, 13)
    fit = fit_censored_setups(x, *limited(y, np.sort(y)[-2]), setup)
    with pytest.raises(
        NotEstimable, match="4 set-ups leave 1 over to show how set-ups differ"
    ) as told:
        profile_setups(fit, gas(x))
    assert told.value.words.startswith("1 of 8 coupons are beyond")
    assert "how many reached it" in told.value.words


def test_too_few_read_inside_set_ups_are_refused():
    x, setup = rounds(4, 2, feed=True)
    y = loads(setup, 14)
    low, high = limited(y, np.sort(y)[6])
    fit = fit_censored_setups(x, low, high, setup)
    assert fit.df_within == 7 - 9 / 2
    low, high = limited(y, 1000.0)
    assert fit_censored_setups(x, low, high, setup).df_within == 7
    x, setup = rounds(4, 2, feed=True)
    few = fit_censored_setups(x, *limited(y, np.sort(y)[8]), setup)
    with pytest.raises(NotEstimable, match=r"7 of 16 coupons .* too few were read within set-ups"):
        profile_setups(few, np.eye(x.shape[1])[-1])


def test_everything_beyond_the_limit_is_refused():
    x, setup = rounds(4, 2)
    with pytest.raises(NotEstimable, match="every coupon held at the limit"):
        fit_censored_setups(x, np.full(16, 90.0), np.full(16, np.inf), setup)


def test_set_ups_that_agree_within_themselves_are_refused():
    x, setup = rounds(4, 2)
    y = loads(np.arange(8), 16)[setup]
    low, high = y.copy(), y.copy()
    low[:2], high[:2] = 70.0, np.inf
    with pytest.raises(NotEstimable, match="read the same throughout"):
        fit_censored_setups(x, low, high, setup)


def test_large_set_up_scatter_agrees_with_kenward_roger_too():
    """Set-ups a hundred times the coupon scatter apart."""
    x, setup = rounds(5, 3)
    y = loads(setup, 17, between=400.0)
    found = profile_setups(fit_censored_setups(x, y, y, setup), gas(x)).interval()
    wanted = estimate(fit_setups(x, setup, y), gas(x)).interval()
    np.testing.assert_allclose(found, wanted, atol=1e-3 * (wanted[1] - wanted[0]))
    low, high = limited(y, np.sort(y)[-4])
    found = profile_setups(fit_censored_setups(x, low, high, setup), gas(x))
    assert all(map(math.isfinite, found.interval()))


def test_set_ups_confounded_with_the_model_are_refused():
    x, setup = rounds(1, 4)
    y = loads(setup, 15)
    with pytest.raises(NotEstimable, match="no set-up is left over"):
        fit_censored_setups(x[:, :2], *limited(y, 86.0), setup)


def test_an_interval_ends_where_the_likelihood_loses_its_foothold() -> None:
    """At a negative set-up variance far values have no likelihood: searching there must not fail.

    Four invented readings between stops and two at the limit in each of three rounds; a crash of
    an ordinary folder (`tests/end_to_end/test_bad_results.py`).
    """
    low = np.tile([70.0, 60.0, 90.0], 4)
    high = np.tile([80.0, 70.0, np.inf], 4)
    gas = np.array([1, 1, -1, -1, -1, -1, 1, 1, 1, 1, -1, -1])
    block = np.repeat([[1, 0], [0, 1], [-1, -1]], 4, axis=0)
    x = np.column_stack([np.ones(12), -gas, block])
    fit = fit_censored_setups(x, low, high, np.repeat(np.arange(6), 2))
    assert fit.ratio < -0.4
    found = profile_setups(fit, [0.0, 2.0, 0.0, 0.0])
    for critical in (1.0, 2.92, 4.303):
        ends = found.within(critical)
        assert ends[0] < found.estimate < ends[1]
        fresh = profile_setups(fit, [0.0, 2.0, 0.0, 0.0])
        assert [abs(fresh.t_at(end)) for end in ends] == pytest.approx([critical] * 2, rel=1e-6)
    again = profile_setups(fit, [0.0, 2.0, 0.0, 0.0])
    assert again.t_at(found.estimate + 1e4) < 0  # far out first: it must not lose its place
    assert again.within(4.303) == pytest.approx(ends, rel=1e-6)
