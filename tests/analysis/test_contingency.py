from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.contingency import exact_test, expected_counts, redealt, tabulate
from weldtrial.analysis.redraw import all_arrangements
from weldtrial.shared.problems import NotEstimable


def by_listing(table):
    """Every table with the same margins, one by one, in whole numbers."""
    rows, columns = table.sum(axis=1), table.sum(axis=0)

    def fill(left, place):
        if place == len(columns) - 1:
            yield [left]
            return
        for part in itertools.product(*(range(n + 1) for n in left)):
            if sum(part) == columns[place]:
                rest = tuple(a - b for a, b in zip(left, part, strict=True))
                for more in fill(rest, place + 1):
                    yield [part, *more]

    def ways(columns_of):
        return math.prod(
            math.factorial(sum(c)) // math.prod(math.factorial(n) for n in c) for c in columns_of
        )

    seen = ways([tuple(c) for c in table.T.tolist()])
    counts = [ways(found) for found in fill(tuple(rows.tolist()), 0)]
    return sum(c for c in counts if c <= seen) / sum(counts)


@pytest.mark.parametrize(("shape", "coupons"), [((2, 3), 12), ((2, 4), 14), ((3, 3), 12)])
def test_p_is_that_of_every_table_listed(shape, coupons):
    rng = np.random.default_rng(3)
    for _ in range(4):
        cells = rng.multinomial(coupons, rng.dirichlet(np.ones(shape[0] * shape[1])))
        table = cells.reshape(shape)
        if (table.sum(axis=1) > 0).all() and (table.sum(axis=0) > 0).all():
            assert exact_test(table).p == pytest.approx(by_listing(table), abs=1e-12)


def test_two_by_two_is_fishers_exact_test_of_scipy():
    for table in ([[3, 5], [7, 1]], [[0, 8], [4, 4]], [[10, 2], [6, 14]]):
        assert exact_test(table).p == pytest.approx(stats.fisher_exact(table).pvalue, abs=1e-12)


def test_larger_tables_agree_with_scipys_drawn_tables():
    """scipy.stats.fisher_exact of r by c tables draws them; ours counts: within 4 errors."""
    table = np.array([[4, 1, 3, 2], [1, 6, 2, 1], [3, 1, 1, 5]])
    drawn = stats.fisher_exact(
        table, method=stats.MonteCarloMethod(n_resamples=20_000, rng=np.random.default_rng(1))
    ).pvalue
    found = exact_test(table)
    assert found.drawn is None
    assert found.p == pytest.approx(drawn, abs=4 * (drawn * (1 - drawn) / 20_000) ** 0.5)


def test_eight_findings_and_sixty_coupons_are_counted():
    table = [[9, 6, 4, 3, 3, 2, 2, 1], [2, 3, 5, 4, 4, 5, 3, 4]]
    found = exact_test(table)
    assert found.drawn is None
    assert (found.p_low, found.p_high) == (found.p, found.p)
    forced = exact_test(table, longest=10, seed=4)
    assert forced.drawn == 100_000
    assert forced.p_low < found.p < forced.p_high
    assert forced.p_high - forced.p_low < 0.007
    assert exact_test(table, longest=10, seed=4) == forced


def test_order_and_empty_places_change_nothing():
    table = np.array([[4, 0, 1, 3], [1, 0, 5, 2]])
    p = exact_test(table).p
    assert exact_test(table[::-1, ::-1]).p == pytest.approx(p, abs=1e-14)
    assert exact_test(table.T).p == pytest.approx(p, abs=1e-14)
    assert exact_test(table[:, [0, 2, 3]]).p == p


def test_a_table_of_where_it_broke():
    gas = ["mix"] * 5 + ["co2"] * 5
    broke = ["throat", "throat", "toe", "throat", "HAZ", "toe", "toe", "root", "toe", "throat"]
    table = tabulate(gas, broke)
    assert table.levels == ("mix", "co2")
    assert table.findings == ("throat", "toe", "HAZ", "root")
    assert table.counts == ((3, 1, 1, 0), (1, 3, 0, 1))
    assert table.expected == ((2.0, 2.0, 0.5, 0.5), (2.0, 2.0, 0.5, 0.5))
    assert table.df == 3
    assert table.chi2 == pytest.approx(stats.chi2_contingency(table.counts).statistic)
    assert expected_counts(table.counts).sum() == pytest.approx(10)


def test_nothing_to_compare_is_said():
    with pytest.raises(NotEstimable, match="all 4 coupons show the same: throat"):
        tabulate(["a", "a", "b", "b"], ["throat"] * 4)
    with pytest.raises(NotEstimable, match="only one level"):
        tabulate(["a", "a"], ["toe", "root"])
    with pytest.raises(NotEstimable, match="same"):
        exact_test([[3, 0], [4, 0]])
    with pytest.raises(ValueError, match="whole numbers"):
        exact_test([[1.5, 2], [2, 2]])


def test_set_ups_are_dealt_whole():
    """Eight set-ups of four that broke alike: 70 deals, 2 as far apart; coupons would say 1e-8."""
    level = np.array([0, 0, 0, 0, 1, 1, 1, 1])
    counts = np.zeros((8, 3))
    counts[level == 0, 0] = 4
    counts[level == 1, 2] = 4
    found = redealt(counts, level, all_arrangements(level))
    assert (found.arrangements, found.sampled) == (70, False)
    assert found.p == found.smallest == pytest.approx(2 / 70)
    whole = np.array([counts[level == 0].sum(axis=0), counts[level == 1].sum(axis=0)])
    assert exact_test(whole).p < 1e-8
