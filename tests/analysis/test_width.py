from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.precision import Precision, Spread
from weldtrial.analysis.shape import Shape
from weldtrial.analysis.width import half_width, width_needed


@pytest.mark.parametrize("df", [1, 2, 5, 10, 34, 400])
@pytest.mark.parametrize("chance", [0.5, 0.8, 0.95])
def test_half_widths_by_scipys_chi_square(df: int, chance: float) -> None:
    precision = Precision(2.0, df)
    found = half_width(precision, chance)
    assert found is not None
    usual = stats.t.ppf(0.975, df) * 2.0
    assert found.probable == pytest.approx(usual * np.sqrt(stats.chi2.ppf(chance, df) / df))
    assert found.expected == pytest.approx(usual * stats.chi(df).mean() / np.sqrt(df))


def test_half_width_by_simulation() -> None:
    """Two groups of eight, 100 000 trials, by scipy's own interval; three errors."""
    rng = np.random.default_rng(8)
    found = half_width(Shape(False, 1, combos=2, replicates=8).precision(Spread(4.0)))
    assert found is not None
    new, old = rng.normal(0, 4.0, (2, 8, 100_000))
    interval = stats.ttest_ind(new, old).confidence_interval(0.95)
    half = (interval.high - interval.low) / 2
    assert found.expected == pytest.approx(half.mean(), abs=3 * half.std() / 100_000**0.5)
    assert np.mean(half <= found.probable) == pytest.approx(0.8, abs=3 * 0.4 / 100_000**0.5)


@pytest.mark.parametrize(
    "shape",
    [
        Shape(True, 1, per_round=6, replicates=3, free=True),
        Shape(True, 6, replicates=3),
        Shape(False, 1, combos=2, replicates=8),
        Shape(True, 4, replicates=2, levels=3, hard_columns=2, family="reference"),
    ],
)
def test_what_a_width_needs_is_enough_and_one_less_is_not(shape: Shape) -> None:
    spread = Spread(4.0, 2.0)
    setups, coupons = width_needed(shape, spread, 3.0)
    assert coupons is not None
    units = setups if shape.by_setups else coupons // shape.combos
    assert units is not None
    sized = shape.resized(units)
    enough = half_width(sized.precision(spread))
    short = half_width(shape.resized(units - 1).precision(spread))
    assert enough is not None
    assert short is not None
    assert enough.probable <= 3.0 < short.probable
    assert sized.coupons == coupons


def test_no_degrees_of_freedom_no_interval() -> None:
    assert half_width(Precision(1.0, 0)) is None
    assert width_needed(Shape(True, 4, replicates=2), Spread(4.0, 2.0), 1e-6) == (None, None)
