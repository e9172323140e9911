"""Coupons that stand for one another: losing one costs what losing the other costs.

Coupons welded alike in one set-up can be exchanged, and so can whole blocks that hold the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from weldtrial.doe.left_to_tell import Design

Rows = tuple[int, ...]
Place = tuple[int, int, int]
"""Kind of block, set-up within it, and kind of coupon within that."""


def kinds_of_loss(design: Design, size: int) -> dict[Rows, int]:
    """Return one loss of so many coupons for each kind, and how many are of that kind.

    Parameters
    ----------
    size
        Coupons lost, 1 or 2.
    """
    block = design.matrix[:, : design.blocks].argmax(axis=1).tolist()
    place = _places(design, block)
    first: dict[tuple[object, ...], Rows] = {}
    count: dict[Rows, int] = {}
    for rows in combinations(range(len(block)), size):
        together = len({block[row] for row in rows}) == 1
        kind = (together, *sorted(place[row] for row in rows))
        one = first.setdefault(kind, rows)
        count[one] = count.get(one, 0) + 1
    return count


def _places(design: Design, block: Sequence[int]) -> list[Place]:
    """Return where each coupon stands, in words that say the same in blocks that hold the same."""
    terms = np.round(design.matrix[:, design.blocks :], 9) + 0.0  # no -0.0
    _, kinds = np.unique(terms, axis=0, return_inverse=True)
    coupon: list[int] = np.ravel(kinds).tolist()
    setup = block if design.setup is None else design.setup.tolist()
    held: dict[tuple[int, int], list[int]] = {}
    for row, kind in enumerate(coupon):
        held.setdefault((block[row], setup[row]), []).append(kind)
    contents = {unit: tuple(sorted(several)) for unit, several in held.items()}
    order: dict[int, list[tuple[int, int]]] = {}
    for unit in sorted(contents, key=lambda one: (contents[one], one)):
        order.setdefault(unit[0], []).append(unit)
    numbers = {unit: at for units in order.values() for at, unit in enumerate(units)}
    whole = {one: tuple(contents[unit] for unit in units) for one, units in order.items()}
    names = {several: at for at, several in enumerate(dict.fromkeys(whole.values()))}
    return [
        (names[whole[block[row]]], numbers[block[row], setup[row]], coupon[row])
        for row in range(len(block))
    ]
