"""A step among coupons welded alike: found where there is one, seldom where there is none."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.observations import Observation
from weldtrial.analysis.repeats import shift_in_repeats


def alike(values: np.ndarray, setup: int | None = None) -> list[Observation]:
    level = {"gas": "mix"}
    return [
        Observation(f"S{k}", k, None, setup, level, level, float(v), ())
        for k, v in enumerate(values, 1)
    ]


def test_step_is_scipys_t_test_times_the_places() -> None:
    values = np.array([5.0, 5.2, 3.9, 4.0, 4.1, 3.8])
    found = shift_in_repeats(alike(values))
    assert found is not None
    assert found.after == 2
    assert found.size == pytest.approx(values[2:].mean() - values[:2].mean())
    assert found.p == pytest.approx(3 * stats.ttest_ind(values[:2], values[2:]).pvalue)


def test_false_alarms_stay_below_their_level() -> None:
    generator = np.random.default_rng(3)
    trials = 2_000
    hits = sum(
        found.p < 0.05
        for _ in range(trials)
        if (found := shift_in_repeats(alike(generator.normal(size=6)))) is not None
    )
    assert hits / trials <= 0.05 + 3 * sqrt(0.05 * 0.95 / trials)


def test_nothing_is_looked_for_with_set_ups_or_few_repeats() -> None:
    assert shift_in_repeats(alike(np.arange(6.0), setup=1)) is None
    assert shift_in_repeats(alike(np.arange(4.0))) is None
