"""Whole set-ups moved from one combination of the hard factors to another.

References
----------
Goos & Vandebroek (2001). Optimal split-plot designs. *Journal of Quality Technology* 33(4): 436.
Goos & Vandebroek (2003). D-optimal split-plot designs with given numbers and sizes of whole plots.
*Technometrics* 45(3): 235.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from weldtrial.doe.candidates import Array, Flags, Places
from weldtrial.doe.criterion import log_det
from weldtrial.doe.optimal_problem import Problem
from weldtrial.doe.rank_one import GAIN

_TRIED = 5
"""Kinds tried in full for a unit, those towards which the criterion rises most steeply."""
Moved = Callable[[Places, int], Places]
"""What a unit's choices, shape (starts, coupons, ...), become under another kind."""


def move_units(
    problem: Problem,
    state: Places,
    kind: Places,
    rows_of: Callable[[Places], Array],
    moved: Moved,
    ridge: float,
    weight: Array | None,
) -> Flags:
    """Move every free unit to its best kind, in all starts; return which starts moved.

    Parameters
    ----------
    state
        Choice or place at each position, shape (starts, positions, ...); changed in place.
    kind
        Kind of each unit, (starts, units); changed in place.
    rows_of
        Model rows of such choices.
    moved
        The unit's choices under another kind.
    ridge, weight
        As in a pass.
    """
    lift = ridge * np.eye(problem.columns)
    changed = np.zeros(len(state), dtype=bool)
    if all(len(may) < 2 for may in problem.may):
        return changed
    information = problem.information(rows_of(state)) + lift
    value = _value(information, weight)
    for unit, may in enumerate(problem.may):
        at = np.flatnonzero(problem.unit == unit)
        if len(may) < 2 or not len(at):
            continue
        own = _piece(problem, rows_of(state[:, at]), unit)
        trials = np.array([moved(state[:, at], other) for other in may])
        pieces = np.array([_piece(problem, rows_of(one), unit) for one in trials])
        rest = information - own
        best, best_own = value.copy(), own
        best_state, best_kind = state[:, at].copy(), kind[:, unit].copy()
        every, kinds = np.arange(len(state)), np.array(may, dtype=np.intp)
        for tried in _most_promising(information, pieces, weight):
            piece = pieces[tried, every]
            reached = _value(rest + piece, weight)
            better = (reached > best + GAIN) & (kind[:, unit] != kinds[tried])
            best = np.where(better, reached, best)
            best_kind = np.where(better, kinds[tried], best_kind)
            best_state[better] = trials[tried, every][better]
            best_own = np.where(better[:, None, None], piece, best_own)
        changed |= best_kind != kind[:, unit]
        value, information = best, rest + best_own
        kind[:, unit] = best_kind
        state[:, at] = best_state
    return changed


def _most_promising(information: Array, pieces: Array, weight: Array | None) -> Places:
    """Return a few kinds for each start, shape (tries, starts), by how steeply they better it."""
    inverse = np.linalg.inv(information)
    steep = inverse if weight is None else inverse @ weight @ inverse
    slope = np.einsum("sij,ksij->ks", steep, pieces)
    return np.asarray(np.argsort(-slope, axis=0, kind="stable")[:_TRIED], dtype=np.intp)


def _piece(problem: Problem, rows: Array, unit: int) -> Array:
    """Return the information of one free unit, shape (starts, columns, columns)."""
    whole = np.zeros((*rows.shape[:2], problem.columns))
    whole[:, :, problem.block[unit]] = 1.0
    whole[:, :, problem.blocks :] = rows
    total = whole.sum(axis=1)
    share = float(problem.shrink(int(problem.total[unit])))
    return np.asarray(
        np.swapaxes(whole, 1, 2) @ whole - share * total[:, :, None] * total[:, None, :]
    )


def _value(information: Array, weight: Array | None) -> Array:
    """Return what is to be as large as possible."""
    if weight is None:
        return log_det(information)
    # On a logarithmic scale, so that one tolerance serves both criteria.
    inverse = np.linalg.inv(information)
    trace = np.einsum("sij,ij->s", inverse, weight)
    return np.asarray(np.where(trace > 0, -np.log(np.where(trace > 0, trace, 1.0)), -np.inf))
