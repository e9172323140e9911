from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.proportion import confint_proportions_2indep

from weldtrial.analysis.counted_many import Rule, setup_places
from weldtrial.analysis.judge import CODES, Bounds, Evidence, judge
from weldtrial.analysis.redraw import all_arrangements, mean_gap, redraw
from weldtrial.analysis.setup_proportions import by_setups, least_se, least_variance
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


# ---------------------------------------------------------------------- not narrower than luck


def test_set_ups_of_one_coupon_have_agresti_and_caffos_width():
    """statsmodels, `agresti-caffo`: centred on the moved shares, ours on what was seen."""
    for one, zero in ((15, 14), (16, 11), (9, 4)):
        passed = np.array([1] * one + [0] * (16 - one) + [1] * zero + [0] * (16 - zero))
        new = np.repeat([1, 0], 16)
        low, high = confint_proportions_2indep(one, 16, zero, 16, method="agresti-caffo")
        least = float(least_variance(passed, np.ones(32), new)) ** 0.5
        assert 2 * stats.norm.ppf(0.975) * least == pytest.approx(high - low, rel=1e-12)


def test_alike_set_ups_by_hand():
    """Four set-ups of eight, 31 of 32 and 32 of 32, one set-up of either kind added.

    (31 + 8) / 48 and (32 + 8) / 48, 1 + 7 * .2 = 2.4 coupons for one.
    """
    passed, of, new = np.array([8, 8, 8, 7, 8, 8, 8, 8]), np.full(8, 8), np.repeat([1, 0], 4)
    by_hand = 2.4 / 48 * (39 * 9 + 40 * 8) / 48**2
    assert float(least_variance(passed, of, new)) == pytest.approx(by_hand)
    found = by_setups(passed, of, new)
    assert found.interval(0.9)[0] == pytest.approx(-1 / 32 - stats.norm.ppf(0.95) * by_hand**0.5)
    # Welch's t alone would rule out a fall of 20 points on one failure in four set-ups.
    assert found.difference.interval(0.9)[0] > -0.2 > found.interval(0.9)[0]
    assert least_se(0.9, 4, 8) == pytest.approx(float(least_variance([7.2] * 8, of, new)) ** 0.5)


def test_never_narrower_than_t_nor_than_agresti_and_caffo_and_p_follows():
    """Every p is below its rate just where the interval leaves out 0."""
    rng = np.random.default_rng(11)
    for _ in range(300):
        setups, size = int(rng.integers(2, 9)), int(rng.integers(1, 9))
        new, of = np.repeat([1, 0], setups), np.full(2 * setups, size)
        passed = rng.binomial(size, rng.beta(2, 1, size=2 * setups))
        if not 0 < passed.sum() < of.sum():
            continue
        rounds = [*range(setups)] * 2 if rng.random() < 0.5 else None
        found = by_setups(passed, of, new, rounds=rounds)
        if found.difference is None:
            continue
        (low, high), (low_t, high_t) = found.interval(), found.difference.interval()
        assert low <= low_t
        assert high >= high_t
        one, zero = passed[:setups].sum(), passed[setups:].sum()
        many = setups * size
        if many >= 8:
            ends = confint_proportions_2indep(one, many, zero, many, method="agresti-caffo")
            assert high - low >= ends[1] - ends[0] - 1e-12
        assert (found.p < 0.05) == (low > 0 or high < 0)


@pytest.mark.parametrize("paired", [True, False])
def test_many_at_once_are_judged_alike_with_set_ups_of_all_sizes(paired):
    """Unequal set-ups, and a round that lost its other set-up."""
    rng = np.random.default_rng(12)
    of = np.array([4, 3, 4, 2, 4, 4, 1, 4, 3, 4, 2])
    new = np.array([1, 0, 1, 0, 1, 0, 1, 0, 1, 0, 1], dtype=bool)
    rounds = np.array([1, 1, 2, 2, 3, 3, 4, 4, 5, 5, 6]) if paired else None
    passed = rng.binomial(of, rng.beta(9, 1, size=(400, 11)))
    rule = Rule("no-worse", 1, 0.25, 0.05, 0.05)
    places = setup_places(passed.astype(float), of.astype(float), new, rounds, rule, None)
    for row, place in zip(passed, places, strict=True):
        code = "cannot_tell"
        if row.sum() < of.sum():
            found = by_setups(row, of, new, rounds=None if rounds is None else rounds.tolist())
            if found.difference is not None:
                ends = np.clip([*found.interval(0.95), *found.interval(0.90)], -1, 1)
                code = judge(Evidence.of(Bounds(*ends.tolist()), 0.25), "no-worse")
        assert CODES[place] == code
    assert len(set(places.tolist())) > 2
