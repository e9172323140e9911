"""Point exchange: every coupon in turn exchanged for the best setting of a list, in many starts.

All starts stand in one array and move together.  The variance f'Cf of every listed setting is kept
and updated with each exchange, so that one step costs two thin matrix products for all starts and
settings (Fedorov 1972; Cook & Nachtsheim 1980; batched here).  Rules that tie factors together do
not hinder it, since a whole setting is exchanged and not one factor of it.

References
----------
Fedorov (1972). *Theory of Optimal Experiments*. Academic Press.
Cook & Nachtsheim (1980). A comparison of algorithms for constructing exact D-optimal designs.
*Technometrics* 22(3): 315.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldtrial.doe.candidates import Array, Flags, Places
from weldtrial.doe.optimal_problem import Problem
from weldtrial.doe.rank_one import GAIN, Forms, change_inverse, first_best, pair_change


@dataclass(frozen=True, slots=True, eq=False)
class Listed:
    """Settings to choose from.

    Attributes
    ----------
    places
        Shape (settings, factors).
    rows
        Model columns without intercept, (settings, columns).
    kind
        Which combination of the hard factors each holds, (settings,).
    """

    places: Places
    rows: Array
    kind: Places

    def only(self, chosen: Places) -> Listed:
        """Return the settings of the given numbers."""
        return Listed(self.places[chosen], self.rows[chosen], self.kind[chosen])


def list_places(problem: Problem, places: Places) -> Listed:
    """Return allowed places with their rows and kinds."""
    hard = problem.hard
    sizes = [len(problem.grid.levels[at]) for at in hard]
    kind = np.zeros(len(places), dtype=np.intp)
    for at, size in zip(hard, sizes, strict=True):
        kind = kind * size + places[:, at]
    return Listed(places, problem.grid.rows(places), kind)


class PointPass:
    """The numbers of one pass over the coupons, for the starts handed in.

    Parameters
    ----------
    choice
        Listed setting at each position, shape (starts, positions); changed in place.
    kind
        Kind of each unit, (starts, units).
    ridge
        Added to the diagonal of the information, so that singular starts can move.
    weight
        The moments of the region for I; None for D.
    """

    def __init__(
        self,
        problem: Problem,
        listed: Listed,
        choice: Places,
        kind: Places,
        ridge: float,
        weight: Array | None,
    ) -> None:
        self.problem, self.listed, self.choice, self.kind = problem, listed, choice, kind
        self.weight = weight
        rows = listed.rows[choice]
        self.whole = problem.with_blocks(rows)
        self.sums = problem.sums(self.whole)
        information = problem.information(rows) + ridge * np.eye(problem.columns)
        inverse = np.linalg.inv(information)
        self.inverse: Array = np.asarray((inverse + np.swapaxes(inverse, 1, 2)) / 2)
        b = problem.blocks
        features = listed.rows
        self.spread = ((features @ self.inverse[:, b:, b:]) * features).sum(axis=2)
        if weight is not None:
            in_weight = self.inverse @ weight @ self.inverse
            self.spread_w = ((features @ in_weight[:, b:, b:]) * features).sum(axis=2)
            self.trace = np.einsum("sij,ij->s", self.inverse, weight)
        self.many_kinds = len(problem.kinds) > 1
        self.of_kind = np.arange(len(problem.kinds))[:, None] == listed.kind

    def run(self) -> Flags:
        """Exchange every coupon once; return which starts moved, shape (starts,) of bool."""
        moved = np.zeros(len(self.choice), dtype=bool)
        for position in range(self.choice.shape[1]):
            moved |= self._step(position)
        return moved

    def _step(self, position: int) -> Flags:
        problem, weight = self.problem, self.weight
        unit = int(problem.unit[position])
        gamma = float(problem.shrink(int(problem.total[unit]) - 1)) if problem.ratio else 0.0
        v = 1.0 + gamma
        base = -gamma * (self.sums[:, unit] - self.whole[:, position])
        base[:, problem.block[unit]] += 1.0
        old = self.whole[:, position] + base
        old[:, problem.block[unit]] -= 1.0
        c_old, c_base = _times(self.inverse, old), _times(self.inverse, base)
        forms, e_old = self._forms(old, base, c_old, c_base, self.spread, v)
        if weight is None:
            score = forms.det
        else:
            b_old, b_base = (_times(self.inverse, one @ weight) for one in (c_old, c_base))
            score = forms.trace_drop(self._forms(old, base, b_old, b_base, self.spread_w, v)[0])
        if self.many_kinds:
            score = np.where(self.of_kind[self.kind[:, unit]], score, -np.inf)
        best = first_best(score)
        every = np.arange(len(best))
        gain = score[every, best]
        enough = v**2 * (1 + GAIN) if weight is None else GAIN * self.trace
        hit = np.flatnonzero(gain > enough)
        if len(hit):
            self._exchange(hit, best[hit], position, unit, forms, (base, c_old, e_old))
        return np.asarray(gain > enough)

    def _forms(
        self, old: Array, base: Array, c_old: Array, c_base: Array, spread: Array, v: float
    ) -> tuple[Forms, Array]:
        """Return the quadratic forms, and f'Cr of every setting."""
        b, features = self.problem.blocks, self.listed.rows.T
        e_old = c_old[:, b:] @ features
        cross = e_old + _dot(base, c_old)
        new = spread + 2 * (c_base[:, b:] @ features) + _dot(base, c_base)
        return Forms(_dot(old, c_old), cross, new, v), e_old

    def _exchange(
        self,
        hit: Places,
        best: Places,
        position: int,
        unit: int,
        forms: Forms,
        made: tuple[Array, Array, Array],
    ) -> None:
        b, features = self.problem.blocks, self.listed.rows
        base, c_old, e_old = (one[hit] for one in made)
        fresh = features[best]
        new = base.copy()
        new[:, b:] += fresh
        inverse = self.inverse[hit]
        c_new = _times(inverse, new)
        e_new = c_new[:, b:] @ features.T
        fall = pair_change(forms.old[hit, 0], forms.cross[hit, best], forms.new[hit, best], forms.v)
        a, c, d = (one[:, None] for one in fall)
        l_new, l_old = a * e_new + c * e_old, c * e_new + d * e_old
        if self.weight is not None:
            w_new, w_old = c_new @ self.weight, c_old @ self.weight
            g_new, g_old = (_times(inverse, one)[:, b:] @ features.T for one in (w_new, w_old))
            self.spread_w[hit] += (
                l_new * (l_new * _dot(c_new, w_new) - 2 * g_new)
                + l_old * (l_old * _dot(c_old, w_old) - 2 * g_old)
                + 2 * l_new * l_old * _dot(c_new, w_old)
            )
            self.trace[hit] -= (
                a * _dot(c_new, w_new) + 2 * c * _dot(c_new, w_old) + d * _dot(c_old, w_old)
            )[:, 0]
        self.spread[hit] -= l_new * e_new + l_old * e_old
        self.inverse[hit] = change_inverse(inverse, c_new, c_old, fall)
        self.sums[hit, unit, b:] += fresh - self.whole[hit, position, b:]
        self.whole[hit, position, b:] = fresh
        self.choice[hit, position] = best


def _times(matrices: Array, vectors: Array) -> Array:
    return np.asarray((matrices @ vectors[:, :, None])[:, :, 0])


def _dot(one: Array, other: Array) -> Array:
    return np.asarray((one * other).sum(axis=1, keepdims=True))
