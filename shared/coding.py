"""The coded matrix: numeric factors on -1 to +1, categories sum-to-zero.

Type III tests (each term given all the others) are only what they claim to be with sum-to-zero
categories and centred numbers, so there is no other coding here.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Matrix = NDArray[np.float64]

Point = Mapping[str, str | float]
"""One place in the design: a level name for a category, a coded number for a numeric factor."""


@dataclass(frozen=True, slots=True)
class ModelMatrix:
    """A coded model matrix.

    Attributes
    ----------
    matrix
        Shape (points, columns), the intercept first.
    names
        Column names: ``Intercept``, ``gas=mix``, ``voltage``, ``gas=mix:voltage``, ``voltage^2``.
    columns
        For each term name, the indices of its columns.
    """

    matrix: Matrix
    names: tuple[str, ...]
    columns: Mapping[str, tuple[int, ...]]


def coded_point(factors: Sequence[Factor], levels: Mapping[str, str]) -> dict[str, str | float]:
    """Return the coded point of a coupon welded at the named levels."""
    return {
        factor.name: levels[factor.name]
        if factor.kind == "category"
        else factor.coded(
            factor.setting(levels[factor.name], levels.get(factor.slides_with or "", "")),
            levels.get(factor.slides_with or "", ""),
        )
        for factor in factors
    }


def contrast_columns(factor: Factor, level: str) -> tuple[float, ...]:
    """Return the sum-to-zero columns of one level of a category (the last level is all -1)."""
    place = factor.levels.index(level)
    last = len(factor.levels) - 1
    return tuple(-1.0 if place == last else float(place == column) for column in range(last))


def _pieces(factor: Factor, power: int, point: Point) -> list[tuple[str, float]]:
    value = point[factor.name]
    if factor.kind == "numeric":
        label = factor.name if power == 1 else f"{factor.name}^{power}"
        return [(label, float(value) ** power)]
    names = [f"{factor.name}={level}" for level in factor.levels[:-1]]
    return list(zip(names, contrast_columns(factor, str(value)), strict=True))


def _row(
    factors: Mapping[str, Factor], terms: Sequence[Term], point: Point
) -> list[list[tuple[str, float]]]:
    row = []
    for term in terms:
        products = [("", 1.0)]
        for name, power in term.powers:
            products = [
                (f"{left}:{right}".lstrip(":"), a * b)
                for left, a in products
                for right, b in _pieces(factors[name], power, point)
            ]
        row.append(products)
    return row


def model_matrix(
    factors: Sequence[Factor], terms: Sequence[Term], points: Sequence[Point]
) -> ModelMatrix:
    """Build the coded matrix of `terms` at `points`.

    Parameters
    ----------
    factors
        The factors that the terms name.
    terms
        Terms without the intercept, which is always the first column.
    points
        At least one point; see `coded_point`.

    Raises
    ------
    KeyError
        When a term names a factor that is not among `factors`, or a point lacks one.
    """
    import numpy as np

    known = {factor.name: factor for factor in factors}
    rows = [_row(known, terms, point) for point in points]
    names = ["Intercept"]
    columns: dict[str, tuple[int, ...]] = {}
    for term, products in zip(terms, rows[0], strict=True):
        columns[term.name] = tuple(range(len(names), len(names) + len(products)))
        names += [name for name, _ in products]
    matrix = np.array(
        [[1.0, *(value for products in row for _, value in products)] for row in rows]
    )
    return ModelMatrix(matrix, tuple(names), columns)


def unit_effects(factors: Sequence[Factor], term: Term) -> Matrix:
    """Return the coefficients of a term whose effect is 1 in the least noticeable ways.

    A number's effect is low to high, twice its coefficient; that of its square is the coefficient,
    how far the ends lie from the middle.  Of a category two levels differ by 1
    and the others lie half-way; there is one row for each pair.  An interaction is half the
    difference between the effects at two levels, as for two factors of two levels.

    Returns
    -------
    Shape (ways, columns of the term), in the order of `model_matrix`.
    """
    import numpy as np

    known = {factor.name: factor for factor in factors}
    ways = np.array([[1.0 if any(power > 1 for _, power in term.powers) else 0.5]])
    for name, _ in term.powers:
        factor = known[name]
        if factor.kind == "category":
            ways = np.kron(ways, _pairs(len(factor.levels)))
    return np.asarray(ways)


def _pairs(levels: int) -> Matrix:
    import numpy as np

    every = np.eye(levels)
    rows = [every[one] - every[other] for one in range(levels) for other in range(one)]
    # The last level's coefficient is implied.
    return np.array(rows)[:, :-1]
