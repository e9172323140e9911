from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from weldtrial.analysis.redraw import all_arrangements, mean_gap, redraw
from weldtrial.analysis.setup_proportions import by_setups
from weldtrial.shared.problems import NotEstimable

NEW = np.array([1, 0, 0, 1, 1, 0, 0, 1])
ROUNDS = [1, 1, 2, 2, 3, 3, 4, 4]
PASSED = np.array([2, 4, 3, 1, 3, 4, 4, 2])


def test_without_rounds_it_is_welchs_t_on_shares():
    """scipy.stats.ttest_ind, set-ups of one size."""
    found = by_setups(PASSED, np.full(8, 4), NEW)
    share = PASSED / 4
    seen = stats.ttest_ind(share[NEW == 1], share[NEW == 0], equal_var=False)
    assert found.difference.p == pytest.approx(seen.pvalue)
    assert found.difference.interval() == pytest.approx(tuple(seen.confidence_interval()))
    assert (found.passed, found.of, found.passed_reference, found.of_reference) == (8, 16, 15, 16)
    assert found.shown == "interval"


def test_with_rounds_it_is_the_paired_t_on_shares():
    found = by_setups(PASSED, np.full(8, 4), NEW, rounds=ROUNDS)
    share = PASSED / 4
    gaps = np.array([share[0] - share[1], share[3] - share[2], share[4] - share[5],
                     share[7] - share[6]])  # fmt: skip
    seen = stats.ttest_1samp(gaps, 0)
    assert found.difference.p == pytest.approx(seen.pvalue)
    assert found.difference.df == 3
    # A round that lost its other set-up leaves the rest as it was.
    more = by_setups([*PASSED, 4], [4] * 9, [*NEW, 1], rounds=[*ROUNDS, 5])
    assert more.difference == found.difference


def test_larger_set_ups_weigh_more():
    """Weighted differences as statsmodels' weighted least squares on a constant."""
    of = np.array([4, 2, 3, 4, 2, 2, 4, 3])
    passed = np.array([2, 2, 3, 1, 1, 2, 4, 1])
    found = by_setups(passed, of, NEW, rounds=ROUNDS)
    share = passed / of
    one, zero = [0, 3, 4, 7], [1, 2, 5, 6]
    weights = of[one] * of[zero] / (of[one] + of[zero])
    seen = sm.WLS(share[one] - share[zero], np.ones(4), weights=weights).fit()
    assert found.difference.estimate == pytest.approx(seen.params[0])
    assert found.difference.se == pytest.approx(seen.bse[0])


def test_the_shuffle_stands_beside_and_says_its_smallest_p():
    deals = all_arrangements(NEW, ROUNDS)
    found = by_setups(PASSED, np.full(8, 4), NEW, rounds=ROUNDS, arrangements=deals)
    assert len(deals) == 16
    assert (found.shuffle.p, found.shuffle.smallest) == (0.125, 0.125)
    free = by_setups(PASSED, np.full(8, 4), NEW, arrangements=all_arrangements(NEW))
    assert free.shuffle.arrangements == 70
    # The two shares of three quarters may change places: two deals as seen, and their mirrors.
    assert free.shuffle.p == pytest.approx(4 / 70)


def test_no_scatter_leaves_the_shuffle_or_nothing():
    passed = np.where(NEW == 1, 0, 4)
    alone = by_setups(passed, np.full(8, 4), NEW)
    assert alone.difference is None
    assert "no scatter" in alone.why_no_interval
    assert alone.shown == "cannot_tell"
    dealt = by_setups(passed, np.full(8, 4), NEW, arrangements=all_arrangements(NEW))
    assert dealt.shown == "shuffle"
    paired = by_setups(
        passed, np.full(8, 4), NEW, rounds=ROUNDS, arrangements=all_arrangements(NEW, ROUNDS)
    )
    assert paired.shuffle.smallest == 0.125
    assert paired.shown == "cannot_tell"
    one = by_setups([3, 1], [4, 4], [1, 0])
    assert "one set-up only" in one.why_no_interval
    assert one.shown == "cannot_tell"


def test_a_set_up_that_cannot_be_is_refused():
    with pytest.raises(NotEstimable, match="all 8 coupons passed"):
        by_setups([4, 4], [4, 4], [1, 0])
    with pytest.raises(NotEstimable, match="only one level"):
        by_setups([4, 3], [4, 4], [1, 1])
    with pytest.raises(ValueError, match="at least one coupon"):
        by_setups([0, 3], [0, 4], [1, 0])


def test_arrangements_are_looked_at_as_handed_in():
    scores = np.array([3.0, 1.0, 4.0, 0.0])
    level = [1, 0, 1, 0]
    deals = all_arrangements(level)
    assert len(deals) == 6
    found = redraw(mean_gap(scores), level, deals)
    assert found.p == pytest.approx(2 / 6)
    some = redraw(mean_gap(scores), level, deals[:2], listed=False)
    assert (some.arrangements, some.sampled) == (3, True)
    with pytest.raises(ValueError, match="not among those listed"):
        redraw(mean_gap(scores), level, [[0, 0, 1, 1]])
    with pytest.raises(ValueError, match="4 columns"):
        redraw(mean_gap(scores), level, [[0, 1]])
