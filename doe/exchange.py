"""Coordinate exchange: one factor of one coupon at a time, in many starts at once.

It needs no list of settings, so it serves grids too large to list (Meyer & Nachtsheim 1995).
Where rules tie factors together it sticks, because two factors often have to move at once; such
problems are searched by `point_exchange`.

References
----------
Meyer & Nachtsheim (1995). The coordinate-exchange algorithm for constructing exact optimal
experimental designs. *Technometrics* 37(1): 60.
"""

from __future__ import annotations

import numpy as np

from weldtrial.doe.candidates import Array, Flags, Places
from weldtrial.doe.optimal_problem import Problem
from weldtrial.doe.rank_one import GAIN, Forms, change_inverse, first_best, pair_change


class CoordinatePass:
    """The numbers of one pass over coupons and factors, for the starts handed in.

    Parameters
    ----------
    places
        Level numbers, shape (starts, positions, factors); changed in place.
    ridge
        Added to the diagonal of the information, so that singular starts can move.
    weight
        The moments of the region for I; None for D.
    """

    def __init__(
        self, problem: Problem, places: Places, ridge: float, weight: Array | None
    ) -> None:
        self.problem, self.places, self.weight = problem, places, weight
        rows = problem.grid.rows(places)
        self.whole = problem.with_blocks(rows)
        self.sums = problem.sums(self.whole)
        information = problem.information(rows) + ridge * np.eye(problem.columns)
        inverse = np.linalg.inv(information)
        self.inverse: Array = np.asarray((inverse + np.swapaxes(inverse, 1, 2)) / 2)
        self.easy = [at for at in range(places.shape[2]) if at not in problem.hard]

    def run(self) -> Flags:
        """Exchange every easy factor of every coupon once; return which starts moved."""
        moved = np.zeros(len(self.places), dtype=bool)
        for position in range(self.places.shape[1]):
            for factor in self.easy:
                moved |= self._step(position, factor)
        return moved

    def _step(self, position: int, factor: int) -> Flags:
        problem, b = self.problem, self.problem.blocks
        unit = int(problem.unit[position])
        gamma = float(problem.shrink(int(problem.total[unit]) - 1)) if problem.ratio else 0.0
        v = 1.0 + gamma
        own = self.whole[:, position]
        others = gamma * (self.sums[:, unit] - own)
        levels = len(problem.grid.levels[factor])
        places = np.repeat(self.places[:, None, position], levels, axis=1)
        places[:, :, factor] = np.arange(levels)
        rows = problem.grid.rows(places)
        new = np.repeat((own - others)[:, None], levels, axis=1)
        new[:, :, b:] = rows - others[:, None, b:]
        old = own - others
        forms, c_new, c_old = _forms(self.inverse, old, new, v)
        if self.weight is None:
            score, enough = forms.det, np.full(len(own), v**2 * (1 + GAIN))
        else:
            score = forms.trace_drop(_weighted(c_new, c_old, self.weight, v))
            enough = GAIN * np.einsum("sij,ij->s", self.inverse, self.weight)
        best = first_best(score)
        gain = score[np.arange(len(best)), best]
        hit = np.flatnonzero(gain > enough)
        if len(hit):
            chosen = best[hit]
            fall = pair_change(
                forms.old[hit, 0], forms.cross[hit, chosen], forms.new[hit, chosen], v
            )
            self.inverse[hit] = change_inverse(
                self.inverse[hit], c_new[hit, chosen], c_old[hit], fall
            )
            fresh = rows[hit, chosen]
            self.sums[hit, unit, b:] += fresh - self.whole[hit, position, b:]
            self.whole[hit, position, b:] = fresh
            self.places[hit, position, factor] = chosen
        return np.asarray(gain > enough)


def _forms(inverse: Array, old: Array, new: Array, v: float) -> tuple[Forms, Array, Array]:
    """Return the forms in M⁻¹, with M⁻¹ times what may come and what leaves."""
    c_new = new @ inverse
    c_old = (inverse @ old[:, :, None])[:, :, 0]
    forms = Forms(
        old=(old * c_old).sum(axis=1, keepdims=True),
        cross=(new @ c_old[:, :, None])[:, :, 0],
        new=(new * c_new).sum(axis=2),
        v=v,
    )
    return forms, c_new, c_old


def _weighted(c_new: Array, c_old: Array, weight: Array, v: float) -> Forms:
    w_new, w_old = c_new @ weight, c_old @ weight
    return Forms(
        old=(c_old * w_old).sum(axis=1, keepdims=True),
        cross=(c_new * w_old[:, None]).sum(axis=2),
        new=(c_new * w_new).sum(axis=2),
        v=v,
    )
