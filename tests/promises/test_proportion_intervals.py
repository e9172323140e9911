"""Exact intervals of two shares: the chance of missing the truth, over every outcome.

Nothing is simulated: each interval is weighed with its binomial chances over a net of true shares.
The table in `analysis/proportion_intervals.py` was worked out by the same function, on a net of
205 by 205.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.proportion_intervals import difference_interval, ratio_interval

NET = np.concatenate([[1e-4, 2e-3, 5e-3], np.linspace(0.01, 0.99, 99), [0.995, 0.998, 0.9999]])


def largest_misses(of, of_reference, confidence, interval):
    """Largest chance, over the net, that the truth lies below, above, or outside the interval."""
    found = [
        [interval(x, of, y, of_reference, confidence) for y in range(of_reference + 1)]
        for x in range(of + 1)
    ]
    low = np.array([[one.low for one in row] for row in found])[:, :, None]
    high = np.array([[one.high for one in row] for row in found])[:, :, None]
    chance = stats.binom.pmf(np.arange(of + 1)[:, None], of, NET)
    other = stats.binom.pmf(np.arange(of_reference + 1)[:, None], of_reference, NET)
    worst = np.zeros(3)
    for place, share in enumerate(NET):
        truth = share - NET if interval is difference_interval else share / NET
        below, above = (
            np.einsum("x,xyk,yk->k", chance[:, place], side.astype(float), other)
            for side in (low > truth, high < truth)
        )
        worst = np.maximum(worst, [below.max(), above.max(), (below + above).max()])
    return worst


@pytest.mark.parametrize(("of", "of_reference"), [(3, 5)])
@pytest.mark.parametrize("interval", [difference_interval, ratio_interval])
def test_no_true_shares_are_missed_too_often(of, of_reference, interval):
    below, above, either = largest_misses(of, of_reference, 0.95, interval)
    assert below <= 0.025
    assert above <= 0.025
    assert 0.02 < either <= 0.05


@pytest.mark.slow
@pytest.mark.parametrize(
    ("of", "of_reference", "confidence"), [(8, 8, 0.95), (8, 8, 0.90), (8, 20, 0.95)]
)
@pytest.mark.parametrize("interval", [difference_interval, ratio_interval])
def test_nor_with_more_coupons(of, of_reference, confidence, interval):
    below, above, either = largest_misses(of, of_reference, confidence, interval)
    assert max(below, above) <= (1 - confidence) / 2
    assert 0.04 < either <= 1 - confidence
