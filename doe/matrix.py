"""The coded matrix of a plan: one row for every coupon that will count, blocks before the terms."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weldtrial.doe.cells import Cell
from weldtrial.doe.laid_out import Layout
from weldtrial.shared.coding import coded_point, model_matrix
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
    kinds = layout.hard_levels or ("",)
    many = max(1, len(layout.parts))
    cells: list[Cell] = []
    setup: list[int] = []
    block: list[int] = []
    number = 0
    for round_ in range(layout.rounds):
        for kind in kinds:
            for place in range(max(1, layout.per_round)):
                part = (round_ if layout.parts_by == "round" else place) % many
                held = layout.contents(kind, part)
                cells += held
                setup += [number] * len(held)
                block += [round_] * len(held)
                number += 1
    terms = layout.strata.told if terms is None else terms
    points = [coded_point(trial.varied, cell.levels) for cell in cells]
    coded = model_matrix(trial.varied, terms, points)
    blocks = np.eye(layout.rounds)[block]
    shift = layout.rounds - 1
    return PlannedMatrix(
        matrix=np.hstack([blocks, coded.matrix[:, 1:]]),
        setup=np.array(setup, dtype=np.intp) if layout.hard_factors else None,
        terms=terms,
        columns=tuple(tuple(at + shift for at in coded.columns[one.name]) for one in terms),
    )
