"""What each term of the model is judged by, and which terms the coupons cannot tell.

The analysis keeps the same rule: blocks come before any term, terms in their order, and a term
that does not add all its columns is left out.  A term that changes only from set-up to set-up is
judged by the scatter of set-ups, any other by that of coupons (within set-ups where there are
such).  All of it follows from ranks of the coded matrix, less the means of blocks or set-ups.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weldtrial.doe.cells import Cell
from weldtrial.shared.coding import coded_point, model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term

Matrix = NDArray[np.float64]
Codes = NDArray[np.intp]
TOLERANCE = 1e-8


@dataclass(frozen=True, slots=True)
class Unit:
    """Coupons of one set-up, or of one block: each cell once, however often it is welded."""

    block: int
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A term that the design cannot tell, and the terms (or blocks) that it runs with."""

    term: Term
    runs_with: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Strata:
    """Terms and their degrees of freedom.

    Attributes
    ----------
    within, between
        Terms judged within set-ups (or blocks), and between set-ups.
    left_out
        Terms that the design cannot tell.
    columns
        Columns of the terms that are told.
    between_df, within_df
        Degrees of freedom left between set-ups and within them, 0 or more; without set-ups
        `within_df` is what is left over all coupons and `between_df` is 0.
    """

    within: tuple[Term, ...]
    between: tuple[Term, ...]
    left_out: tuple[LeftOut, ...]
    columns: int
    between_df: int
    within_df: int

    @property
    def told(self) -> tuple[Term, ...]:
        """Terms that the design can tell."""
        return (*self.between, *self.within)


def strata(
    factors: Sequence[Factor],
    terms: Sequence[Term],
    units: Sequence[Unit],
    coupons: int,
    *,
    set_ups: bool,
) -> Strata:
    """Sort the terms of a model into what judges them.

    Parameters
    ----------
    factors
        The varied factors.
    terms
        Terms asked for, in the order of the model.
    units
        Every set-up of the trial, or without set-ups every block.
    coupons
        Counting coupons, replicates included.
    set_ups
        Whether the units are set-ups (random) or only blocks (fixed).
    """
    coded, unit, block = _coded(factors, terms, units)
    kept, left = _told(terms, coded, block)
    columns = sum(coded[term.name].shape[1] for term in kept)
    blocks = len(set(block.tolist()))
    if not set_ups:
        return Strata(tuple(kept), (), left, columns, 0, coupons - blocks - columns)
    inside = {term: _less_means(coded[term.name], unit) for term in kept}
    rank = _rank(np.column_stack([np.zeros((len(unit), 1)), *inside.values()]))
    between = tuple(term for term, matrix in inside.items() if _vanishes(matrix))
    return Strata(
        within=tuple(term for term in kept if term not in between),
        between=between,
        left_out=left,
        columns=columns,
        between_df=len(units) + rank - blocks - columns,
        within_df=coupons - len(units) - rank,
    )


def _coded(
    factors: Sequence[Factor], terms: Sequence[Term], units: Sequence[Unit]
) -> tuple[dict[str, Matrix], Codes, Codes]:
    """Return the columns of each term, and the unit and block of every row."""
    known: dict[int, int] = {}
    cells: list[Cell] = []
    rows = []
    for number, unit in enumerate(units):
        for cell in unit.cells:
            if id(cell) not in known:
                known[id(cell)] = len(cells)
                cells.append(cell)
            rows.append((known[id(cell)], number, unit.block))
    places, numbers, blocks = (
        np.array(column, dtype=np.intp) for column in zip(*rows, strict=True)
    )
    points = [coded_point(factors, cell.levels) for cell in cells]
    made = model_matrix(factors, terms, points)
    return (
        {name: made.matrix[:, list(at)][places] for name, at in made.columns.items()},
        numbers,
        blocks,
    )


def _less_means(matrix: Matrix, groups: Codes) -> Matrix:
    """Return the columns less their mean in every group."""
    sizes = np.bincount(groups)
    sums = np.zeros((len(sizes), matrix.shape[1]))
    np.add.at(sums, groups, matrix)
    return np.asarray(matrix - (sums / np.maximum(sizes, 1)[:, None])[groups])


def _vanishes(matrix: Matrix) -> bool:
    return bool(np.abs(matrix).max(initial=0.0) < TOLERANCE)


def _rank(matrix: Matrix) -> int:
    return int(np.linalg.matrix_rank(matrix, tol=TOLERANCE * max(matrix.shape)))


def _told(
    terms: Sequence[Term], coded: dict[str, Matrix], block: Codes
) -> tuple[list[Term], tuple[LeftOut, ...]]:
    """Keep terms in order while each adds all its columns to blocks and the terms before it."""
    kept: list[Term] = []
    left: list[LeftOut] = []
    owners: list[str] = []
    so_far = np.empty((len(block), 0))
    basis = np.empty((len(block), 0))
    for term in terms:
        columns = _less_means(coded[term.name], block)
        rest = columns - basis @ (basis.T @ columns)
        if _rank(rest) < columns.shape[1]:
            left.append(LeftOut(term, _runs_with(so_far, owners, columns)))
            continue
        kept.append(term)
        so_far = np.column_stack([so_far, columns])
        owners += [term.name] * columns.shape[1]
        basis = np.column_stack([basis, np.linalg.qr(rest)[0]])
    return kept, tuple(left)


def _runs_with(so_far: Matrix, owners: Sequence[str], columns: Matrix) -> tuple[str, ...]:
    """Return the terms that a term runs with; none where it never changes inside a block."""
    if not owners or _vanishes(columns):
        return ()
    weights = np.abs(np.linalg.lstsq(so_far, columns, rcond=None)[0]).max(axis=1)
    return tuple(
        dict.fromkeys(name for name, one in zip(owners, weights, strict=True) if one > TOLERANCE)
    )
