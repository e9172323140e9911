"""Combinations of levels as they are welded: of the easy factors, at given levels of the rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from weldtrial.doe.factorial import two_level
from weldtrial.shared.factors import CENTRE, Factor
from weldtrial.shared.trial import Trial

Settings = Mapping[str, float | str]
Levels = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Cell:
    """Coupons welded alike: one combination of levels in one set-up, or in one block.

    Attributes
    ----------
    levels
        Level name of every factor, in the order of the trial file, own settings included.
    settings
        The same as set on the machine: a number for a numeric factor, the level for a category.
    """

    levels: Levels
    settings: Settings


def combinations_of(factors: Sequence[Factor]) -> tuple[dict[str, str], ...]:
    """Return every combination of the levels of `factors`, the last factor changing fastest."""
    names = [factor.name for factor in factors]
    if all(len(factor.levels) == 2 for factor in factors):
        return tuple(from_signs(factors, row) for row in two_level(len(factors)))
    every = product(*(factor.levels for factor in factors))
    return tuple(dict(zip(names, levels, strict=True)) for levels in every)


def from_signs(factors: Sequence[Factor], signs: Sequence[int]) -> dict[str, str]:
    """Return the levels that a row of -1 (the first level) and +1 (the last) stands for."""
    return {
        factor.name: factor.levels[0 if sign < 0 else -1]
        for factor, sign in zip(factors, signs, strict=True)
    }


def signs_of(factors: Sequence[Factor], levels: Levels) -> tuple[int, ...]:
    """Return the row of -1 and +1 that stands for levels of two-level factors."""
    return tuple(-1 if levels[one.name] == one.levels[0] else 1 for one in factors)


def middle_level(factor: Factor) -> str:
    """Return the level at the middle of a numeric factor's range, `CENTRE` where none is named."""
    owners = list(factor.settings)
    for level in factor.levels:
        if all(abs(factor.setting(level, owner) - factor.centre(owner)) < 1e-9 for owner in owners):
            return level
    return CENTRE


def centre_cells(trial: Trial, fixed: Levels, factors: Sequence[Factor]) -> tuple[Cell, ...]:
    """Return the centre points: numbers of `factors` at their middle, once for each category."""
    numbers = [factor for factor in factors if factor.kind == "numeric"]
    middles = {factor.name: middle_level(factor) for factor in numbers}
    categories = [factor for factor in factors if factor.kind == "category"]
    return tuple(
        cell_at(trial, {**fixed, **middles, **levels}) for levels in combinations_of(categories)
    )


def cell_at(trial: Trial, levels: Levels) -> Cell:
    """Return the cell at the levels of the varied factors; the others have one level."""
    whole = {factor.name: levels.get(factor.name, factor.levels[0]) for factor in trial.factors}
    return Cell(whole, {factor.name: _setting(factor, whole) for factor in trial.factors})


def _setting(factor: Factor, levels: Levels) -> float | str:
    level = levels[factor.name]
    if factor.kind == "category":
        return level
    value = factor.setting(level, levels.get(factor.slides_with or "", ""))
    # Half of a sum may end in a digit that no machine shows: 25.800000000000001.
    return value if level in factor.levels else float(f"{value:.12g}")
