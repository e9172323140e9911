"""Latin squares: one factor, every level once in each row and once in each column.

References
----------
Fisher & Yates (1938). *Statistical Tables*, table XV (standard squares; from memory).
Box, Hunter & Hunter (1978). *Statistics for Experimenters*, chapter 8 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from weldtrial.doe.family import Family
from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.terms import model_terms

MOST = 12


def latin_square(
    factors: Sequence[Factor], *, rows: str = "day", columns: str = "welder", replicates: int = 1
) -> Family:
    """Return a Latin square for one factor, or several with new rows and the same columns.

    Parameters
    ----------
    factors
        One varied factor, a category or a number of two to twelve levels.
    rows, columns
        What the square is balanced over, in words: days, welders, plates, positions.
    replicates
        Squares: each again with rows of its own (further days), under the same columns.

    Returns
    -------
    Family
        `block` is the row and `columns` the column of each coupon.

    Raises
    ------
    PlanRefused
        When there is not one factor of so many levels, or nothing is left to judge it by.

    Notes
    -----
    With n levels and s squares (n - 1)(s n - 2) degrees of freedom are left over.  The square is
    the standard (reduced) one; rows, columns and letters are for the drawn order to shuffle.
    """
    factor = _one(factors)
    many = len(factor.levels)
    left = (many - 1) * (replicates * many - 2)
    if left < 1:
        raise PlanRefused(
            f"One Latin square of {many} levels leaves nothing to judge the difference by. Weld "
            "more squares:  replicates = 3,  which leaves 4 degrees of freedom."
        )
    square = standard_square(many)
    points: list[Point] = []
    row: list[int] = []
    column: list[int] = []
    for copy in range(replicates):
        for place, letters in enumerate(square):
            points += [setting(factor, letter) for letter in letters]
            row += [copy * many + place + 1] * many
            column += range(1, many + 1)
    again = "" if replicates == 1 else f", {replicates} squares"
    return Family(
        points=tuple(points),
        block=tuple(row),
        columns=tuple(column),
        centre=0,
        name=f"Latin square: {many} levels of {factor.title[:1].lower()}{factor.title[1:]}, "
        f"{replicates * many} {rows}s by {many} {columns}s{again}",
        notes=tuple(_notes(many, rows, columns, left, replicates)),
        model=model_terms(factors, "main"),
    )


def standard_square(many: int) -> tuple[tuple[int, ...], ...]:
    """Return the cyclic standard square: first row and first column in order, counted from 0."""
    return tuple(tuple((row + column) % many for column in range(many)) for row in range(many))


def setting(factor: Factor, place: int) -> Point:
    """Return the point at one level of a factor."""
    if factor.kind == "category":
        return {factor.name: factor.levels[place]}
    owner = next(iter(factor.settings))
    return {factor.name: factor.coded(factor.setting(factor.levels[place], owner), owner)}


def _one(factors: Sequence[Factor]) -> Factor:
    if len(factors) != 1:
        raise PlanRefused(
            f"A Latin square compares the levels of one factor; there are {len(factors)} varied "
            'ones. Use  kind = "factorial",  with days or welders as blocks.'
        )
    factor = factors[0]
    if not 2 <= len(factor.levels) <= MOST:
        raise PlanRefused(
            f"A Latin square is of 2 to {MOST} levels; '{factor.name}' has {len(factor.levels)}."
        )
    return factor


def _notes(many: int, rows: str, columns: str, left: int, replicates: int) -> Iterator[str]:
    yield (
        f"Every level is welded once for each {rows} and once for each {columns}, so neither "
        "touches the comparison."
    )
    yield (
        f"What it cannot tell: whether the difference depends on the {rows} or on the {columns}. "
        "Where it does, that is counted as scatter, or as the difference itself."
    )
    small = replicates == 1 and left < 12
    yield f"{left} degree{'' if left == 1 else 's'} of freedom judge the difference" + (
        f": few. Weld further squares on other {rows}s  (replicates = 2)." if small else "."
    )
    if replicates > 1:
        yield f"Each square has {rows}s of its own; the {columns}s are the same throughout."
