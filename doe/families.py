"""Designs known by name, made by one call."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Literal

from weldtrial.doe.box_behnken import box_behnken
from weldtrial.doe.composite import Distance, Star, central_composite
from weldtrial.doe.definitive import definitive_screening
from weldtrial.doe.family import Family, numbers_of, titles
from weldtrial.doe.latin import latin_square
from weldtrial.doe.paired import paired
from weldtrial.doe.plackett_burman import plackett_burman
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused

CLOSE = 1e-9

FamilyKind = Literal[
    "plackett-burman",
    "definitive-screening",
    "central-composite",
    "box-behnken",
    "latin-square",
    "paired",
]

TAKES: Mapping[str, tuple[str, ...]] = {
    "plackett-burman": ("runs", "fold_over", "centre_points", "blocks"),
    "definitive-screening": ("runs", "centre_points", "blocks"),
    "central-composite": ("star", "distance", "whole_cube", "centre_points", "blocks"),
    "box-behnken": ("centre_points", "blocks"),
    "latin-square": ("rows", "columns"),
    "paired": (),
}
"""What each kind may be told besides `replicates`."""


def family(
    kind: FamilyKind,
    factors: Sequence[Factor],
    *,
    centre_points: int | None = None,
    blocks: int | None = None,
    runs: int | None = None,
    star: Star | None = None,
    distance: Distance | None = None,
    whole_cube: bool | None = None,
    fold_over: bool | None = None,
    replicates: int = 1,
    rows: str | None = None,
    columns: str | None = None,
) -> Family:
    """Return the design of a kind for the varied factors.

    Parameters
    ----------
    kind
        Which family.
    factors
        The varied factors, in the order of the trial file.
    centre_points, blocks, runs, star, distance, whole_cube, fold_over, rows, columns
        See the function of the kind; None where nothing is said.  What a kind does not take is
        refused.
    replicates
        From 1.  Squares of a Latin square, pairs of each two levels; of the others the whole
        design, centre points and all, again in the same blocks.

    Raises
    ------
    PlanRefused
        When the factors do not fit the kind, or what is asked cannot be had; in words.

    Examples
    --------
    >>> gas = Factor("gas", "category", ("mix", "co2"))
    >>> family("paired", [gas], replicates=8).name
    'Paired comparison: 8 pairs, 2 levels of gas'
    """
    told: dict[str, Any] = {
        "centre_points": centre_points,
        "blocks": blocks,
        "runs": runs,
        "star": star,
        "distance": distance,
        "whole_cube": whole_cube,
        "fold_over": fold_over,
        "rows": rows,
        "columns": columns,
    }
    given = {key: value for key, value in told.items() if value is not None}
    _refuse(kind, given, replicates)
    if kind == "latin-square":
        return latin_square(factors, replicates=replicates, **given)
    if kind == "paired":
        return paired(factors, replicates=replicates)
    return _again(_noted(_made(kind, factors, given), factors), replicates)


def _made(kind: FamilyKind, factors: Sequence[Factor], given: dict[str, Any]) -> Family:
    if kind == "plackett-burman":
        return plackett_burman(factors, **given)
    if kind == "definitive-screening":
        return definitive_screening(factors, **given)
    if kind == "central-composite":
        return central_composite(factors, **given)
    return box_behnken(factors, **given)


def _noted(made: Family, factors: Sequence[Factor]) -> Family:
    """Return `made`, saying so where levels of the file are not welded as written."""
    between = [
        factor
        for factor in numbers_of(factors)
        if any(
            CLOSE < abs(factor.coded(setting, owner)) < 1 - CLOSE
            for owner, row in factor.settings.items()
            for setting in row
        )
    ]
    if not between:
        return made
    return replace(
        made,
        notes=(
            *made.notes,
            f"The levels of {titles(between)} between "
            "the ends are not welded as written: the design sets its own between them.",
        ),
    )


def _refuse(kind: str, given: Mapping[str, Any], replicates: int) -> None:
    if kind not in TAKES:
        raise PlanRefused(f"'{kind}' is not one of the designs {', '.join(TAKES)}.")
    wrong = [
        f'design.{key} has no meaning for  kind = "{kind}".  Leave it out.'
        for key in given
        if key not in TAKES[kind]
    ]
    wrong += [
        f"{key} = {number} is not a number to weld. Use {least} or more."
        for key, number, least in (
            ("replicates", replicates, 1),
            ("centre_points", given.get("centre_points", 0), 0),
            ("blocks", given.get("blocks", 1), 1),
        )
        if number < least
    ]
    if wrong:
        raise PlanRefused("\n".join(wrong))


def _again(once: Family, replicates: int) -> Family:
    if replicates == 1:
        return once
    return replace(
        once,
        points=once.points * replicates,
        block=once.block and once.block * replicates,
        centre=once.centre * replicates,
        name=f"{once.name}, {replicates} times",
        notes=(
            *once.notes,
            f"The whole design, centre points and all, is welded {replicates} times.",
        ),
    )
