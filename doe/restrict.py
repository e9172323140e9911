"""Drawing an order under the restriction that no level comes first too often.

Orders are drawn freely and drawn again until one obeys, so every allowed order is equally
likely and the shuffle test, which compares with the allowed orders only, keeps its promise.
The number of draws is reported: it is part of what a reviewer redoes.

References
----------
Phipson & Smyth (2010). Permutation p-values should never be zero. *Statistical Applications in
Genetics and Molecular Biology* 9(1), article 39.
Cox (2009). Randomization in the design of experiments. *International Statistical Review* 77(3):
415 (on restricting, and then testing as restricted; citation from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import count

from weldtrial.doe.draw import Draw
from weldtrial.shared.orders import (
    FEW_ENOUGH_TO_LIST,
    Orders,
    all_orders,
    count_orders,
    count_splits,
    is_allowed,
    smallest_p,
    smallest_p_shuffled,
    usual_limit,
)
from weldtrial.shared.problems import PlanRefused

__all__ = [
    "FEW_ENOUGH_TO_LIST",
    "Orders",
    "all_orders",
    "count_orders",
    "count_splits",
    "draw_orders",
    "is_allowed",
    "restriction_in_words",
    "smallest_p",
    "smallest_p_shuffled",
    "usual_limit",
]

_RAREST = 10_000
"""Refuse when fewer than one order in this many obeys: redrawing would take too long."""


def restriction_in_words(rounds: int, limit: int | None, what: str = "level") -> str:
    """Return the restriction as the seal and the report print it, or empty text for none."""
    if limit is None or limit >= rounds:
        return ""
    return f"no {what} first in more than {limit} of {rounds} rounds"


def draw_orders(
    draw: Draw, rounds: int, levels: Sequence[str], limit: int | None, per_round: int = 1
) -> tuple[Orders, int]:
    """Draw the order of the levels within every round.

    Parameters
    ----------
    draw
        Where the chance comes from; it is left standing after the accepted order.
    rounds
        At least 1.
    levels
        Names of the levels, in the order of the trial file.
    limit
        Most rounds in which one level may come first; None for no restriction.
    per_round
        Set-ups of each level in a round, at least 1.

    Returns
    -------
    tuple
        The orders, one tuple of level names a round, and how many draws it took.

    Raises
    ------
    PlanRefused
        If no order, or hardly any, obeys the restriction.
    """
    allowed = count_orders(rounds, len(levels), limit, per_round)
    if allowed == 0:
        raise PlanRefused(
            f'No order of {rounds} rounds obeys "{restriction_in_words(rounds, limit)}": '
            f"with {len(levels)} levels one of them is first in at least "
            f"{-(-rounds // len(levels))}.",
            hint=f"allow at least {-(-rounds // len(levels))} of {rounds} rounds",
        )
    free = count_orders(rounds, len(levels), None, per_round)
    if free > _RAREST * allowed:
        raise PlanRefused(
            f'Fewer than one order in {_RAREST} obeys "{restriction_in_words(rounds, limit)}".',
            hint="allow one round more",
        )
    bag = tuple(level for level in levels for _ in range(per_round))
    for draws in count(1):
        orders = tuple(draw.shuffle(bag) for _ in range(rounds))
        if is_allowed(orders, limit):
            return orders, draws
    raise AssertionError("counting never ends")
