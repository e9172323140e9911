"""Quick critical values of several comparisons: against scipy, and the analysis' own."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.linear import Estimate
from weldtrial.analysis.planned_families import chance_within, critical_value
from weldtrial.analysis.simultaneous import against_reference


@pytest.mark.parametrize("levels", [3, 4, 7])
@pytest.mark.parametrize("df", [1, 2, 5, 24])
def test_all_pairs_agree_with_scipys_studentised_range(levels: int, df: int) -> None:
    for confidence in (0.90, 0.95):
        exact = stats.studentized_range.ppf(confidence, levels, df) / sqrt(2)
        assert critical_value("pairs", levels, df, confidence) == pytest.approx(exact, rel=1e-7)


@pytest.mark.parametrize("levels", [3, 4, 7])
@pytest.mark.parametrize("df", [1, 2, 5, 24])
def test_with_one_reference_agrees_with_the_analysis(levels: int, df: int) -> None:
    several = levels - 1
    correlation = (np.eye(several) + np.ones((several, several))) / 2
    told = against_reference(Estimate(0.0, 1.0, float(df)), correlation)
    assert critical_value("reference", levels, df, 0.95) == pytest.approx(told.critical95, rel=3e-5)
    assert critical_value("reference", levels, df, 0.90) == pytest.approx(told.critical90, rel=3e-5)


def test_with_one_reference_agrees_with_scipys_multivariate_t() -> None:
    correlation = (np.eye(2) + np.ones((2, 2))) / 2
    bound = np.full(2, 2.3)
    exact = stats.multivariate_t(shape=correlation, df=20, seed=1).cdf(
        bound, lower_limit=-bound, maxpts=400_000
    )
    assert chance_within(2.3, "reference", 3, 20) == pytest.approx(exact, abs=2e-5)


def test_published_table() -> None:
    # Dunnett 1955, two-sided 5 %, two and three treatments with one control (from memory).
    assert [round(critical_value("reference", k, 20, 0.95), 2) for k in (3, 4)] == [2.38, 2.54]
