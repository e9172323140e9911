"""What intervals promise when readings stop at a gauge limit and set-ups are random.

TABLE
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, special, stats

from weldtrial.analysis.censored_batch import batch_censored


def rounds(count, coupons, feed=False):
    """Two gases set up once a round, rounds fixed; with `feed`, an easy factor inside set-ups."""
    setup = np.repeat(np.arange(2 * count), coupons)
    blocks = np.vstack([np.eye(count - 1), -np.ones(count - 1)])[setup // 2]
    columns = [np.ones(len(setup)), 1.0 - 2.0 * (setup % 2), *blocks.T]
    if feed:
        columns.append(1.0 - 2.0 * (np.arange(len(setup)) % 2))
    return np.column_stack(columns), setup


def limit(share, effect):
    """Where a gauge must stop for this share of both levels together to be beyond it."""
    beyond = stats.norm.sf
    return optimize.brentq(lambda most: (beyond(most - effect) + beyond(most)) / 2 - share, -5, 8)


def cell(layout, correlation, share, effect, trials, feed=False):
    """Test of the true effect in so many trials; the last column of x or the gas changes by it."""
    x, setup = rounds(*layout, feed=feed)
    column = x.shape[1] - 1 if feed else 1
    rng = np.random.default_rng(
        [*layout, round(10 * correlation), round(100 * share), round(10 * effect), feed]
    )
    between = rng.standard_normal((setup.max() + 1, trials))[setup]
    inside = rng.standard_normal((len(setup), trials))
    y = correlation**0.5 * between + (1 - correlation) ** 0.5 * inside
    y += effect * (x[:, [column]] > 0)
    most = limit(share, effect)
    row = 2.0 * np.eye(x.shape[1])[column]
    return batch_censored(
        x, np.minimum(y, most), np.where(y > most, np.inf, y), row, (effect,), setup
    )


def outside(found):
    """Share of trials outside the 95 % interval."""
    keep = ~found.cannot
    return np.mean(np.abs(found.t[0][keep]) > special.stdtrit(found.df[keep], 0.975))


def error(trials):
    """Three Monte-Carlo errors of 5 in 100."""
    return 3 * (0.05 * 0.95 / trials) ** 0.5


@pytest.mark.parametrize(
    ("layout", "correlation", "share", "effect", "feed"),
    [
        ((6, 3), 0.5, 0.3, 1.0, False),
        ((4, 4), 0.2, 0.5, 0.0, False),
        ((4, 4), 0.5, 0.3, 1.0, True),
    ],
)
def test_set_ups_keep_their_word(layout, correlation, share, effect, feed):
    """A few cells of the table, 200 trials each: a coarse net, the whole of it is below."""
    found = cell(layout, correlation, share, effect, 200, feed)
    assert found.cannot.mean() < 0.15
    assert outside(found) <= 0.05 + error(200)


@pytest.mark.slow
@pytest.mark.parametrize("effect", [0.0, 1.0])
@pytest.mark.parametrize("share", [0.15, 0.3, 0.5])
@pytest.mark.parametrize("correlation", [0.0, 0.2, 0.5])
@pytest.mark.parametrize("layout", [(6, 3), (4, 4), (4, 2)])
def test_the_whole_grid_keeps_its_word(layout, correlation, share, effect):
    found = cell(layout, correlation, share, effect, 500)
    assert found.cannot.mean() < 0.4
    assert outside(found) <= 0.05 + 4 / 3 * error(500)  # 18 cells a layout are looked at


def test_for_contrast_coupons_taken_as_their_own_set_ups():
    """Intraclass correlation .5: the fit without set-ups raises 19 false alarms in 100."""
    x, setup = rounds(6, 3)
    rng = np.random.default_rng(5)
    y = rng.standard_normal((12, 2000))[setup] + rng.standard_normal((36, 2000))
    low, high = np.minimum(y, 0.75), np.where(y > 0.75, np.inf, y)
    found = batch_censored(x, low, high, 2.0 * np.eye(x.shape[1])[1])
    assert np.mean(found.p[0][~found.cannot] < 0.05) > 0.15
