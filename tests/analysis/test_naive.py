"""The exact chance that counting coupons raises a false alarm: limits and refusals."""

from __future__ import annotations

import pytest
from scipy import integrate, stats

from weldtrial.analysis.naive import naive_false_alarm


@pytest.mark.parametrize(("setups", "coupons"), [(1, 18), (3, 6), (6, 3), (9, 1)])
@pytest.mark.parametrize("alpha", [0.01, 0.05, 0.2])
def test_without_set_up_scatter_the_test_keeps_its_word(setups, coupons, alpha):
    assert naive_false_alarm(setups, coupons, 4, 0, alpha) == pytest.approx(alpha, rel=1e-9)


def test_one_coupon_a_set_up_keeps_its_word_whatever_the_scatter():
    assert naive_false_alarm(18, 1, 4, 2) == pytest.approx(0.05, rel=1e-9)


def test_more_coupons_never_cure_it():
    chances = [naive_false_alarm(2, coupons, 4, 2) for coupons in (2, 9, 50, 1000)]
    assert chances == sorted(chances)
    assert chances[-1] > 0.8


@pytest.mark.parametrize(("setups", "coupons"), [(2, 9), (3, 6), (5, 2)])
def test_equals_plain_integration_over_both_chi_squares(setups, coupons):
    """t^2 = z^2 / ((A + r B) / nu), A and B chi-square: scipy's adaptive integral over A and B."""
    between, within = 2 * (setups - 1), 2 * setups * (coupons - 1)
    ratio, df = 16 / (16 + coupons * 4), between + within
    critical = stats.t.ppf(0.975, df) ** 2

    def inner(a, b):
        spread = critical * (a + ratio * b) / df
        return stats.chi2.sf(spread, 1) * stats.chi2.pdf(a, between) * stats.chi2.pdf(b, within)

    plain, _ = integrate.dblquad(
        inner, 0, stats.chi2.isf(1e-9, within), 0, stats.chi2.isf(1e-9, between)
    )
    assert naive_false_alarm(setups, coupons, 4, 2) == pytest.approx(plain, abs=1e-6)


@pytest.mark.parametrize(
    "arguments", [(0, 5, 4, 2), (1, 1, 4, 2), (2, 9, 0, 2), (2, 9, 4, -1), (2, 9, 4, 2, 1.0)]
)
def test_impossible_layouts_are_refused(arguments):
    with pytest.raises(ValueError, match=r"each gas|must be"):
        naive_false_alarm(*arguments)
