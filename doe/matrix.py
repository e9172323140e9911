"""The coded matrix of a plan: one row for every coupon that will count, blocks before the terms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weldtrial.doe.cells import Cell
from weldtrial.doe.laid_out import Layout
from weldtrial.shared.coding import coded_point, contrast_columns, model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term
from weldtrial.shared.trial import Trial


@dataclass(frozen=True, slots=True, eq=False)
class PlannedMatrix:
    """What the analysis will fit.

    Attributes
    ----------
    matrix
        Shape (coupons, blocks + columns of the terms): a column of ones for each round or block,
        then the terms.
    setup
        Set-up of every coupon, shape (coupons,); None where every coupon is set up anew.
    terms
        The terms that the plan can tell, in the order of `strata`; or those asked for.
    columns
        The columns of each.
    """

    matrix: NDArray[np.float64]
    setup: NDArray[np.intp] | None
    terms: tuple[Term, ...]
    columns: tuple[tuple[int, ...], ...]


def planned_matrix(
    trial: Trial, layout: Layout, terms: tuple[Term, ...] | None = None
) -> PlannedMatrix:
    """Return the matrix of a laid-out trial, in no order of welding.

    Parameters
    ----------
    terms
        Terms whose columns are wanted; without them those that the plan can tell.
    """
    cells: list[Cell] = []
    setup: list[int] = []
    block: list[int] = []
    for number, held in enumerate(layout.holdings()):
        cells += held.cells
        setup += [number] * len(held.cells)
        block += [held.round] * len(held.cells)
    terms = layout.strata.told if terms is None else terms
    points = [coded_point(trial.varied, cell.levels) for cell in cells]
    coded = model_matrix(trial.varied, terms, points)
    names = sorted(set(block))
    blocks = np.eye(len(names))[[names.index(one) for one in block]]
    shift = len(names) - 1
    return PlannedMatrix(
        matrix=np.hstack([blocks, coded.matrix[:, 1:]]),
        setup=np.array(setup, dtype=np.intp) if layout.hard_factors else None,
        terms=terms,
        columns=tuple(tuple(at + shift for at in coded.columns[one.name]) for one in terms),
    )


def gaps_of(trial: Trial, planned: PlannedMatrix, factor: Factor) -> NDArray[np.float64]:
    """Return the contrasts that compare the levels of a factor, everything else at its middle.

    Each other level with the reference, or where there is none every pair; a number low with high.

    Returns
    -------
    Shape (pairs, columns of the matrix).
    """
    term = Term(((factor.name, 1),))
    row = np.zeros((1, planned.matrix.shape[1]))
    if term not in planned.terms:
        return row
    at = list(planned.columns[planned.terms.index(term)])
    if factor.kind == "numeric":
        row[0, at] = 2.0
        return row
    codes = np.array([contrast_columns(factor, level) for level in factor.levels])
    place = factor.levels.index(factor.reference)
    pairs = [(one, place) for one in range(len(codes)) if one != place]
    if factor.control is None:
        pairs = [(one, other) for one in range(len(codes)) for other in range(one)]
    rows = np.zeros((len(pairs), planned.matrix.shape[1]))
    for number, (one, other) in enumerate(pairs):
        rows[number, at] = codes[one] - codes[other]
    return rows
