"""Simultaneous comparisons against published and library values."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special, stats

from weldtrial.analysis.linear import Estimate
from weldtrial.analysis.simultaneous import against_reference, all_within, alone, among_all

# Dunnett (1964), Biometrics 20, 482-491, two-sided 5 % points for equal group sizes; copied here
# from memory of the table and agreeing with it to the printed second decimal.
DUNNETT_1964 = {(2, 10): 2.57, (3, 10): 2.76, (2, 20): 2.38, (3, 20): 2.54, (4, 20): 2.65,
                (2, 60): 2.27, (5, 60): 2.58}  # fmt: skip


@pytest.mark.parametrize(("m", "df"), DUNNETT_1964)
def test_dunnett_table(m: int, df: int) -> None:
    equal = np.full((m, m), 0.5) + 0.5 * np.eye(m)
    together = against_reference(Estimate(1.0, 1.0, df), equal)
    assert together.critical95 == pytest.approx(DUNNETT_1964[m, df], abs=0.0051)


@pytest.mark.parametrize("df", [3.7, 9.0, 40.0])
def test_one_comparison_is_students_t(df: float) -> None:
    found = Estimate(2.0, 0.8, df)
    single = alone(found)
    assert single.interval(found) == pytest.approx(found.interval(0.95))
    assert single.interval(found, 0.90) == pytest.approx(found.interval(0.90))
    assert all_within(2.0, np.eye(1), df) == pytest.approx(1 - 2 * special.stdtr(df, -2.0), 1e-6)


def test_two_comparisons_agree_with_the_bivariate_t_of_scipy() -> None:
    shape = np.array([[1.0, 0.3], [0.3, 1.0]])
    bound = np.array([2.1, 2.1])
    expected = stats.multivariate_t(shape=shape, df=7, seed=3).cdf(
        bound, lower_limit=-bound, maxpts=2_000_000
    )
    assert all_within(2.1, shape, 7) == pytest.approx(float(expected), abs=2e-5)


def test_correlation_without_product_form_is_integrated_the_long_way() -> None:
    shape = np.array([[1.0, 0.6, -0.2], [0.6, 1.0, 0.4], [-0.2, 0.4, 1.0]])
    generator = np.random.default_rng(1)
    normal = generator.multivariate_normal(np.zeros(3), shape, 400_000)
    t = np.abs(normal / np.sqrt(generator.chisquare(8, (400_000, 1)) / 8)).max(axis=1)
    share = float(np.mean(t <= 2.3))
    assert all_within(2.3, shape, 8) == pytest.approx(share, abs=4 * np.sqrt(0.06 / 400_000))


@pytest.mark.parametrize(("levels", "df"), [(3, 12), (4, 20)])
def test_all_pairs_use_the_studentised_range(levels: int, df: int) -> None:
    """Tabled q(0.05; 3, 12) = 3.77 and q(0.05; 4, 20) = 3.96 (Pearson & Hartley, from memory)."""
    tabled = {(3, 12): 3.77, (4, 20): 3.96}[levels, df]
    together = among_all(Estimate(1.0, 1.0, df), levels)
    assert together.critical95 * np.sqrt(2) == pytest.approx(tabled, abs=0.0051)
    at_limit = among_all(Estimate(together.critical95, 1.0, df), levels)
    assert at_limit.p_adjusted == pytest.approx(0.05, abs=1e-6)
