from __future__ import annotations

import numpy as np
import pytest
from scipy import special, stats

from weldtrial.analysis.ranks import (
    better_interval,
    newcombe_interval,
    placement_interval,
    rank_sums,
    rank_test,
    rank_test_setups,
)
from weldtrial.analysis.redraw import all_arrangements
from weldtrial.shared.problems import NotEstimable

NEW = np.repeat([1, 0], 8)
GRADE = np.array([2, 3, 3, 1, 2, 3, 2, 4, 0, 1, 1, 2, 0, 3, 1, 2])


def test_without_ties_it_is_scipys_exact_test():
    rng = np.random.default_rng(1)
    for new, reference in [(4, 4), (8, 8), (5, 11), (16, 16)]:
        y = rng.normal(size=new + reference)
        found = rank_test(y, np.repeat([1, 0], [new, reference]))
        seen = stats.mannwhitneyu(y[:new], y[new:], method="exact")
        assert found.p == pytest.approx(seen.pvalue, abs=1e-12)
        assert found.better == pytest.approx(seen.statistic / (new * reference))
        assert found.smallest == pytest.approx(2 / special.comb(new + reference, new), rel=1e-9)


def test_with_ties_it_is_every_way_to_deal_the_levels():
    """scipy.stats.permutation_test over all 12870 ways."""

    def far(a, b, axis):
        ranks = stats.rankdata(np.concatenate([a, b], axis=axis), axis=axis)
        return np.abs(ranks[..., :8].sum(axis=-1) - 68)

    seen = stats.permutation_test(
        (GRADE[:8], GRADE[8:]), far, vectorized=True, n_resamples=np.inf, alternative="greater"
    )
    assert rank_test(GRADE, NEW).p == pytest.approx(seen.pvalue, abs=1e-12)


def test_rank_sums_count_every_choice():
    sums, chances = rank_sums(np.array([1.5, 1.5, 3.0, 4.0]), 2)
    assert sums.tolist() == [3.0, 4.5, 5.5, 7.0]
    assert chances == pytest.approx([1 / 6, 2 / 6, 2 / 6, 1 / 6])


def test_rounds_are_dealt_within():
    """Two rounds of three and four coupons, all 3 × 6 deals listed by hand."""
    grade = np.array([1, 2, 3, 0, 1, 1, 4])
    new = np.array([0, 0, 1, 0, 1, 0, 1])
    rounds = ["a"] * 3 + ["b"] * 4

    def statistic(first, second):
        a, b = stats.rankdata(grade[:3]), stats.rankdata(grade[3:])
        return (a[list(first)].sum() - 2) / 4 + (b[list(second)].sum() - 5) / 5

    pairs = [(i, j) for i in range(4) for j in range(i)]
    values = [statistic([i], pair) for i in range(3) for pair in pairs]
    seen = statistic([2], (1, 3))
    found = rank_test(grade, new, rounds)
    assert found.p == pytest.approx(np.mean(np.abs(values) >= abs(seen) - 1e-9))
    # A round with one level only tells nothing.
    more = rank_test(np.append(grade, 9), np.append(new, 1), [*rounds, "c"])
    assert more == found


def test_rounds_of_many_sizes_are_drawn(monkeypatch):
    """Drawn and counted p agree within four errors, and the drawing says so."""
    from weldtrial.analysis import ranks

    rng = np.random.default_rng(3)
    rounds = np.repeat(np.arange(5), [8, 7, 9, 6, 8])
    new, grade = rng.integers(0, 2, 38), rng.integers(0, 4, 38)
    exact = rank_test(grade, new, rounds.tolist())
    monkeypatch.setattr(ranks, "MOST_SUMS", 1000)
    drawn = rank_test(grade, new, rounds.tolist(), seed=5)
    assert (exact.drawn, drawn.drawn) == (None, 99_999)
    assert drawn.better == exact.better
    assert drawn.p == pytest.approx(exact.p, abs=4 * (exact.p * (1 - exact.p) / 1e5) ** 0.5)


def test_set_ups_are_dealt_whole():
    new = np.repeat([1, 0, 1, 0, 1, 0, 1, 0], 2)
    setup = np.repeat(np.arange(8), 2)
    grade = np.where(new == 1, 3, 1)
    level = np.array([1, 0] * 4)
    free = rank_test_setups(grade, new, setup, all_arrangements(level))
    assert free.p == pytest.approx(2 / 70)
    rounds = np.repeat([1, 1, 2, 2, 3, 3, 4, 4], 2).tolist()
    paired = rank_test_setups(
        grade, new, setup, all_arrangements(level, [1, 1, 2, 2, 3, 3, 4, 4]), rounds=rounds
    )
    assert (paired.p, paired.smallest, paired.arrangements) == (0.125, 0.125, 16)
    assert rank_test(grade, new).p < 0.001
    with pytest.raises(ValueError, match="coupons of both levels"):
        rank_test_setups(grade, new, np.arange(16) // 4, all_arrangements([1, 0, 1, 0]))


def test_one_coupon_a_set_up_is_the_test_of_coupons():
    found = rank_test_setups(GRADE, NEW, np.arange(16), all_arrangements(NEW))
    assert found.p == pytest.approx(rank_test(GRADE, NEW).p, abs=1e-12)


def test_newcombe_interval_solves_its_own_equation():
    """(estimate - limit)² = z² times the variance at the limit (Newcombe 2006, method 5)."""
    for better in (0.5, 0.8, 0.97):
        for limit in newcombe_interval(better, 8, 10):
            spread = limit * (1 - limit) * (
                1 + 8 * ((1 - limit) / (2 - limit) + limit / (1 + limit))
            ) / 80  # fmt: skip
            z = stats.norm.ppf(0.975)
            assert (better - limit) ** 2 == pytest.approx(z * z * spread, rel=1e-8)
    low, high = newcombe_interval(1.0, 8, 8)
    assert 0.6 < low < 0.9
    assert high == 1.0
    assert newcombe_interval(0.0, 8, 8) == pytest.approx((0.0, 1 - low))


def test_placement_interval_has_the_scatter_of_brunner_and_munzel():
    """scipy.stats.brunnermunzel gives statistic and p; the standard error follows from them."""
    seen = stats.brunnermunzel(GRADE[8:], GRADE[:8])
    low, high = placement_interval(GRADE, NEW)
    better = rank_test(GRADE, NEW).better
    half = (special.logit(high) - special.logit(low)) / 2 * better * (1 - better)
    se = (better - 0.5) / seen.statistic
    df = 2.0
    while 2 * stats.t.sf(abs(seen.statistic), df) > seen.pvalue:
        df += 0.001
    assert half == pytest.approx(stats.t.ppf(0.975, df) * se, rel=1e-3)


def test_which_interval_is_given():
    better = rank_test(GRADE, NEW).better
    assert better_interval(GRADE, NEW) == newcombe_interval(better, 8, 8)
    setup = np.repeat(np.arange(8), 2)
    assert better_interval(GRADE, NEW, setup) == placement_interval(GRADE, NEW, setup)
    apart = np.where(NEW == 1, 3, 1)
    assert better_interval(apart, NEW, setup) == newcombe_interval(1.0, 4, 4)
    with pytest.raises(NotEstimable, match="one set-up only"):
        better_interval(GRADE, NEW, np.repeat([0, 1], 8))


def test_nothing_to_compare_is_said():
    with pytest.raises(NotEstimable, match="only one level"):
        rank_test([1, 2], [1, 1])
    with pytest.raises(NotEstimable, match="same grade"):
        rank_test([2, 2], [1, 0])
    with pytest.raises(NotEstimable, match="no round"):
        rank_test([1, 2], [1, 0], ["a", "b"])
