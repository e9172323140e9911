"""Counting and listing orders: how many ways a trial could have been shuffled.

An *order* is one round after another, each round a row of the levels (gases) in which every
level comes equally often.  The *restriction* says that no level may come first in more than
`limit` of the rounds.  Planning draws from these orders and the shuffle test compares with
them, so both count them here.

References
----------
Phipson & Smyth (2010). Permutation p-values should never be zero. *Statistical Applications in
Genetics and Molecular Biology* 9(1), article 39: the observed order is one of those that could
have been drawn, so no p can be below its share.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from fractions import Fraction
from math import comb, factorial, prod

FEW_ENOUGH_TO_LIST = 20_000
"""Beyond this many orders a shuffle test samples instead of listing."""

RESTRICTED_FROM = 6
"""Rounds from which the order is restricted; with fewer, every order counts too dearly."""

Round = tuple[str, ...]
Orders = tuple[Round, ...]


def usual_limit(rounds: int) -> int | None:
    """Return in how many rounds a level may come first: two thirds, from six rounds on.

    None means no restriction.
    """
    return 2 * rounds // 3 if rounds >= RESTRICTED_FROM else None


def _checked(rounds: int, levels: int, per_round: int) -> None:
    if rounds < 1 or levels < 1 or per_round < 1:
        raise ValueError("rounds, levels and set-ups a round are whole numbers from 1")


def count_first(rounds: int, levels: int, limit: int | None) -> int:
    """Count the ways to say which level comes first in each round, under the restriction.

    Parameters
    ----------
    rounds, levels
        At least 1 each.
    limit
        Most rounds in which one level may come first; None for no restriction.

    Notes
    -----
    Level by level, the rounds it leads are chosen among those still without a leader; exact
    whole numbers throughout.  Without a restriction, and for two levels, the same number comes
    from a closed form, which stays quick for thousands of rounds.
    """
    _checked(rounds, levels, 1)
    most = rounds if limit is None else limit
    if most < 0:
        return 0
    if most >= rounds:
        return int(levels**rounds)
    if levels == 2:
        return _middle_binomials(rounds, most)
    ways = [1] + [0] * rounds
    for _ in range(levels):
        ways = [
            sum(ways[led - own] * comb(led, own) for own in range(min(most, led) + 1))
            for led in range(rounds + 1)
        ]
    return ways[rounds]


def _middle_binomials(rounds: int, most: int) -> int:
    """Return the sum of the binomial coefficients of `rounds` from `rounds` − `most` to `most`."""
    total, term = 0, 1
    for own in range(rounds + 1):
        if rounds - most <= own <= most:
            total += term
        term = term * (rounds - own) // (own + 1)
    return total


def orders_of_one_round(levels: int, per_round: int = 1) -> int:
    """Count the orders of one round of `levels` levels with `per_round` set-ups of each."""
    _checked(1, levels, per_round)
    return int(factorial(levels * per_round) // factorial(per_round) ** levels)


def count_orders(rounds: int, levels: int, limit: int | None, per_round: int = 1) -> int:
    """Count the allowed orders of the whole trial, exactly.

    Parameters
    ----------
    rounds, levels, per_round
        At least 1 each; `per_round` set-ups of each level in every round.
    limit
        Most rounds in which one level may come first; None for no restriction.
    """
    # By symmetry each level leads the same share of a round's orders.
    after_the_first = orders_of_one_round(levels, per_round) // levels
    return int(count_first(rounds, levels, limit) * after_the_first**rounds)


def is_allowed(orders: Sequence[Sequence[str]], limit: int | None) -> bool:
    """Tell whether no level comes first in more than `limit` of the rounds."""
    if limit is None:
        return True
    return max(Counter(order[0] for order in orders).values(), default=0) <= limit


def all_orders(
    rounds: int, levels: Sequence[str], limit: int | None, per_round: int = 1
) -> Iterator[Orders]:
    """Yield every allowed order once, each as one tuple of levels a round.

    Raises
    ------
    ValueError
        If there are more than `FEW_ENOUGH_TO_LIST`, or a level is named twice.
    """
    if len(set(levels)) != len(levels):
        raise ValueError("a level is named twice")
    count = count_orders(rounds, len(levels), limit, per_round)
    if count > FEW_ENOUGH_TO_LIST:
        raise ValueError(f"{count} orders are too many to list")
    rows = tuple(_rows(Counter(dict.fromkeys(levels, per_round))))
    most = rounds if limit is None else limit
    return _extend((), rounds, rows, Counter(dict.fromkeys(levels, most)))


def _rows(left: Counter[str]) -> Iterator[Round]:
    """Yield the different rows of a bag of levels."""
    if not left.total():
        yield ()
    for level in [name for name, times in left.items() if times]:
        left[level] -= 1
        yield from ((level, *rest) for rest in _rows(left))
        left[level] += 1


def _extend(
    so_far: Orders, rounds: int, rows: Sequence[Round], leads_left: Counter[str]
) -> Iterator[Orders]:
    if len(so_far) == rounds:
        yield so_far
        return
    # A branch whose remaining leads cannot fill the rounds has no order at its end.
    if leads_left.total() < rounds - len(so_far):
        return
    for row in rows:
        if leads_left[row[0]] > 0:
            leads_left[row[0]] -= 1
            yield from _extend((*so_far, row), rounds, rows, leads_left)
            leads_left[row[0]] += 1


def smallest_p(
    rounds: int, levels: int = 2, limit: int | None = None, per_round: int = 1
) -> Fraction:
    """Return the smallest two-sided p that a shuffle test over rounds can reach.

    Exchanging the names of the levels throughout gives a result as extreme as the one
    observed, and an order allowed as much; so at best levels! of the orders are as extreme.
    For two levels that is 2 over the count of allowed orders.

    Parameters
    ----------
    rounds, levels, per_round
        At least 1 each.
    limit
        The restriction obeyed when drawing; None for none (see `usual_limit`).

    Raises
    ------
    ValueError
        If no order is allowed at all.

    References
    ----------
    Phipson & Smyth (2010), as above.
    """
    count = count_orders(rounds, levels, limit, per_round)
    if count == 0:
        raise ValueError("no order obeys the restriction")
    return min(Fraction(1), Fraction(factorial(levels), count))


def count_splits(sizes: Sequence[int]) -> int:
    """Count the ways to deal set-ups out to levels, `sizes` set-ups to each, without rounds."""
    if not sizes or min(sizes) < 1:
        raise ValueError("every level needs at least one set-up")
    return factorial(sum(sizes)) // prod(factorial(size) for size in sizes)


def smallest_p_shuffled(sizes: Sequence[int]) -> Fraction:
    """Return the smallest two-sided p of a shuffle test when set-ups are shuffled freely.

    Names can be exchanged only between levels with equally many set-ups, so unequal numbers
    have no mirror image and reach a lower p.

    Parameters
    ----------
    sizes
        Set-ups of each level, at least 1 each.

    References
    ----------
    Phipson & Smyth (2010), as above.
    """
    mirrors = prod(factorial(times) for times in Counter(sizes).values())
    return min(Fraction(1), Fraction(mirrors, count_splits(sizes)))
