"""Settings a search may choose from: levels on a grid, the rows of the model, the allowed ones.

A place is a row of level numbers, one for each factor; it turns into model columns through tables
of each factor's powers or contrasts, so that a million rows a second can be made without a
dictionary.  The columns are those of `shared.coding.model_matrix` without the intercept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import product
from math import prod

import numpy as np
from numpy.typing import NDArray

from weldtrial.doe.draw import Draw
from weldtrial.doe.optimal_asked import Search
from weldtrial.shared.coding import Point, contrast_columns
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.terms import Term

Array = NDArray[np.float64]
Places = NDArray[np.intp]
Flags = NDArray[np.bool_]

FEW_ENOUGH_TO_LIST = 30_000
"""Grids up to this size are listed; a larger one is thinned, or searched without a list."""
_WHOLE_UP_TO, _SAMPLE = 200_000, 40_000
_LEVELS_UNDER_RULES = (11, 9, 7, 5, 3)
_HIGH_POWER = 3


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Levels of every factor and how a place turns into model columns.

    Attributes
    ----------
    factors, levels
        Level names or coded numbers of each factor, in order.
    tables
        For each factor, shape (levels, pieces): its contrasts, or its powers from the first.
    pieces
        Which pieces multiply to each column, shape (most factors of a term, columns); 0 stands
        for one, and the pieces of all factors follow, end to end.
    """

    factors: tuple[Factor, ...]
    levels: tuple[tuple[str | float, ...], ...]
    tables: tuple[Array, ...]
    pieces: Places

    @property
    def size(self) -> int:
        """Number of places."""
        return prod(len(levels) for levels in self.levels)

    def rows(self, places: Places) -> Array:
        """Return the model columns without intercept, shape (..., columns)."""
        base = np.concatenate(
            [
                np.ones((*places.shape[:-1], 1)),
                *(table[places[..., at]] for at, table in enumerate(self.tables)),
            ],
            axis=-1,
        )
        made = base[..., self.pieces[0]]
        for more in self.pieces[1:]:
            made = made * base[..., more]
        return np.asarray(made)

    def point(self, place: Sequence[int] | Places) -> dict[str, str | float]:
        """Return a place as a point."""
        return {
            factor.name: levels[int(at)]
            for factor, levels, at in zip(self.factors, self.levels, place, strict=True)
        }

    def places(self) -> Places:
        """Return every place, the last factor running fastest."""
        return np.array(list(product(*(range(len(one)) for one in self.levels))), dtype=np.intp)


def _table(factor: Factor, levels: tuple[str | float, ...], powers: int) -> Array:
    if factor.kind == "category":
        return np.array([contrast_columns(factor, str(level)) for level in levels])
    numbers = np.array([float(level) for level in levels])
    return np.column_stack([numbers**power for power in range(1, powers + 1)])


def _pieces(
    factors: Sequence[Factor], tables: Sequence[Array], terms: Sequence[Term]
) -> list[list[int]]:
    """Return the pieces of every column, in the order of `model_matrix`."""
    begin = dict(
        zip(
            (factor.name for factor in factors),
            np.cumsum([1, *(table.shape[1] for table in tables)]).tolist(),
            strict=False,
        )
    )
    wide = {
        factor.name: table.shape[1] if factor.kind == "category" else 0
        for factor, table in zip(factors, tables, strict=True)
    }
    columns: list[list[int]] = []
    for term in terms:
        choices = [
            range(begin[name], begin[name] + wide[name])
            if wide[name]
            else [begin[name] + power - 1]
            for name, power in term.powers
        ]
        columns += [list(chosen) for chosen in product(*choices)]
    return columns


def make_grid(
    factors: Sequence[Factor], terms: Sequence[Term], levels: Sequence[tuple[str | float, ...]]
) -> Grid:
    """Return the grid of the given levels, for the columns of `terms`."""
    most = {
        factor.name: max(
            [1, *(power for term in terms for name, power in term.powers if name == factor.name)]
        )
        for factor in factors
    }
    tables = tuple(
        _table(factor, own, most[factor.name]) for factor, own in zip(factors, levels, strict=True)
    )
    columns = _pieces(factors, tables, terms)
    deep = max(1, *(len(one) for one in columns)) if columns else 1
    pieces = np.array([one + [0] * (deep - len(one)) for one in columns], dtype=np.intp)
    return Grid(tuple(factors), tuple(levels), tables, pieces.reshape(-1, deep).T)


def _even(many: int) -> tuple[float, ...]:
    # From whole numbers, so that the two halves mirror each other to the last bit.
    return tuple((2 * at - (many - 1)) / (many - 1) for at in range(many))


def _own_levels(asked: Search, factor: Factor, under_rules: int) -> tuple[str | float, ...]:
    """Return the levels of one factor, with those that prescribed or kept set-ups stand at."""
    if factor.kind == "category":
        return factor.levels
    given = (asked.grid or {}).get(factor.name)
    power = max(
        [0, *(power for term in asked.terms for name, power in term.powers if name == factor.name)]
    )
    if given is not None:
        numbers = set(given)
    elif asked.allowed is not None:
        numbers = set(_even(under_rules))
    elif power >= _HIGH_POWER:
        numbers = set(_even(_LEVELS_UNDER_RULES[0]))
    else:
        numbers = set(_even(3 if power == 2 else 2))
    if factor.name in asked.hard:
        held: Iterable[Point] = [
            *(unit.hard for unit in asked.units if unit.hard),
            *(point for unit, point in asked.kept if unit >= 0),
        ]
        numbers |= {float(point[factor.name]) for point in held if factor.name in point}
    return tuple(sorted(numbers))


def grid_of(asked: Search) -> Grid:
    """Return the grid of a search, thinned where rules tie factors and it would be too large."""
    for many in _LEVELS_UNDER_RULES:
        levels = [_own_levels(asked, factor, many) for factor in asked.factors]
        if asked.allowed is None or prod(map(len, levels)) <= FEW_ENOUGH_TO_LIST:
            break
    return make_grid(asked.factors, asked.terms, levels)


def listable(grid: Grid, allowed: Callable[[Point], bool] | None) -> bool:
    """Return whether the settings are listed: with rules always, because points are exchanged."""
    return allowed is not None or grid.size <= FEW_ENOUGH_TO_LIST


def allowed_places(grid: Grid, allowed: Callable[[Point], bool] | None) -> Places:
    """Return the places that may be welded, shape (places, factors).

    Of a grid beyond 200 thousand places, 40 thousand are looked at, drawn once for all.

    Raises
    ------
    PlanRefused
        When none may.
    """
    places = grid.places() if not sampled(grid) else _sample(grid)
    if allowed is None:
        return places
    fine = np.array([allowed(grid.point(place)) for place in places.tolist()], dtype=bool)
    if not fine.any():
        raise PlanRefused(
            f"The limits on settings rule out every setting: none of the {len(places)} looked at "
            "is allowed. Check the numbers and the units of the limits."
        )
    return np.asarray(places[fine], dtype=np.intp)


def sampled(grid: Grid) -> bool:
    """Return whether a grid is too large to be looked at whole."""
    return grid.size > _WHOLE_UP_TO


def _sample(grid: Grid) -> Places:
    draw = Draw(bytes(32))
    sizes = [len(levels) for levels in grid.levels]
    drawn = {tuple(draw.below(size) for size in sizes) for _ in range(_SAMPLE)}
    return np.array(sorted(drawn), dtype=np.intp)
