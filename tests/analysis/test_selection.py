from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.power import power_difference
from weldtrial.analysis.precision import Precision, Spread
from weldtrial.analysis.selection import (
    best_of,
    chance_best_is_shown,
    chance_best_looks_best,
    lead_for_best,
)
from weldtrial.analysis.shape import Shape
from weldtrial.analysis.tails import range_critical

TRIALS = 200_000


@pytest.mark.parametrize(
    ("levels", "chance", "constant"),
    [(2, 0.95, 2.3262), (3, 0.95, 2.7101), (4, 0.95, 2.9162), (3, 0.90, 2.2302)],
)
def test_constants_of_bechhofers_table(levels: int, chance: float, constant: float) -> None:
    """Bechhofer (1954), Ann. Math. Stat. 25:16, Table I (from memory)."""
    assert lead_for_best(levels, chance) == pytest.approx(constant, abs=5e-5)


def test_two_levels_are_a_normal_tail() -> None:
    assert chance_best_looks_best(2, 3.0, 4.0) == pytest.approx(stats.norm.cdf(3 / 8**0.5))
    assert chance_best_looks_best(5, 0.0, 1.0) == pytest.approx(0.2)
    assert chance_best_looks_best(5, 0.0, 0.0) == 0.2
    assert chance_best_looks_best(5, 1.0, 0.0) == 1.0


@pytest.mark.parametrize("family", ["reference", "pairs"])
@pytest.mark.parametrize("levels", [3, 4])
def test_best_of_several_by_simulation(levels: int, family: str) -> None:
    """Three Monte-Carlo errors; critical values by scipy, not by our own quadrature."""
    shape = Shape(False, 1, combos=levels, replicates=6, terms=levels - 1, levels=levels,
                  family=family)  # type: ignore[arg-type]  # fmt: skip
    precision, lead = shape.precision(Spread(2.0)), 3.0
    rng = np.random.default_rng(levels)
    means = rng.normal(0, np.sqrt(precision.variance), (TRIALS, levels))
    means[:, 0] += lead
    sd = np.sqrt(precision.variance * rng.chisquare(precision.df, TRIALS) / precision.df)
    gaps = means[:, :1] - means[:, 1:]
    if family == "pairs":
        cut = stats.studentized_range.ppf(0.95, levels, precision.df) / np.sqrt(2)
    else:
        t = stats.multivariate_t(shape=(np.eye(levels - 1) + 1) / 2, df=precision.df, seed=1)
        cut = next(
            c for c in np.arange(2.0, 4.0, 0.002)
            if t.cdf(np.full(levels - 1, c), lower_limit=np.full(levels - 1, -c)) >= 0.95
        )  # fmt: skip
    looks = np.mean(gaps.min(axis=1) > 0)
    shown = np.mean(gaps.min(axis=1) > cut * np.sqrt(2) * sd)
    for found, share in (
        (chance_best_looks_best(levels, lead, precision.variance), looks),
        (chance_best_is_shown(levels, lead, precision), shown),
    ):
        error = 3 * np.sqrt(share * (1 - share) / TRIALS)
        assert found == pytest.approx(share, abs=error + 1e-3 * (family == "reference"))


def test_two_levels_are_shown_as_any_difference_on_one_side() -> None:
    """The far tail aside: 2e-5 here."""
    precision = Precision(1.0, 10)
    near = power_difference(3.0, precision.se, 10)
    assert chance_best_is_shown(2, 3.0, precision) == pytest.approx(near, abs=5e-5)


def test_a_best_of_nothing_is_not_shown() -> None:
    assert chance_best_is_shown(3, 1.0, Precision(1.0, 0)) == 0.0
    assert chance_best_is_shown(3, 1.0, Precision(0.0, 5)) == 1.0
    found = best_of(3, 5.0, Precision(2.0, 12), 0.8)
    assert found.shown_best <= found.one_shown <= 1.0
    assert found.shown_best <= found.looks_best


@pytest.mark.parametrize("levels", [2, 3, 4, 12])
@pytest.mark.parametrize("df", [1, 2, 5, 8, 20, 100])
def test_quantiles_of_the_studentised_range_by_scipy(levels: int, df: int) -> None:
    for level in (0.95, 0.90):
        expected = stats.studentized_range.ppf(level, levels, df)
        assert range_critical(levels, df, level) == pytest.approx(expected, rel=2e-8)
