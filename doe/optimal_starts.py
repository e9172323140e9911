"""Random starts for a search, from whole numbers of a `Draw`.

Kinds of set-up are dealt in turn from a shuffled bag, so that every gas gets its share of set-ups
before the search begins: a set-up seldom moves to another gas later, since its settings may not
be allowed there.
"""

from __future__ import annotations

import numpy as np

from weldtrial.doe.candidates import Places
from weldtrial.doe.draw import Draw
from weldtrial.doe.optimal_problem import Problem


def deal_kinds(problem: Problem, draw: Draw, starts: int) -> Places:
    """Return a kind for each unit in each start, shape (starts, units)."""
    kinds = np.zeros((starts, len(problem.may)), dtype=np.intp)
    if all(len(may) == 1 for may in problem.may):
        kinds[:] = [may[0] for may in problem.may]
        return kinds
    for start in range(starts):
        bag: list[int] = []
        for unit, may in enumerate(problem.may):
            if len(may) > 1 and not any(kind in may for kind in bag):
                bag += draw.shuffle(may)
            kinds[start, unit] = may[0] if len(may) == 1 else next(k for k in bag if k in may)
            if len(may) > 1:
                bag.remove(int(kinds[start, unit]))
    return kinds


def deal_choices(problem: Problem, draw: Draw, kinds: Places, kind_of: Places) -> Places:
    """Return a listed setting for every position, of the kind of its unit; (starts, positions).

    Parameters
    ----------
    kind_of
        Kind of every listed setting.
    """
    of = [np.flatnonzero(kind_of == kind) for kind in range(len(problem.kinds))]
    return np.array(
        [[of[kind][draw.below(len(of[kind]))] for kind in own[problem.unit]] for own in kinds],
        dtype=np.intp,
    )


def deal_places(problem: Problem, draw: Draw, kinds: Places) -> Places:
    """Return random levels for every position, shape (starts, positions, factors)."""
    sizes = [len(levels) for levels in problem.grid.levels]
    many = len(problem.unit)
    places = np.array(
        [[[draw.below(size) for size in sizes] for _ in range(many)] for _ in kinds],
        dtype=np.intp,
    )
    places[:, :, problem.hard] = problem.kinds[kinds[:, problem.unit]]
    return places
