"""Two coupons of different units changing places: the settings stay, their blocking betters.

A coupon of unit A and one of unit B, δ apart, change places.  The information changes by
wδ' + δw', with w = (e_A − c_A s_A) − (e_B − c_B s_B) − (c_A + c_B)δ/2, where e marks the block, s
is the sum of a unit's rows and c = g/(1 + gT).  That is of rank two, so every pair of every start
is judged at once from products of rows with M⁻¹.

References
----------
Cook & Nachtsheim (1989). Computer-aided blocking of factorial and response-surface designs.
*Technometrics* 31(3): 339.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from weldtrial.doe.candidates import Array, Flags, Places
from weldtrial.doe.optimal_problem import Problem
from weldtrial.doe.rank_one import GAIN, first_best


@dataclass(frozen=True, slots=True, eq=False)
class _Pairs:
    """Forms of w and δ in one matrix for every pair, each of shape (starts, coupons, coupons)."""

    ww: Array
    wd: Array
    dd: Array


def interchange(
    problem: Problem,
    state: Places,
    kind: Places,
    rows_of: Callable[[Places], Array],
    ridge: float,
    weight: Array | None,
) -> Flags:
    """Change places while it betters the criterion; return which starts moved.

    Parameters
    ----------
    state
        Choice or place at each position, shape (starts, positions, ...); changed in place.
    kind
        Kind of each unit, (starts, units): coupons change places within a kind only.
    rows_of
        Model rows of such choices.
    ridge, weight
        As in a pass.
    """
    moved = np.zeros(len(state), dtype=bool)
    if problem.blocks == 1 and not problem.ratio:
        return moved
    live = np.arange(len(state))
    for _ in range(2 * len(problem.unit)):
        hit, one, other = _best_pairs(problem, rows_of(state[live]), kind[live], ridge, weight)
        live = live[hit]
        if not len(live):
            break
        one, other = one[hit], other[hit]
        first = state[live, one].copy()
        state[live, one] = state[live, other]
        state[live, other] = first
        moved[live] = True
    return moved


def _best_pairs(
    problem: Problem, rows: Array, kind: Places, ridge: float, weight: Array | None
) -> tuple[Places, Places, Places]:
    """Return which starts gain, and the best pair of each start."""
    unit, block, many = problem.unit, problem.block, len(problem.unit)
    inverse = np.asarray(
        np.linalg.inv(problem.information(rows) + ridge * np.eye(problem.columns)), dtype=np.float64
    )
    share = problem.shrink(problem.total) if problem.ratio else np.zeros(len(block))
    pull = -share[:, None] * problem.sums(problem.with_blocks(rows))
    pull += np.eye(problem.blocks, problem.columns)[block]
    forms = _pairs(problem, rows, pull, share, inverse)
    ratio = (1 + forms.wd) ** 2 - forms.ww * forms.dd
    if weight is None:
        score, enough = ratio, np.full(len(rows), 1 + GAIN)
    else:
        inside = _pairs(problem, rows, pull, share, np.asarray(inverse @ weight @ inverse))
        top = 2 * (1 + forms.wd) * inside.wd - forms.dd * inside.ww - forms.ww * inside.dd
        fine = ratio > 1e-9
        score = np.where(fine, top / np.where(fine, ratio, 1.0), -np.inf)
        enough = GAIN * np.einsum("sij,ij->s", inverse, weight)
    of = kind[:, unit]
    score = np.where(of[:, :, None] == of[:, None, :], score, -np.inf)
    score = np.where(unit[:, None] == unit[None, :], -np.inf, score).reshape(len(rows), -1)
    best = first_best(score)
    gain = score[np.arange(len(best)), best]
    return np.flatnonzero(gain > enough), best // many, best % many


def _pairs(problem: Problem, rows: Array, pull: Array, share: Array, matrix: Array) -> _Pairs:
    """Return the forms of every pair (i, j): δ the row of j less that of i, w as above."""
    unit, b = problem.unit, problem.blocks
    times = rows @ matrix[:, b:, b:]
    product = times @ np.swapaxes(rows, 1, 2)
    own = np.einsum("sii->si", product)
    dd = own[:, :, None] + own[:, None, :] - 2 * product
    # Before its share of δ, w is one unit's pull less the other's.
    toward = (pull @ matrix[:, :, b:]) @ np.swapaxes(rows, 1, 2)
    mine = toward[:, unit]
    at = np.einsum("sii->si", mine)
    ud = mine - at[:, :, None] - at[:, None, :] + np.swapaxes(mine, 1, 2)
    between = (pull @ matrix) @ np.swapaxes(pull, 1, 2)
    alone = np.einsum("suu->su", between)[:, unit]
    uu = alone[:, :, None] + alone[:, None, :] - 2 * between[:, unit][:, :, unit]
    half = (share[unit][:, None] + share[unit][None, :]) / 2
    return _Pairs(ww=uu - 2 * half * ud + half**2 * dd, wd=ud - half * dd, dd=dd)
