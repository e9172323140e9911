"""What a design known by name gives: points, their blocks, and what it can and cannot tell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import prod

import numpy as np

from weldtrial.doe.cells import combinations_of
from weldtrial.shared.coding import Point, model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.terms import Term


@dataclass(frozen=True, slots=True)
class Family:
    """A design known by name, in no order of welding.

    Attributes
    ----------
    points
        Every counting coupon once, so that a repeated point stands as often as it is welded.
    block
        Block of each point, counted from 1 (a day, a plate; the pair; the row of a square); None
        where nothing is cut.
    columns
        The second thing that a Latin square is balanced over, counted from 1; None elsewhere.
    centre
        How many points lie at the middle of all numeric factors.
    name
        In plain words, for the first line of a plan.
    notes
        What it can and cannot tell, one sentence or two each.
    model
        What it is made for, without intercept and blocks.
    star
        Distance of the star points from the centre as a multiple of the cube's, None without.
    """

    points: tuple[Point, ...]
    block: tuple[int, ...] | None
    centre: int
    name: str
    notes: tuple[str, ...]
    model: tuple[Term, ...]
    columns: tuple[int, ...] | None = None
    star: float | None = None


def numbers_of(factors: Sequence[Factor]) -> tuple[Factor, ...]:
    """Return the numeric factors."""
    return tuple(factor for factor in factors if factor.kind == "numeric")


def categories_of(factors: Sequence[Factor]) -> tuple[Factor, ...]:
    """Return the categories."""
    return tuple(factor for factor in factors if factor.kind == "category")


def how_many_combinations(factors: Sequence[Factor]) -> int:
    """Return the number of combinations of the levels of `factors`; 1 of none."""
    return prod(len(factor.levels) for factor in factors)


def coded(factors: Sequence[Factor], row: Sequence[float]) -> dict[str, str | float]:
    """Return the point of a row of numbers; for a two-level category -1 is its first level."""
    return {
        factor.name: float(value)
        if factor.kind == "numeric"
        else factor.levels[0 if value < 0 else -1]
        for factor, value in zip(factors, row, strict=True)
    }


def crossed(
    points: Sequence[Point], categories: Sequence[Factor], factors: Sequence[Factor]
) -> tuple[Point, ...]:
    """Return every point under every combination of `categories`, keys in the order of `factors`.

    The combinations change slowest.
    """
    return tuple(
        in_order(factors, {**point, **levels})
        for levels in combinations_of(categories)
        for point in points
    )


def in_order(factors: Sequence[Factor], point: Point) -> Point:
    """Return the point with its keys in the order of `factors`."""
    return {factor.name: point[factor.name] for factor in factors}


def middle(factors: Sequence[Factor], levels: Mapping[str, str | float]) -> Point:
    """Return the point at the middle of every number, at the given levels of the categories."""
    numbers = {factor.name: 0.0 for factor in numbers_of(factors)}
    return in_order(factors, {**numbers, **levels})


def shared_out(centre_points: int, factors: Sequence[Factor], blocks: int) -> int:
    """Return how many centre points each block holds under each combination of the categories.

    Raises
    ------
    PlanRefused
        When there are none of the numbers that could have a middle, or the points do not divide.
    """
    if centre_points == 0:
        return 0
    if not numbers_of(factors):
        raise PlanRefused(
            "Centre points lie at the middle of numeric factors, and here every factor is a "
            "category. Leave `centre_points` out."
        )
    categories = categories_of(factors)
    each = how_many_combinations(categories) * blocks
    if centre_points % each:
        over = [f"{how_many_combinations(categories)} combinations of the categories"]
        parts = (over if categories else []) + ([f"{blocks} blocks"] if blocks > 1 else [])
        raise PlanRefused(
            f"centre_points = {centre_points} cannot be shared evenly over the "
            f"{' and '.join(parts)}. Use  centre_points = {-(-centre_points // each) * each}."
        )
    return centre_points // each


def said(names: Sequence[str]) -> str:
    """Return names as they are said: ``gas``, ``gas and wire``, ``gas, wire and torch``."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def opened(text: str) -> str:
    """Return text with a capital first letter and the others as they are (CO2 stays CO2)."""
    return text[:1].upper() + text[1:]


def titles(factors: Sequence[Factor]) -> str:
    """Return the factors as they are said."""
    return said([f"{one.title[:1].lower()}{one.title[1:]}" for one in factors])


def with_categories(categories: Sequence[Factor]) -> str:
    """Return how a name goes on where categories are crossed: `` under every gas``."""
    return f", under every {titles(categories)}" if categories else ""


def refuse_untold(family: Family, factors: Sequence[Factor], remedy: str) -> Family:
    """Return `family` as it is where its coupons tell its whole model, blocks included.

    Raises
    ------
    PlanRefused
        Saying that the model cannot be told, and `remedy`.
    """
    coded_matrix = model_matrix(factors, family.model, family.points).matrix
    if family.block is not None:
        of_block = np.array(family.block)
        ones = [of_block == one for one in sorted(set(family.block))]
        coded_matrix = np.column_stack([*ones, coded_matrix[:, 1:]])
    if np.linalg.matrix_rank(coded_matrix) < coded_matrix.shape[1]:
        raise PlanRefused(
            f"{family.name}: these {len(family.points)} coupons cannot tell all the effects that "
            f"the design is made for. {remedy}"
        )
    return family
