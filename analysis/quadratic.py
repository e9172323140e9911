"""A surface of first or second order in the numeric factors, for each combination of categories.

The mean in one gas is  b0 + b'x + x'Bx,  x in the coded units of that gas: -1 to +1 over its own
range.  Whatever is asked of it is a contrast of the surface's coefficients, so that it is judged at
its own level of error.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations_with_replacement, product
from typing import TYPE_CHECKING

import numpy as np

from weldtrial.analysis.inside import Welded, welded_at
from weldtrial.analysis.linear import Floats
from weldtrial.shared.coding import Point, contrast_columns
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEstimable

if TYPE_CHECKING:
    from weldtrial.analysis.surface import Surface


@dataclass(frozen=True, slots=True, eq=False)
class Quadratic:
    """The surface at one level of every category.

    Attributes
    ----------
    levels
        Level of every category; empty without categories.
    factors
        The k numeric factors, in the order of the coded coordinates.
    b0, b, B
        Intercept, slopes (k,) and the symmetric matrix of the second-order part (k, k), response
        unit per coded unit.
    turn
        What turns the surface's coefficients into (b0, slopes, squares and products in the order
        of `pairs`), shape (1 + k + k(k+1)/2, p).
    surface
        The surface it was cut from.
    welded
        What was welded at these levels, in coded coordinates.
    """

    levels: Mapping[str, str]
    factors: tuple[Factor, ...]
    b0: float
    b: Floats
    B: Floats
    turn: Floats = field(repr=False)
    surface: Surface = field(repr=False)
    welded: Welded = field(repr=False)

    @property
    def k(self) -> int:
        """How many numeric factors."""
        return len(self.factors)

    @property
    def pairs(self) -> tuple[tuple[int, int], ...]:
        """Which squares and products the last rows of `turn` stand for."""
        return tuple(combinations_with_replacement(range(self.k), 2))

    def value(self, x: Floats) -> Floats:
        """Return the mean at coded points x (m, k), shape (m,)."""
        x = np.atleast_2d(x)
        return np.asarray(self.b0 + x @ self.b + np.einsum("ij,jk,ik->i", x, self.B, x))

    def gradient(self, x: Floats) -> Floats:
        """Return how steep the surface is at x (k,), shape (k,): b + 2Bx."""
        return np.asarray(self.b + 2 * self.B @ x)

    def value_row(self, x: Floats) -> Floats:
        """Return the contrast (p,) of the mean at x (k,)."""
        return np.asarray(
            np.concatenate([[1.0], x, [x[i] * x[j] for i, j in self.pairs]]) @ self.turn
        )

    def gradient_rows(self, x: Floats) -> Floats:
        """Return the contrasts of the gradient at x (m, k), shape (m, k, p)."""
        return np.asarray(self.turn[1 : self.k + 1] + self.bend_rows(x))

    def bend_rows(self, x: Floats) -> Floats:
        """Return the contrasts of 2Bx at x (m, k), shape (m, k, p)."""
        x = np.atleast_2d(x)
        slopes = np.zeros((len(x), self.k, len(self.pairs)))
        for column, (i, j) in enumerate(self.pairs):
            slopes[:, i, column] += x[:, j]
            slopes[:, j, column] += x[:, i]
        return np.asarray(slopes @ self.turn[self.k + 1 :])

    def bend_row(self, v: Floats) -> Floats:
        """Return the contrast (p,) of v'Bv, how the surface bends along a direction v (k,)."""
        return np.asarray([v[i] * v[j] for i, j in self.pairs] @ self.turn[self.k + 1 :])

    def owner(self, factor: Factor) -> str:
        """Return the level that decides the settings of a factor that slides with a category."""
        if not factor.slides_with:
            return ""
        return self.levels.get(factor.slides_with) or next(iter(factor.settings))

    def real(self, x: Floats) -> Floats:
        """Return coded points x (..., k) as settings in the factors' units."""
        centre, half = self._scale()
        return np.asarray(centre + np.asarray(x) * half)

    def coded(self, settings: Floats) -> Floats:
        """Return settings (..., k) in the factors' units as coded points."""
        centre, half = self._scale()
        return np.asarray((np.asarray(settings) - centre) / half)

    def _scale(self) -> tuple[Floats, Floats]:
        pairs = [
            (0.0, 1.0)
            if one.used_as_is
            else (one.centre(self.owner(one)), one.half_range(self.owner(one)) or 1.0)
            for one in self.factors
        ]
        centre, half = np.array(pairs, dtype=float).reshape(-1, 2).T
        return centre, half

    @property
    def unit_lengths(self) -> Floats:
        """How much of each factor's unit one coded unit is, shape (k,)."""
        return self._scale()[1]

    def point(self, x: Floats) -> dict[str, str | float]:
        """Return a coded point of the whole trial from x (k,)."""
        numbers = {one.name: float(value) for one, value in zip(self.factors, x, strict=True)}
        return {**self.levels, **numbers}

    @property
    def straight(self) -> tuple[Factor, ...]:
        """Numeric factors that no term of second order kept in the model holds."""
        squares = zip(self.turn[self.k + 1 :], self.pairs, strict=True)
        bent = {place for row, pair in squares if np.any(row) for place in pair}
        return tuple(one for place, one in enumerate(self.factors) if place not in bent)

    @property
    def unsquared(self) -> tuple[Factor, ...]:
        """Numeric factors whose square is not in the model."""
        squares = dict(zip(self.pairs, self.turn[self.k + 1 :], strict=True))
        return tuple(
            one for place, one in enumerate(self.factors) if not np.any(squares[place, place])
        )


def per_category(surface: Surface) -> tuple[tuple[Mapping[str, str], Quadratic], ...]:
    """Return the surface at every combination of the categories' levels.

    Parameters
    ----------
    surface
        Fitted; its terms of at most second order in the numeric factors.

    Returns
    -------
    Levels of the categories with the surface there, one pair with no levels where there are no
    categories.

    Raises
    ------
    NotEstimable
        When a term is of third order or more in the numeric factors, or no factor is numeric.
    """
    numeric = tuple(one for one in surface.factors if one.kind == "numeric")
    categories = [one for one in surface.factors if one.kind == "category"]
    if not numeric:
        raise NotEstimable("no setting with a number was varied, so there is no surface to climb")
    return tuple(
        (levels, _cut(surface, numeric, levels))
        for levels in (
            dict(zip((one.name for one in categories), row, strict=True))
            for row in product(*(one.levels for one in categories))
        )
    )


def _cut(surface: Surface, numeric: tuple[Factor, ...], levels: Mapping[str, str]) -> Quadratic:
    turn = _turn(surface, numeric, levels)
    theta = turn @ surface.coefficients
    k = len(numeric)
    bend = np.zeros((k, k))
    pairs = combinations_with_replacement(range(k), 2)
    for value, (i, j) in zip(theta[k + 1 :], pairs, strict=True):
        bend[i, j] += value / 2
        bend[j, i] += value / 2
    here = [one for one in surface.welded if all(one[name] == at for name, at in levels.items())]
    return Quadratic(
        levels=levels,
        factors=numeric,
        b0=float(theta[0]),
        b=theta[1 : k + 1],
        B=bend,
        turn=turn,
        surface=surface,
        welded=welded_at(coordinates(numeric, here)),
    )


def coordinates(numeric: Sequence[Factor], points: Sequence[Point]) -> Floats:
    """Return the numeric coordinates of coded points, shape (m, k)."""
    rows = [[float(point[one.name]) for one in numeric] for point in points]
    return np.array(rows, dtype=float).reshape(-1, len(numeric))


def _turn(surface: Surface, numeric: Sequence[Factor], levels: Mapping[str, str]) -> Floats:
    """Return the weights that the coefficients have in the surface at these levels."""
    k, names = len(numeric), [one.name for one in numeric]
    known = {one.name: one for one in surface.factors}
    pairs = list(combinations_with_replacement(range(k), 2))
    columns = [np.eye(1 + k + len(pairs))[0][:, None]]
    for term in surface.terms:
        weights: Floats = np.ones(1)
        held: list[int] = []
        for name, power in term.powers:
            if name in levels:
                row = np.asarray(contrast_columns(known[name], levels[name]))
                weights = np.asarray(np.kron(weights, row), dtype=np.float64)
            else:
                held += [names.index(name)] * power
        if len(held) > 2:
            raise NotEstimable(
                f"{term.name} is of third order or more: tops, dips and ridges are worked out for "
                "surfaces of second order",
                hint="leave the term out",
            )
        place = held[0] + 1 if held else 0
        if len(held) == 2:
            place = 1 + k + pairs.index((min(held), max(held)))
        made = np.zeros((1 + k + len(pairs), len(weights)))
        made[place] = weights
        columns.append(made)
    return np.hstack(columns)
