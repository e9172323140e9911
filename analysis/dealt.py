"""What was dealt to the levels of a factor: coupons, whole set-ups, or coupons within set-ups.

A share that passes, a grade and a place where it broke are compared by the units that the draw
dealt: the error follows the randomisation here as it does for numbers.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from weldtrial.analysis.context import Context
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.shuffle import SAMPLED
from weldtrial.shared.factors import Factor
from weldtrial.shared.orders import (
    FEW_ENOUGH_TO_LIST,
    all_orders,
    count_orders,
    is_allowed,
    usual_limit,
)

Unit = Literal["coupons", "set-ups", "within set-ups"]


@dataclass(frozen=True, slots=True)
class Arrangements:
    """Levels as the draw could have dealt them to the set-ups.

    Attributes
    ----------
    setups
        Set-ups in the order of the columns.
    levels
        Place of the level in the factor, shape (m, k).
    orders
        How many orders the draw allowed.
    listed
        True when `levels` holds them all, False when they were sampled.
    """

    setups: tuple[int, ...]
    levels: NDArray[np.int_]
    orders: int
    listed: bool


def unit_of(factor: Factor, observations: Sequence[Observation]) -> Unit:
    """Return what was dealt to the levels of `factor`.

    A set-up of one coupon is a coupon: there is nothing that coupons of it could have in common.
    """
    setups: dict[int, set[str]] = {}
    for o in observations:
        if o.setup is not None:
            setups.setdefault(o.setup, set()).add(o.levels[factor.name])
    if not setups or len(setups) == len(observations):
        return "coupons"
    return "set-ups" if all(len(seen) == 1 for seen in setups.values()) else "within set-ups"


def rounds_of(observations: Sequence[Observation]) -> list[int] | None:
    """Return the round of every coupon, None where there are fewer than two."""
    labels = [o.round or 0 for o in observations]
    return labels if len(set(labels)) > 1 else None


def arrangements(
    context: Context, observations: Sequence[Observation], factor: Factor
) -> Arrangements | None:
    """Return how the sealed draw could have dealt the levels to the set-ups.

    None where the order was not drawn, where a set-up is missing (the orders that could have been
    drawn were those of all set-ups), where several factors were dealt at once, or at a look before
    the last (the order was drawn for all rounds).
    """
    uses, rounds = context.look.uses, context.trial.design.rounds
    early = uses is not None and rounds is not None and uses < rounds
    if context.trial.follows is not None:
        return None  # Two draws, one after the other: the orders of both are not counted.
    if not context.shuffled or early or len(context.trial.hard) != 1 or not factor.hard_to_change:
        return None
    if {c.setup for c in context.record.coupons} - {o.setup for o in observations}:
        return None
    rows: dict[int, dict[int, str]] = {}
    for o in observations:
        rows.setdefault(o.round or 0, {})[o.setup or 0] = o.levels[factor.name]
    by_round = [sorted(rows[number].items()) for number in sorted(rows)]
    setups = tuple(setup for row in by_round for setup, _ in row)
    welded = [tuple(level for _, level in row) for row in by_round]
    limit = context.trial.order.first_at_most
    limit = usual_limit(len(welded)) if limit is None else limit
    counts = {tuple(sorted(Counter(row).items())) for row in welded}
    each = set(Counter(welded[0]).values())
    whole = len(counts) == 1 and len(each) == 1 and set(welded[0]) == set(factor.levels)
    if not whole or not is_allowed(welded, limit):
        return None
    orders = count_orders(len(welded), len(factor.levels), limit, each.pop())
    place = {level: number for number, level in enumerate(factor.levels)}
    seed = int(context.record.seal.replace("-", "")[:12] or "0", 16)
    drawn = (
        list(all_orders(len(welded), factor.levels, limit, len(welded[0]) // len(factor.levels)))
        if orders <= FEW_ENOUGH_TO_LIST
        else _sampled(welded, limit, seed)
    )
    levels = np.array([[place[level] for row in order for level in row] for order in drawn])
    return Arrangements(setups, levels, orders, orders <= FEW_ENOUGH_TO_LIST)


def _sampled(
    welded: Sequence[tuple[str, ...]], limit: int | None, seed: int
) -> list[tuple[tuple[str, ...], ...]]:
    generator = np.random.default_rng(seed)
    found: list[tuple[tuple[str, ...], ...]] = []
    while len(found) < SAMPLED:
        order = tuple(tuple(map(str, generator.permutation(row))) for row in welded)
        if is_allowed(order, limit):
            found.append(order)
    return found
