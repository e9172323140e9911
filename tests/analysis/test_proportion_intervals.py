from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize, special, stats

from weldtrial.analysis.proportion_intervals import (
    difference_interval,
    difference_scores,
    ratio_interval,
    ratio_scores,
)
from weldtrial.analysis.proportions import no_worse_rejects, score, share_interval


@pytest.mark.parametrize(("of", "of_reference"), [(5, 9), (16, 16), (30, 20)])
@pytest.mark.parametrize("shift", [-0.8, -0.2, 0.0, 0.1, 0.5])
def test_restricted_shares_are_the_likeliest(of, of_reference, shift):
    """Against the likelihood on a grid: no share on it does better than the closed form."""
    z = difference_scores(of, of_reference, shift)
    one, zero = np.arange(of + 1) / of, np.arange(of_reference + 1) / of_reference
    grid = np.linspace(max(0, -shift), min(1, 1 - shift), 4001)[1:-1]
    for x in range(0, of + 1, 2):
        for y in range(0, of_reference + 1, 3):
            height = (
                special.xlogy(x, grid + shift)
                + special.xlog1py(of - x, -grid - shift)
                + special.xlogy(y, grid)
                + special.xlog1py(of_reference - y, -grid)
            )
            q = grid[height.argmax()]
            sd = ((q + shift) * (1 - q - shift) / of + q * (1 - q) / of_reference) ** 0.5
            # The grid is 1/4000 of the range apart, so z near an end agrees to a few per cent.
            if 0.02 < (q - grid[0]) / (grid[-1] - grid[0]) < 0.98:
                assert z[x, y] == pytest.approx((one[x] - zero[y] - shift) / sd, rel=5e-3, abs=5e-3)


def test_scores_are_those_of_the_test_against_a_margin():
    """Two closed forms written apart (`proportions.score`) agree to every decimal kept."""
    for of, of_reference, margin in [(8, 8, 0.1), (16, 12, 0.25), (40, 60, 0.05), (9, 30, 0.0)]:
        assert np.array_equal(
            difference_scores(of, of_reference, -margin), score(of, of_reference, margin)
        )


def test_score_of_no_difference_is_the_pooled_one_of_scipy():
    """scipy.stats.barnard_exact's statistic, for tables with scatter in them."""
    z = difference_scores(7, 12, 0.0)
    at_one = ratio_scores(7, 12, 1.0)
    for x, y in [(2, 9), (7, 3), (0, 5), (5, 12)]:
        table = [[x, y], [7 - x, 12 - y]]
        seen = stats.barnard_exact(table, n=4).statistic
        assert z[x, y] == pytest.approx(seen, abs=1e-6)
        assert at_one[x, y] == pytest.approx(seen, abs=1e-6)


@pytest.mark.parametrize(
    ("outcome", "low", "high"),
    [
        ((56, 70, 48, 80), 0.0533, 0.3377),
        ((9, 10, 3, 10), 0.1821, 0.8370),
        ((6, 7, 2, 7), 0.0544, 0.8478),
        ((5, 56, 0, 29), -0.0313, 0.1926),
        ((0, 10, 0, 20), -0.1611, 0.2775),
    ],
)
def test_scores_give_the_large_sample_interval_of_mee(outcome, low, high):
    """Mee's 95 % limits in Newcombe (1998), Stat. Med. 17:873-890, table II (from memory)."""
    x, of, y, of_reference = outcome
    seen, z = x / of - y / of_reference, 1.959964
    found = [
        optimize.brentq(
            lambda shift, at=at: difference_scores(of, of_reference, shift)[x, y] - at,
            *((-0.999, seen) if at > 0 else (seen, 0.999)),
        )
        for at in (z, -z)
    ]
    assert found == pytest.approx([low, high], abs=6e-5)
    # The exact interval promises more and is never the shorter one here.
    exact = difference_interval(*outcome)
    assert exact.low < low
    assert exact.high > high


def test_interval_and_barnard_test_agree_on_zero():
    """The 95 % interval excludes 0 where the smaller one-sided Barnard p is .025 or less."""
    for x, y in [(14, 9), (15, 9), (16, 11), (16, 12), (8, 2), (5, 1)]:
        found = difference_interval(x, 16, y, 16)
        p = stats.barnard_exact([[x, y], [16 - x, 16 - y]], alternative="greater").pvalue
        assert (found.low > 0) == (p <= 0.025)
        # At a ratio of 1 and a difference of 0 it is the same test.
        assert (ratio_interval(x, 16, y, 16).low > 1) == (p <= 0.025)


def test_interval_shows_no_worse_where_the_exact_test_does():
    low = np.array(
        [[difference_interval(x, 6, y, 8, 0.90).low for y in range(9)] for x in range(7)]
    )
    for margin in (0.1, 0.25, 0.4):
        assert np.array_equal(low > -margin, no_worse_rejects(6, 8, margin))


def test_intervals_turn_round_with_the_gases():
    for x, n, y, m in [(3, 8, 7, 9), (0, 8, 5, 8), (12, 12, 20, 30)]:
        one, two = difference_interval(x, n, y, m), difference_interval(y, m, x, n)
        assert (one.low, one.high) == pytest.approx((-two.high, -two.low), abs=1e-12)
        # Failing instead of passing turns the difference round as well.
        fails = difference_interval(n - x, n, m - y, m)
        assert (fails.low, fails.high) == pytest.approx((-one.high, -one.low), abs=3e-6)
        one, two = ratio_interval(x, n, y, m), ratio_interval(y, m, x, n)
        assert one.low == pytest.approx(1 / two.high if two.high < math.inf else 0.0)


def test_all_pass_against_all_pass_is_as_wide_as_one_share_tells():
    """The worst the new can be is what its own passes leave open: Clopper-Pearson's .6306."""
    found = difference_interval(8, 8, 8, 8)
    alone = share_interval(8, 8)[0]
    assert alone == pytest.approx(0.025 ** (1 / 8))
    assert found.low == pytest.approx(alone - 1, abs=2e-6)
    assert found.high == pytest.approx(1 - alone, abs=2e-6)
    assert ratio_interval(8, 8, 8, 8).low == pytest.approx(alone, abs=2e-6)


def test_ends_of_the_scale():
    nothing = ratio_interval(0, 8, 0, 8)
    assert math.isnan(nothing.estimate)
    assert (nothing.low, nothing.high) == (0.0, math.inf)
    above = ratio_interval(8, 8, 0, 8)
    assert above.estimate == math.inf
    assert 1 < above.low < 8
    assert above.high == math.inf
    assert ratio_interval(0, 8, 8, 8).low == 0.0
    apart = difference_interval(8, 8, 0, 8)
    assert (apart.estimate, apart.high) == (1.0, 1.0)
    assert 0.5 < apart.low < 0.7
    one = difference_interval(1, 1, 0, 1)
    assert -1 <= one.low < 0.06
    assert one.high == 1.0


def test_more_confidence_is_wider():
    for interval in (difference_interval, ratio_interval):
        wide, narrow = interval(14, 16, 11, 16, 0.95), interval(14, 16, 11, 16, 0.90)
        assert wide.low < narrow.low < narrow.estimate < narrow.high < wide.high


def test_impossible_outcomes_are_refused():
    with pytest.raises(ValueError, match="9 of 8 cannot have passed"):
        difference_interval(9, 8, 1, 8)
    with pytest.raises(ValueError, match="0 of 0"):
        ratio_interval(0, 0, 1, 8)
    with pytest.raises(ValueError, match="confidence"):
        difference_interval(1, 8, 1, 8, 95)
