"""Many settings at once, column by column, and a fitted surface as a polynomial over them.

For one combination of categories a model of terms is a polynomial in the numeric factors.  Moving
the settings by a fixed amount gives a polynomial of the same degree again, so a map of a thousand
places under four thousand draws is one product of two matrices.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from math import comb

import numpy as np
from numpy.typing import NDArray

from weldtrial.analysis.linear import Floats
from weldtrial.shared.coding import Point, contrast_columns
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term

Powers = tuple[int, ...]
Polynomial = dict[Powers, Floats]
"""Coefficients, shape (draws,), by the power of each numeric factor."""
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Places in the space of settings.

    Attributes
    ----------
    factors
        Varied factors.
    levels
        Combinations of category levels, each a mapping by factor.
    which
        Shape (m,): which of `levels` each place has.
    coded
        Shape (m, numeric factors): coded settings.
    """

    factors: tuple[Factor, ...]
    levels: tuple[Mapping[str, str], ...]
    which: NDArray[np.int64]
    coded: Floats

    def __len__(self) -> int:
        return len(self.which)

    @property
    def numeric(self) -> tuple[Factor, ...]:
        """The numeric factors, in the order of the columns of `coded`."""
        return tuple(one for one in self.factors if one.kind == "numeric")

    def column(self, name: str) -> int:
        """Return which column of `coded` a numeric factor has."""
        return [one.name for one in self.numeric].index(name)

    def point(self, place: int) -> Point:
        """Return one place as a coded point."""
        numbers = {
            one.name: float(self.coded[place, column]) for column, one in enumerate(self.numeric)
        }
        return {**self.levels[int(self.which[place])], **numbers}

    def points(self) -> tuple[Point, ...]:
        """Return every place as a coded point."""
        return tuple(self.point(place) for place in range(len(self)))

    def settings(self, place: int) -> dict[str, str | float]:
        """Return one place in real units, as the machine is set."""
        levels = self.levels[int(self.which[place])]
        found: dict[str, str | float] = dict(levels)
        for column, one in enumerate(self.numeric):
            owner = levels.get(one.slides_with or "", "")
            found[one.name] = real(one, float(self.coded[place, column]), owner)
        return found

    def at(self, keep: Mask | Sequence[int]) -> Places:
        """Return some of the places."""
        return Places(self.factors, self.levels, self.which[keep], self.coded[keep])

    def of(self, levels: Mapping[str, str]) -> Mask:
        """Return which places have these category levels, shape (m,)."""
        fit = [all(one.get(name) == level for name, level in levels.items()) for one in self.levels]
        return np.asarray(np.array(fit)[self.which])


def real(factor: Factor, coded: float, owner: str = "") -> float:
    """Return a coded setting in the factor's unit."""
    if factor.used_as_is:
        return coded
    return float(f"{factor.centre(owner) + coded * factor.half_range(owner):.12g}")


def combinations_of(factors: Sequence[Factor]) -> tuple[dict[str, str], ...]:
    """Return every combination of the levels of the categories."""
    groups = [one for one in factors if one.kind == "category"]
    return tuple(
        dict(zip((one.name for one in groups), levels, strict=True))
        for levels in product(*(one.levels for one in groups))
    )


def lay_grid(
    factors: Sequence[Factor],
    steps: int = 9,
    *,
    allowed: Callable[[Mapping[str, str | float]], bool] | None = None,
    span: Mapping[str, tuple[float, float]] | None = None,
) -> Places:
    """Lay a grid over the planned range of every numeric factor, for every category.

    Parameters
    ----------
    steps
        Values of each numeric factor, 2 or more, ends included.
    allowed
        From settings in real units to whether they may be welded; None for all.
    span
        Coded ends of a factor; -1 to +1 where it is not named.
    """
    if steps < 2:
        raise ValueError(f"a grid needs at least 2 values of a factor, got {steps}")
    kept, levels = tuple(factors), combinations_of(factors)
    ends = [(span or {}).get(one.name, (-1.0, 1.0)) for one in kept if one.kind == "numeric"]
    axes = [np.linspace(low, high, steps) for low, high in ends]
    one = np.array(list(product(*axes)), dtype=float).reshape(-1, len(axes))
    which = np.repeat(np.arange(len(levels)), len(one))
    places = Places(kept, levels, which, np.tile(one, (len(levels), 1)))
    if allowed is None:
        return places
    return places.at(np.array([allowed(places.settings(i)) for i in range(len(places))]))


def places_at(factors: Sequence[Factor], points: Sequence[Point]) -> Places:
    """Return coded points as places."""
    kept, levels = tuple(factors), combinations_of(factors)
    which = [
        next(i for i, one in enumerate(levels) if all(point[n] == v for n, v in one.items()))
        for point in points
    ]
    numeric = [one.name for one in kept if one.kind == "numeric"]
    coded = np.array([[float(point[name]) for name in numeric] for point in points], dtype=float)
    return Places(kept, levels, np.array(which), coded.reshape(len(points), len(numeric)))


def polynomial(
    factors: Sequence[Factor],
    terms: Sequence[Term],
    levels: Mapping[str, str],
    coefficients: Floats,
) -> Polynomial:
    """Return a surface at one combination of categories as a polynomial.

    Parameters
    ----------
    terms
        Without the intercept.
    levels
        Level of every category.
    coefficients
        Shape (p, draws), as `weldtrial.shared.coding.model_matrix` orders the columns.
    """
    known = {one.name: one for one in factors}
    numeric = [one.name for one in factors if one.kind == "numeric"]
    none = (0,) * len(numeric)
    found: Polynomial = {none: coefficients[0].copy()}
    column = 1
    for term in terms:
        weights, powers = [1.0], list(none)
        for name, power in term.powers:
            if known[name].kind == "numeric":
                powers[numeric.index(name)] = power
            else:
                row = contrast_columns(known[name], levels[name])
                weights = [left * right for left in weights for right in row]
        total = sum(weight * coefficients[column + place] for place, weight in enumerate(weights))
        column += len(weights)
        key = tuple(powers)
        found[key] = found[key] + total if key in found else np.asarray(total)
    return found


def shifted(surface: Polynomial, shift: Floats) -> Polynomial:
    """Return the polynomial that gives, at x, what `surface` gives at x + shift.

    Parameters
    ----------
    shift
        Shape (numeric factors, draws), coded units.
    """
    found: Polynomial = {}
    for powers, coefficient in surface.items():
        for lower in product(*(range(power + 1) for power in powers)):
            part = coefficient
            for place, (power, kept) in enumerate(zip(powers, lower, strict=True)):
                if power > kept:
                    part = part * comb(power, kept) * shift[place] ** (power - kept)
            found[lower] = found[lower] + part if lower in found else part
    return found


def evaluate(surface: Polynomial, coded: Floats) -> Floats:
    """Return a polynomial at coded settings (m, numeric factors): shape (m, draws)."""
    columns = [
        np.prod(coded ** np.array(powers), axis=1) if powers else np.ones(len(coded))
        for powers in surface
    ]
    return np.asarray(np.column_stack(columns) @ np.array(list(surface.values())))


def by_levels(places: Places) -> Iterator[tuple[Mapping[str, str], NDArray[np.int64]]]:
    """Give each combination of categories with the numbers of its places."""
    for which, levels in enumerate(places.levels):
        rows = np.flatnonzero(places.which == which)
        if len(rows):
            yield levels, rows
