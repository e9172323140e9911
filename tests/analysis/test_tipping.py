"""How strong the unbroken coupons would have to have been before a verdict flips."""

from __future__ import annotations

import numpy as np
import pytest

from weldtrial.analysis.censored import fit_censored
from weldtrial.analysis.censored_profile import profile
from weldtrial.analysis.censored_setups import profile_setups
from weldtrial.analysis.least_squares import fit_least_squares
from weldtrial.analysis.linear import estimate
from weldtrial.analysis.tipping import tipping_point

GAS = np.array([0.0, 2.0])  # co2 minus mix


def trial(n=24, seed=7):
    """Co2 a little weaker; three mix coupons and two of co2 held at 90. Invented."""
    x = np.column_stack([np.ones(n), np.resize([1.0, -1.0], n)])
    y = 85.0 + 3.5 * np.random.default_rng(seed).standard_normal(n) - 0.3 * x[:, 1]
    mix, co2 = (np.flatnonzero(x[:, 1] == side) for side in (-1.0, 1.0))
    low, high = np.minimum(y, 89.9), np.minimum(y, 89.9)
    for level, count in ((mix, 3), (co2, 2)):
        top = level[np.argsort(y[level])[-count:]]
        low[top], high[top] = 90.0, np.inf
    return x, low, high, x[:, 1] < 0


def no_worse(fit):
    """Whether a loss beyond 6 kN is ruled out (one-sided 95 %)."""
    return bool(profile(fit, GAS).interval(0.90)[0] > -6.0)


def test_the_verdict_flips_just_there():
    x, low, high, mix = trial()
    assert no_worse(fit_censored(x, low, high))
    value = tipping_point(x, low, high, mix, no_worse, others="at-limit")
    assert value is not None
    assert value > 90.0
    beyond = np.isinf(high)
    for by, stands in ((-0.05, True), (0.0, False)):
        y = np.where(beyond, np.where(mix, value + by, 90.0), low)
        # all read exactly now, so least squares must agree
        found = estimate(fit_least_squares(x, y), GAS)
        assert (found.interval(0.90)[0] > -6.0) is stands


def test_what_others_are_taken_for_orders_the_answers():
    """The stronger the other gas is taken to be, the more the mix coupons must have held."""
    x, low, high, mix = trial()
    at, expected = (
        tipping_point(x, low, high, mix, no_worse, others=others)
        for others in ("at-limit", "expected")
    )
    assert at is not None
    assert expected is not None
    assert 90.0 < at < expected
    beyond = tipping_point(x, low, high, mix, no_worse, others="beyond")
    assert beyond is not None
    assert beyond > 90.0


def test_a_verdict_that_never_flips_has_no_tipping_point():
    x, low, high, mix = trial()
    assert tipping_point(x, low, high, mix, lambda fit: True) is None


def test_a_verdict_that_rests_on_the_curve_alone_flips_at_the_limit():
    x, low, high, mix = trial()
    full = fit_censored(x, low, high).fitted.mean()
    value = tipping_point(x, low, high, mix, lambda fit: fit.fitted.mean() > full - 1e-6)
    assert value == 90.0


def test_below_a_limit_the_coupons_are_lowered():
    x, low, high, mix = trial()
    mirrored = tipping_point(
        x, -high, -low, mix, lambda fit: profile(fit, GAS).interval(0.90)[1] < 6.0
    )
    straight = tipping_point(x, low, high, mix, no_worse)
    assert mirrored == pytest.approx(-straight, abs=1e-6)


def test_with_set_ups():
    x, low, high, mix = trial()
    setup = np.arange(24) % 2 + 2 * (np.arange(24) // 6)

    def stands(fit):
        return bool(profile_setups(fit, GAS).interval(0.90)[0] > -8.0)

    value = tipping_point(x, low, high, mix, stands, setup=setup, tolerance=0.05)
    assert value is not None
    assert value > 90.0


def test_a_level_without_coupons_beyond_is_refused():
    x, low, _, mix = trial()
    with pytest.raises(ValueError, match="needs coupons beyond a limit"):
        tipping_point(x, low, low, mix, no_worse)
