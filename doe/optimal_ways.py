"""The two ways of searching, by points and by coordinates, taken until nothing moves.

The first pass works on M + εI with a large ε, since random starts near saturation are singular and
would not know where to go; the later ones with one so small that it does not alter the answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from weldtrial.doe.candidates import Array, Flags, Places
from weldtrial.doe.exchange import CoordinatePass
from weldtrial.doe.hard_exchange import move_units
from weldtrial.doe.interchange import interchange
from weldtrial.doe.optimal_problem import Problem
from weldtrial.doe.point_exchange import Listed, PointPass

_FIRST_RIDGE, _RIDGE = 1e-2, 1e-8
_PASSES = 60
_TOGETHER = 256
"""Starts bettered together: more would not be quicker, and would need more memory."""


Stage = tuple[float, Array | None, int]


class Way(Protocol):
    """A way of searching: what a state is, and one pass over its coupons."""

    def rows(self, state: Places) -> Array:
        """Return model rows, shape (starts, positions, columns)."""

    def moved_to(self, own: Places, kind: int) -> Places:
        """Return what a unit's part of a state becomes under another kind."""

    def one_pass(self, state: Places, kind: Places, ridge: float, weight: Array | None) -> Flags:
        """Better the states in place; return which moved."""


class ByPoints:
    """Settings of a list: a state is their numbers, shape (starts, positions)."""

    def __init__(self, problem: Problem, listed: Listed, *, twins: bool = True) -> None:
        self.problem, self.listed = problem, listed
        self.twins = _twins(problem, listed) if twins and len(problem.kinds) > 1 else None

    def rows(self, state: Places) -> Array:
        """Return model rows, shape (starts, positions, columns)."""
        return self.listed.rows[state]

    def moved_to(self, own: Places, kind: int) -> Places:
        """Return the nearest settings of another kind; the same ones without twins."""
        return own if self.twins is None else np.asarray(self.twins[kind, own])

    def one_pass(self, state: Places, kind: Places, ridge: float, weight: Array | None) -> Flags:
        """Exchange every coupon once."""
        return PointPass(self.problem, self.listed, state, kind, ridge, weight).run()


class ByCoordinates:
    """Levels of each factor: a state is shape (starts, positions, factors)."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem

    def rows(self, state: Places) -> Array:
        """Return model rows, shape (starts, positions, columns)."""
        return self.problem.grid.rows(state)

    def moved_to(self, own: Places, kind: int) -> Places:
        """Return the same easy levels under another kind."""
        made = own.copy()
        made[..., self.problem.hard] = self.problem.kinds[kind]
        return made

    def one_pass(self, state: Places, kind: Places, ridge: float, weight: Array | None) -> Flags:
        """Exchange every easy factor of every coupon once."""
        return CoordinatePass(self.problem, state, ridge, weight).run()


def improve(way: Way, problem: Problem, state: Places, kind: Places, *, fresh: bool = True) -> None:
    """Search on from every start until nothing moves; states and kinds are changed in place.

    Parameters
    ----------
    fresh
        Whether the starts are random, so that they may be singular.
    """
    if len(state) > _TOGETHER:
        for begin in range(0, len(state), _TOGETHER):
            part = slice(begin, begin + _TOGETHER)
            improve(way, problem, state[part], kind[part], fresh=fresh)
        return
    if not fresh:
        _stages(way, problem, state, kind, [(_RIDGE, problem.weight, _PASSES)])
    elif problem.weight is None:
        plain: list[Stage] = [(_FIRST_RIDGE, None, 1), (_RIDGE, None, _PASSES)]
        _stages(way, problem, state, kind, plain)
    else:
        # Near saturation each lead has its own blind alleys, so half the starts take the other.
        last: Stage = (_RIDGE, problem.weight, _PASSES)
        by_information: list[Stage] = [(_FIRST_RIDGE, None, 1), (_RIDGE, None, 1), last]
        by_prediction: list[Stage] = [(_FIRST_RIDGE, problem.weight, 2), last]
        half = (len(state) + 1) // 2
        _stages(way, problem, state[:half], kind[:half], by_information)
        if half < len(state):
            _stages(way, problem, state[half:], kind[half:], by_prediction)


def _stages(
    way: Way, problem: Problem, state: Places, kind: Places, stages: Sequence[Stage]
) -> None:
    """Take the stages in turn, in place: a ridge, the moments or None, passes at most."""
    for ridge, weight, passes in stages:
        live = np.arange(len(state))
        for _ in range(passes):
            own, own_kind = state[live], kind[live]
            moved = way.one_pass(own, own_kind, ridge, weight)
            if passes == _PASSES:
                _larger_moves(way, problem, (own, own_kind, moved), ridge, weight)
            state[live], kind[live] = own, own_kind
            live = live[moved]
            if not len(live):
                break


def _larger_moves(
    way: Way,
    problem: Problem,
    at: tuple[Places, Places, Flags],
    ridge: float,
    weight: Array | None,
) -> None:
    """Let starts whose single coupons rest change places between units, or move whole units."""
    state, kind, moved = at
    for change in ("places", "kinds"):
        still = np.flatnonzero(~moved)
        if not len(still):
            return
        own, own_kind = state[still], kind[still]
        if change == "places":
            moved[still] = interchange(problem, own, own_kind, way.rows, ridge, weight)
        else:
            moved[still] = move_units(problem, own, own_kind, way.rows, way.moved_to, ridge, weight)
        state[still], kind[still] = own, own_kind


def _twins(problem: Problem, listed: Listed) -> Places:
    """Return for every kind the setting nearest to each listed one, shape (kinds, settings).

    Near in the coded easy factors; another level of a category is as far as from −1 to +1.
    """
    found = np.zeros((len(problem.kinds), len(listed.rows)), dtype=np.intp)
    for kind in range(len(problem.kinds)):
        inside = np.flatnonzero(listed.kind == kind)
        if not len(inside):
            continue
        apart = np.zeros((len(listed.rows), len(inside)))
        for at, factor in enumerate(problem.grid.factors):
            if at in problem.hard:
                continue
            own = listed.places[:, at]
            if factor.kind == "category":
                apart += 4.0 * (own[:, None] != own[None, inside])
            else:
                number = np.array([float(level) for level in problem.grid.levels[at]])[own]
                apart += (number[:, None] - number[None, inside]) ** 2
        best = apart.min(axis=1, keepdims=True)
        found[kind] = inside[(apart <= best + 1e-9).argmax(axis=1)]
    return found
