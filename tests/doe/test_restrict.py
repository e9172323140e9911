"""Orders over rounds: counts by brute force, the published floors, and even draws."""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from hashlib import sha256
from itertools import permutations, product
from math import comb

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2

from weldtrial.doe.draw import Draw
from weldtrial.doe.restrict import (
    all_orders,
    count_orders,
    count_splits,
    draw_orders,
    is_allowed,
    restriction_in_words,
    smallest_p,
    smallest_p_shuffled,
    usual_limit,
)
from weldtrial.shared.problems import PlanRefused


def brute_force(
    rounds: int, levels: str, limit: int | None, per_round: int
) -> set[tuple[object, ...]]:
    rows = set(permutations(levels * per_round))
    most = rounds if limit is None else limit
    return {
        orders
        for orders in product(rows, repeat=rounds)
        if all(sum(row[0] == level for row in orders) <= most for level in levels)
    }


@pytest.mark.parametrize(
    ("rounds", "levels", "limit", "per_round"),
    [(1, "ab", None, 1), (4, "ab", 2, 1), (6, "ab", 4, 1), (3, "abc", 1, 1), (4, "abc", 2, 1),
     (3, "ab", 2, 2), (2, "ab", 1, 2), (3, "ab", 0, 1), (5, "ab", 2, 1), (2, "abc", 2, 1)],
)  # fmt: skip
def test_counts_and_lists_agree_with_brute_force(
    rounds: int, levels: str, limit: int | None, per_round: int
) -> None:
    expected = brute_force(rounds, levels, limit, per_round)
    assert count_orders(rounds, len(levels), limit, per_round) == len(expected)
    listed = list(all_orders(rounds, levels, limit, per_round))
    assert len(listed) == len(expected)
    assert set(listed) == expected


def test_six_rounds_have_fifty_allowed_orders_and_a_strict_rule_leaves_twenty() -> None:
    assert usual_limit(6) == 4
    assert count_orders(6, 2, 4) == 50
    assert count_orders(6, 2, 3) == 20


def test_big_counts_are_exact() -> None:
    assert count_orders(18, 2, 12) == sum(comb(18, led) for led in range(6, 13))
    assert count_orders(200, 2, None) == 2**200
    assert count_orders(3, 2, None, 2) == 6**3


@pytest.mark.parametrize(
    ("rounds", "floor"),
    [(1, Fraction(1)), (2, Fraction(1, 2)), (3, Fraction(1, 4)), (4, Fraction(1, 8)),
     (5, Fraction(1, 16)), (6, Fraction(2, 50)), (9, Fraction(2, 420))],
)  # fmt: skip
def test_the_smallest_p_over_rounds(rounds: int, floor: Fraction) -> None:
    assert smallest_p(rounds, 2, usual_limit(rounds)) == floor


def test_the_smallest_p_of_eighteen_rounds_and_of_strict_balance() -> None:
    assert smallest_p(18, 2, usual_limit(18)) < Fraction(1, 1000)
    assert smallest_p(6, 2, 3) == Fraction(1, 10)


@pytest.mark.parametrize(
    ("sizes", "arrangements", "floor"),
    [((2, 2), 6, Fraction(1, 3)), ((3, 3), 20, Fraction(1, 10)), ((4, 4), 70, Fraction(1, 35)),
     ((1, 1), 2, Fraction(1)), ((1, 3), 4, Fraction(1, 4)), ((2, 2, 2), 90, Fraction(1, 15))],
)  # fmt: skip
def test_the_smallest_p_without_rounds(
    sizes: tuple[int, ...], arrangements: int, floor: Fraction
) -> None:
    assert count_splits(sizes) == arrangements
    assert smallest_p_shuffled(sizes) == floor


def test_the_floor_is_reached_by_an_actual_shuffle_test() -> None:
    # Two gases, six rounds: a response that follows the gas exactly, tested over all 50 orders.
    observed = next(iter(all_orders(6, "ab", 4)))
    places = [i + 0.1 * j for i in range(6) for j in range(2)]  # distinct, no accidental ties
    names = [name for row in observed for name in row]
    response = [100.0 * (name == "b") + noise for name, noise in zip(names, places, strict=True)]

    def gap(orders: tuple[tuple[str, ...], ...]) -> float:
        signs = [1 if name == "b" else -1 for row in orders for name in row]
        return abs(sum(sign * value for sign, value in zip(signs, response, strict=True)))

    gaps = [gap(orders) for orders in all_orders(6, "ab", 4)]
    as_extreme = sum(value >= gap(observed) - 1e-9 for value in gaps)
    assert Fraction(as_extreme, len(gaps)) == smallest_p(6, 2, 4)


def test_below_six_rounds_nothing_is_restricted() -> None:
    assert [usual_limit(rounds) for rounds in range(1, 10)] == [None] * 5 + [4, 4, 5, 6]
    assert restriction_in_words(6, 4, "gas") == "no gas first in more than 4 of 6 rounds"
    assert restriction_in_words(5, None) == ""


def test_draws_are_even_over_the_allowed_orders() -> None:
    draw = Draw(sha256(b"fifty orders").digest())
    seen = Counter(draw_orders(draw, 6, ("mix", "co2"), 4)[0] for _ in range(50 * 60))
    allowed = list(all_orders(6, ("mix", "co2"), 4))
    assert set(seen) <= set(allowed)
    statistic = sum((seen[order] - 60) ** 2 / 60 for order in allowed)
    assert chi2.ppf(0.001, 49) < statistic < chi2.ppf(0.999, 49)


def test_redraws_are_counted() -> None:
    draw = Draw(sha256(b"redraws").digest())
    counts = [draw_orders(draw, 6, "ab", 3)[1] for _ in range(2000)]
    # One free order in 64/20 = 3.2 obeys the strict rule; geometric, sd sqrt(3.2 * 2.2) = 2.65.
    assert abs(sum(counts) / 2000 - 3.2) < 4 * 2.65 / 2000**0.5


def test_golden_order_does_not_change() -> None:
    key = sha256(b"golden redraws").digest()
    orders, draws = draw_orders(Draw(key), 6, ("mix", "co2"), 3)
    # By hand: a round of two takes one byte, and an even byte exchanges the pair; six bytes
    # make a draw, and the first draw with three of each is the one.
    stream = sha256(key + bytes(8)).digest() + sha256(key + (1).to_bytes(8, "big")).digest()
    firsts = ["".join("cm"[byte % 2] for byte in stream[i : i + 6]) for i in range(0, 60, 6)]
    accepted = next(i for i, first in enumerate(firsts) if first.count("m") == 3)
    assert "".join(row[0][0] for row in orders) == firsts[accepted] == "cmccmm"
    assert draws == accepted + 1 == 3


@pytest.mark.parametrize(("rounds", "levels", "limit"), [(6, "ab", 2), (7, "abc", 2), (3, "a", 2)])
def test_what_nothing_satisfies_is_refused(rounds: int, levels: str, limit: int) -> None:
    assert count_orders(rounds, len(levels), limit) == 0
    with pytest.raises(PlanRefused, match="No order"):
        draw_orders(Draw(bytes(32)), rounds, levels, limit)


def test_too_many_orders_are_not_listed() -> None:
    with pytest.raises(ValueError, match="too many"):
        all_orders(16, "ab", None)


@settings(max_examples=60)
@given(
    key=st.binary(min_size=32, max_size=32),
    rounds=st.integers(1, 12),
    levels=st.integers(2, 4),
    per_round=st.integers(1, 3),
)
def test_any_drawn_order_is_balanced_allowed_and_repeatable(
    key: bytes, rounds: int, levels: int, per_round: int
) -> None:
    names, limit = "abcd"[:levels], usual_limit(rounds)
    orders, draws = draw_orders(Draw(key), rounds, names, limit, per_round)
    assert draws >= 1
    assert len(orders) == rounds
    assert is_allowed(orders, limit)
    assert all(Counter(row) == Counter(names * per_round) for row in orders)
    assert draw_orders(Draw(key), rounds, names, limit, per_round) == (orders, draws)
