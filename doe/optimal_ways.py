"""The two ways of searching, by points and by coordinates, taken until nothing moves.

The first pass works on M + εI with a large ε, since random starts near saturation are singular and
would not know where to go; the later ones with one so small that it does not alter the answer.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np

from weldtrial.doe.candidates import Array, Flags, Places
from weldtrial.doe.exchange import CoordinatePass
from weldtrial.doe.hard_exchange import move_units
from weldtrial.doe.optimal_problem import Problem
from weldtrial.doe.point_exchange import Listed, PointPass

_FIRST_RIDGE, _RIDGE = 1e-2, 1e-8
_PASSES = 60


class Way(Protocol):
    """A way of searching: what a state is, and one pass over it."""

    def rows(self, state: Places) -> Array:
        """Return model rows, shape (starts, positions, columns)."""

    def one_pass(self, state: Places, kind: Places, ridge: float, weight: Array | None) -> Flags:
        """Better the states in place; return which moved."""


class ByPoints:
    """Settings of a list: a state is their numbers, shape (starts, positions)."""

    def __init__(self, problem: Problem, listed: Listed, *, move: bool = True) -> None:
        self.problem, self.listed = problem, listed
        self.twins = _twins(problem, listed) if move and len(problem.kinds) > 1 else None

    def rows(self, state: Places) -> Array:
        """Return model rows, shape (starts, positions, columns)."""
        return self.listed.rows[state]

    def one_pass(self, state: Places, kind: Places, ridge: float, weight: Array | None) -> Flags:
        """Move whole units, then exchange every coupon once."""
        twins, moved = self.twins, np.zeros(len(state), dtype=bool)
        if twins is not None:
            moved |= move_units(
                self.problem,
                state,
                kind,
                self.rows,
                lambda own, other: np.asarray(twins[other, own]),
                ridge,
                weight,
            )
        return moved | PointPass(self.problem, self.listed, state, kind, ridge, weight).run()


class ByCoordinates:
    """Levels of each factor: a state is shape (starts, positions, factors)."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem

    def rows(self, state: Places) -> Array:
        """Return model rows, shape (starts, positions, columns)."""
        return self.problem.grid.rows(state)

    def one_pass(self, state: Places, kind: Places, ridge: float, weight: Array | None) -> Flags:
        """Move whole units, then exchange every easy factor of every coupon once."""
        problem = self.problem

        def moved_to(own: Places, other: int) -> Places:
            made = own.copy()
            made[..., problem.hard] = problem.kinds[other]
            return made

        moved = move_units(problem, state, kind, self.rows, moved_to, ridge, weight)
        return moved | CoordinatePass(problem, state, ridge, weight).run()


def improve(way: Way, problem: Problem, state: Places, kind: Places, *, fresh: bool = True) -> None:
    """Search on from every start until nothing moves; states and kinds are changed in place.

    Parameters
    ----------
    fresh
        Whether the starts are random, so that they may be singular.
    """
    stages: list[tuple[float, Array | None, int]] = [(_RIDGE, problem.weight, _PASSES)]
    if fresh:
        # Prediction variance says little near saturation, so information leads the way.
        lead = [(_FIRST_RIDGE, None, 1), (_RIDGE, None, 1)]
        stages = [*lead[: 1 if problem.weight is None else 2], *stages]
    for ridge, weight, passes in stages:
        live = np.arange(len(state))
        for _ in range(passes):
            own, own_kind = state[live], kind[live]
            moved = way.one_pass(own, own_kind, ridge, weight)
            state[live], kind[live] = own, own_kind
            live = live[moved]
            if not len(live):
                break


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
