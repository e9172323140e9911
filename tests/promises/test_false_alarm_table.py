"""Counting coupons instead of set-ups: 39, 24, 17 and 10 false alarms in 100 trials.

36 coupons, coupon scatter 4, set-up scatter 2, two equal gases, two-sample t test on coupons.
The exact chance is checked by simulating the trials and running scipy's t test on them.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.naive import naive_false_alarm

TRIALS = 20_000


@pytest.mark.parametrize(
    ("setups", "coupons", "in_a_hundred"), [(1, 18, 39), (2, 9, 24), (3, 6, 17), (6, 3, 10)]
)
def test_false_alarms_in_a_hundred(setups, coupons, in_a_hundred):
    exact = naive_false_alarm(setups, coupons, sd_coupon=4, sd_setup=2)
    assert round(100 * exact) == in_a_hundred

    rng = np.random.default_rng(20_000 + setups)
    y = 4 * rng.standard_normal((2, setups, coupons, TRIALS))
    y += 2 * rng.standard_normal((2, setups, 1, TRIALS))
    first, second = y.reshape(2, 18, TRIALS)
    found = float(np.mean(stats.ttest_ind(first, second).pvalue < 0.05))
    assert found == pytest.approx(exact, abs=3 * (exact * (1 - exact) / TRIALS) ** 0.5)
