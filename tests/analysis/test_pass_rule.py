"""The rule of so many of so many, against scipy's binomial and beta-binomial."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.pass_rule import (
    REACHED,
    fewest_coupons,
    largest,
    pass_rule,
    passes_alike,
    reached,
)


def test_five_of_eight_is_what_eight_in_ten_reach_94_times_in_100() -> None:
    rule = pass_rule((8,), 0.8)
    assert (rule.at_least, rule.of) == (5, 8)
    assert rule.reached == pytest.approx(0.9437184, abs=1e-12)  # 1 - sum of 0..4, by hand
    assert rule.reached_alike == pytest.approx(rule.reached, abs=1e-12)
    assert rule.noticed(0.6) == pytest.approx(stats.binom.cdf(4, 8, 0.6), abs=1e-12)
    assert rule.noticed(0.5) == pytest.approx(163 / 256, abs=1e-12)


@pytest.mark.parametrize("share", [0.05, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 1.0])
@pytest.mark.parametrize("of", [1, 2, 3, 6, 8, 12, 30, 200])
def test_the_rule_is_the_largest_that_is_reached_often_enough(of: int, share: float) -> None:
    m = largest(of, share)
    assert reached(m, of, share) >= REACHED
    assert stats.binom.sf(m - 1, of, share) == pytest.approx(reached(m, of, share), abs=1e-10)
    if m < of:
        assert stats.binom.sf(m, of, share) < REACHED


@pytest.mark.parametrize("share", [0.05, 0.25, 0.5, 0.8, 0.9, 0.97])
def test_fewest_coupons_are_those_from_which_one_pass_can_be_asked(share: float) -> None:
    few = fewest_coupons(share)
    assert largest(few, share) >= 1
    assert few == 1 or largest(few - 1, share) == 0


@pytest.mark.parametrize("alike", [0.0, 0.05, 0.2, 0.6])
@pytest.mark.parametrize("sizes", [(8,), (4, 4), (3, 2, 2)])
def test_passes_over_set_ups_are_sums_of_beta_binomials(
    sizes: tuple[int, ...], alike: float
) -> None:
    share = 0.8
    found = passes_alike(sizes, share, alike)
    total = np.ones(1)
    for size in sizes:
        k = np.arange(size + 1)
        one = (
            stats.betabinom.pmf(k, size, share * (1 - alike) / alike, 0.2 * (1 - alike) / alike)
            if alike
            else stats.binom.pmf(k, size, share)
        )
        total = np.convolve(total, one)
    assert found == pytest.approx(total, abs=1e-10)
    assert found.sum() == pytest.approx(1, abs=1e-12)


def test_the_beta_binomial_has_the_intraclass_correlation_it_is_given() -> None:
    share, alike, size = 0.7, 0.3, 5
    found = passes_alike((size,), share, alike)
    k = np.arange(size + 1)
    variance = float((k**2 * found).sum() - (k * found).sum() ** 2)
    assert variance == pytest.approx(size * share * (1 - share) * (1 + (size - 1) * alike))


def test_coupons_that_are_alike_reach_a_rule_less_often() -> None:
    rules = [pass_rule((4, 4), 0.8, alike) for alike in (0.0, 0.1, 0.3, 0.6)]
    chances = [one.reached_alike for one in rules]
    assert chances == sorted(chances, reverse=True)
    assert {one.at_least for one in rules} == {5}
    assert pass_rule((4, 4), 1.0, 0.3).reached_alike == 1.0


def test_the_table_of_the_help_page_is_true() -> None:
    page = Path(__file__).parents[2] / "cli" / "help" / "next.md"
    rows = re.findall(
        r"^\| (\d+) \| (\d+) \| (\d+) in 100 \| (\d+) \| (\d+) \|$",
        page.read_text(encoding="utf-8"),
        re.MULTILINE,
    )
    assert len(rows) == 4
    for row in rows:
        of, at_least, *said = map(int, row)
        rule = pass_rule((of,), 0.8)
        assert rule.at_least == at_least
        chances = (rule.reached, rule.noticed(0.6), rule.noticed(0.5))
        assert [round(100 * one) for one in chances] == said
