"""The shuffle test: how often the draw itself would have made a change this large.

The set-ups stay where they were welded and the levels are dealt to them again, by every order
that the restriction allowed (or a seeded sample of them).  Nothing is assumed about the shape of
the scatter, only that the order was drawn.

References
----------
Fisher, R. A. (1935), The Design of Experiments, chapter 3.
Phipson & Smyth (2010), Stat. Appl. Genet. Mol. Biol. 9(1), article 39 (p never zero).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from weldtrial.analysis.model import ModelFit
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.residual_views import setup_means
from weldtrial.shared.orders import FEW_ENOUGH_TO_LIST, all_orders, count_orders, is_allowed

SAMPLED = 9_999
TINY = 1e-9


@dataclass(frozen=True, slots=True)
class ShuffleTest:
    """Result of a shuffle test.

    Attributes
    ----------
    p
        Share of orders with a change at least as large, the observed one among them.
    orders
        How many orders the draw allowed.
    sampled
        True when the orders were sampled because there are too many to list.
    """

    p: float
    orders: int
    sampled: bool


@dataclass(frozen=True, slots=True)
class _Dealt:
    """Set-up means by round in the order welded, and the level each was welded with."""

    means: tuple[tuple[float, ...], ...]
    levels: tuple[tuple[str, ...], ...]

    def change(self, orders: Sequence[Sequence[str]], level: str) -> float:
        gaps = []
        for means, order in zip(self.means, orders, strict=True):
            ones = [m for m, name in zip(means, order, strict=True) if name == level]
            zeros = [m for m, name in zip(means, order, strict=True) if name != level]
            gaps.append(sum(ones) / len(ones) - sum(zeros) / len(zeros))
        return abs(sum(gaps) / len(gaps))


def shuffle_setups(
    fit: ModelFit,
    observations: Sequence[Observation],
    factor: str,
    level: str,
    limit: int | None,
    seed: int,
) -> ShuffleTest | None:
    """Deal the two levels of a hard-to-change factor to the set-ups again.

    Parameters
    ----------
    fit
        A fit with set-ups; its easy effects are taken off first.
    factor, level
        The factor and the level compared with the other one.
    limit
        The restriction of the draw: most rounds in which one level came first.
    seed
        Seed of the sample where the orders are too many to list.

    Returns
    -------
    ShuffleTest or None
        None where the set-ups welded no longer form whole rounds (one was lost).
    """
    dealt = _deal(fit, observations, factor)
    if dealt is None:
        return None
    names = tuple(dict.fromkeys(name for row in dealt.levels for name in row))
    rounds, per_round = len(dealt.levels), len(dealt.levels[0]) // len(names)
    if len(names) != 2 or not is_allowed(dealt.levels, limit):
        return None
    orders = count_orders(rounds, 2, limit, per_round)
    observed = dealt.change(dealt.levels, level) * (1 - TINY)
    if orders <= FEW_ENOUGH_TO_LIST:
        hits = sum(
            dealt.change(order, level) >= observed
            for order in all_orders(rounds, names, limit, per_round)
        )
        return ShuffleTest(hits / orders, orders, False)
    hits = _sampled_hits(dealt, level, limit, observed, seed)
    return ShuffleTest((hits + 1) / (SAMPLED + 1), orders, True)


def _deal(fit: ModelFit, observations: Sequence[Observation], factor: str) -> _Dealt | None:
    if fit.setup is None:
        return None
    means = setup_means(fit, frozenset([factor]))
    rows: dict[int, list[tuple[int, float, str]]] = {}
    for code, mean in enumerate(means):
        first = observations[int(np.flatnonzero(fit.setup == code)[0])]
        rows.setdefault(first.round or 0, []).append(
            (first.setup or 0, float(mean), first.levels[factor])
        )
    by_round = [sorted(rows[number]) for number in sorted(rows)]
    levels = tuple(tuple(name for _, _, name in row) for row in by_round)
    if len({tuple(sorted(row)) for row in levels}) != 1 or len(set(levels[0])) < 2:
        return None
    return _Dealt(tuple(tuple(mean for _, mean, _ in row) for row in by_round), levels)


def _sampled_hits(dealt: _Dealt, level: str, limit: int | None, observed: float, seed: int) -> int:
    generator = np.random.default_rng(seed)
    hits = done = 0
    while done < SAMPLED:
        orders = [tuple(generator.permutation(row)) for row in dealt.levels]
        if is_allowed(orders, limit):
            done += 1
            hits += dealt.change(orders, level) >= observed
    return hits
