"""Plackett-Burman designs: two levels of many factors in 12, 20 or 24 runs.

Main effects are clear of one another, and each is mixed with a part of every two-factor
interaction that it takes no part in.  Which columns are used decides how large the largest part is
(20 and 24 runs), so they are chosen.

References
----------
Plackett & Burman (1946). The design of optimum multifactorial experiments, *Biometrika*
33:305-325 (first rows from memory; 12 and 20 runs read in NIST/SEMATECH, 5.3.3.5).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from itertools import combinations

from weldtrial.doe.cells import combinations_of
from weldtrial.doe.factorial import plackett_burman_signs
from weldtrial.doe.family import (
    Family,
    categories_of,
    coded,
    crossed,
    how_many_combinations,
    middle,
    opened,
    shared_out,
    titles,
)
from weldtrial.doe.partial_aliases import partial_aliases
from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.terms import model_terms

SIZES = (12, 20, 24)
FEWEST = 4
FIRST_ROW_OF_24 = "+++++-+-++--++--+-+----"
"""The published first row; the others are its cyclic shifts and a row of minus."""

Signs = tuple[tuple[int, ...], ...]


def plackett_burman(
    factors: Sequence[Factor],
    *,
    runs: int | None = None,
    fold_over: bool = False,
    centre_points: int = 0,
    blocks: int = 1,
) -> Family:
    """Return a Plackett-Burman design.

    Parameters
    ----------
    factors
        Varied factors of two levels, each a column; a category of more levels is crossed, the
        whole design welded under each of them.
    runs
        12, 20 or 24 under each combination of the crossed categories; None for the fewest.
    fold_over
        Weld every run again with all signs turned, which clears main effects of two-factor
        interactions.
    centre_points
        In the whole trial, shared evenly over all combinations of the categories.
    blocks
        1; or 2, told apart by an unused column or by the halves of the fold-over.

    Raises
    ------
    PlanRefused
        When the factors do not fit, or it cannot be cut so.
    """
    columns = _columns(factors)
    more = tuple(factor for factor in factors if factor not in columns)
    if blocks not in (1, 2):
        raise PlanRefused(
            f"A Plackett-Burman design is cut into 2 blocks at most; {blocks} were asked for. "
            "Use  rounds = 2,  or leave it out."
        )
    spare = blocks == 2 and not fold_over
    size = _size(runs, len(columns), spare=spare)
    signs = _signs(size)
    places = best_columns(size, len(columns) + spare)
    rows = [tuple(row[place] for place in places) for row in signs]
    number = [1 if spare and row[-1] > 0 else 2 if spare else 1 for row in rows]
    rows = [row[: len(columns)] for row in rows]
    if fold_over:
        rows += [tuple(-sign for sign in row) for row in rows]
        number += [blocks] * size
    points = crossed([coded(columns, row) for row in rows], more, factors)
    block = number * how_many_combinations(more)
    each = shared_out(centre_points, factors, blocks)
    for one in range(1, blocks + 1):
        centres = _centres(factors) * each
        points += centres
        block += [one] * len(centres)
    return Family(
        points=points,
        block=tuple(block) if blocks > 1 else None,
        centre=centre_points,
        name=_name(size, len(columns), more, fold_over=fold_over),
        notes=(
            *_notes(points, factors, fold_over=fold_over),
            *_crossing(more, size * (1 + fold_over)),
            _unused(size - 1 - len(columns) - spare, fold_over=fold_over),
            *(_BLOCKED if spare else _HALVES if blocks == 2 else ()),
            *(_CENTRE if each else ()),
        ),
        model=model_terms(factors, "main"),
    )


def best_columns(runs: int, many: int) -> tuple[int, ...]:
    """Return the columns to use: those that mix interactions least with main effects.

    One column after another is added, the one that makes the sum of the squared mixings with those
    already there smallest; among equals the first.  Of 12 runs all choices are alike.

    Parameters
    ----------
    runs
        12, 20 or 24.
    many
        From 1 to `runs` - 1.
    """
    signs = _signs(runs)
    chosen: list[int] = []
    for _ in range(many):
        left = [place for place in range(runs - 1) if place not in chosen]
        chosen.append(min(left, key=lambda place: (_mixing(signs, chosen, place), place)))
    return tuple(sorted(chosen))


def _mixing(signs: Signs, chosen: Sequence[int], place: int) -> int:
    """Return the sum of the squared mixings that a column adds, in runs."""
    return sum(
        sum(row[a] * row[b] * row[place] for row in signs) ** 2 for a, b in combinations(chosen, 2)
    )


@cache
def _signs(runs: int) -> Signs:
    if runs != 24:
        return plackett_burman_signs(runs)
    first = [1 if sign == "+" else -1 for sign in FIRST_ROW_OF_24]
    shifted = [tuple(first[-shift:] + first[:-shift]) for shift in range(len(first))]
    return (*shifted, (-1,) * len(first))


def _columns(factors: Sequence[Factor]) -> tuple[Factor, ...]:
    """Return the factors of two levels, refusing numbers of more."""
    bent = [one.name for one in factors if one.kind == "numeric" and len(one.levels) > 2]
    if bent:
        raise PlanRefused(
            f"A Plackett-Burman design sets every number low or high; '{bent[0]}' has more levels. "
            'Keep two levels, or use  kind = "definitive-screening",  which has three.'
        )
    columns = tuple(one for one in factors if len(one.levels) == 2)
    if len(columns) < FEWEST:
        raise PlanRefused(
            "A Plackett-Burman design is for many factors of two levels; there "
            f"{'is' if len(columns) == 1 else 'are'} {len(columns) or 'none'}. For fewer than "
            f'{FEWEST} use  kind = "factorial",  which tells their pairs as well.'
        )
    return columns


def _size(runs: int | None, columns: int, *, spare: bool) -> int:
    needed = columns + spare
    if needed > SIZES[-1] - 1:
        raise PlanRefused(
            f"{columns} factors of two levels are more than the {SIZES[-1] - 1 - spare} that "
            f"{SIZES[-1]} runs can hold{' in two blocks' if spare else ''}. Leave some out."
        )
    fits = [size for size in SIZES if size > needed]
    if runs is None:
        return fits[0]
    if runs in (4, 8, 16, 32, 64):
        raise PlanRefused(
            f"{runs} runs are a regular fraction, not a Plackett-Burman design: use  kind = "
            f'"fraction"  with  runs = {runs},  or  runs = {_either(fits)}.'
        )
    if runs not in fits:
        raise PlanRefused(
            f"design.runs = {runs} does not hold {columns} factors in a Plackett-Burman design"
            f"{' cut in two blocks' if spare else ''}. Use  runs = {_either(fits)}."
        )
    return runs


def _either(sizes: Sequence[int]) -> str:
    return " or ".join(str(size) for size in sizes)


def _centres(factors: Sequence[Factor]) -> tuple[Point, ...]:
    return tuple(middle(factors, levels) for levels in combinations_of(categories_of(factors)))


def _name(size: int, columns: int, more: Sequence[Factor], *, fold_over: bool) -> str:
    folded = ", folded over" if fold_over else ""
    under = f", under every {titles(more)}" if more else ""
    return f"Plackett-Burman: {columns} factors in {size} runs{folded}{under}"


_BLOCKED = (
    "The two blocks are told apart by a column that no factor uses: no main effect is touched by "
    "what differs between them.",
)
_HALVES = (
    "The two blocks are the runs and the same runs with every sign turned: no main effect is "
    "touched by what differs between them.",
)
_CENTRE = (
    "The centre points show whether the middle lies on the straight line between low and high, not "
    "which factor bends. A category has no middle: they are welded under each of its levels.",
)


def _unused(columns: int, *, fold_over: bool) -> str:
    if columns == 0 and not fold_over:
        return (
            "No column is left unused: where nothing is repeated, no scatter is left to judge the "
            "effects by but that of the small ones among them."
        )
    left = "" if columns == 0 else f"{columns} column{'' if columns == 1 else 's'}"
    both = f"{left}{' and ' if left and fold_over else ''}{'the turned half' if fold_over else ''}"
    return (
        f"Left unused by main effects: {both}. The scatter that judges them comes from there, and "
        "whatever works together is counted in it."
    )


def _crossing(more: Sequence[Factor], size: int) -> tuple[str, ...]:
    if not more:
        return ()
    return (
        f"{opened(titles(more))} with more than two levels cannot be a column: the {size} "
        f"runs are welded under every one of the {how_many_combinations(more)}, so that what it "
        "does, and how the other factors depend on it, is clear of their main effects. This is the "
        "dearer way; with two levels it would be a column and cost nothing.",
    )


def _notes(
    points: Sequence[Point], factors: Sequence[Factor], *, fold_over: bool
) -> tuple[str, ...]:
    """Return what is mixed with what, counted from the points themselves."""
    found = partial_aliases(points, factors)
    if not found:
        how = "with every sign turned" if fold_over else "here"
        return (
            f"Main effects are clear of one another and, {how}, of all two-factor interactions; "
            "the interactions are mixed with one another and cannot be told apart.",
        )
    shares = Counter(Fraction(abs(one.share)).limit_denominator(99) for one in found)
    worst = max(shares)
    mixed = ", ".join(f"{share} of it in {count} cases" for share, count in sorted(shares.items()))
    few = f"Worst here: {worst} of an interaction is counted as a main effect."
    return (
        "Main effects are clear of one another. A two-factor interaction, where there is one, is "
        "partly counted as the main effects of other factors, with plus or minus sign: "
        f"{mixed}. {few if len(shares) > 1 else ''}".rstrip(),
        "So it finds the few factors that matter when interactions are small beside them; it "
        "cannot say how factors work together. Weld the few again in a design that can, or fold "
        "it over.",
    )
