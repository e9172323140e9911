"""What an optimal design is judged by: information on the coefficients, or prediction variance.

The information matrix of a design with set-ups is X'V⁻¹X with V = I + g ZZ', g the ratio of the
set-up variance to the coupon variance; a set-up of T coupons whose rows sum to s gives
Σ xx' − g/(1 + gT) ss'.  Blocks are fixed effects: each has its own column in place of the
intercept.  Coupons of an earlier block of their own give what is left after their mean is taken
off.

The average prediction variance (I) is trace(M⁻¹W), with W the mean of ff' over the allowed region,
every category and every equal piece of the numeric ranges counting alike, at an average block.

References
----------
Goos & Vandebroek (2001). Optimal split-plot designs. *Journal of Quality Technology* 33(4): 436.
Atkinson, Donev & Tobias (2007). *Optimum Experimental Designs, with SAS*. Oxford: chapters 10, 15
(citation from memory).
"""

from __future__ import annotations

from math import floor

import numpy as np

from weldtrial.doe.candidates import Array, Grid, allowed_places, make_grid
from weldtrial.doe.optimal_asked import Search

_CELLS = 40_000
"""Most places the allowed region is cut into for its moments."""
_MOST_CELLS_AN_AXIS = 41


def log_det(information: Array) -> Array:
    """Return log determinants, shape (...); minus infinity where singular."""
    sign, value = np.linalg.slogdet(information)
    return np.asarray(np.where(sign > 0, value, -np.inf))


def moments(asked: Search, grid: Grid) -> Array:
    """Return the mean of ff' over the allowed region, f with the intercept first.

    Numeric factors run from the lowest to the highest level of the grid.  Without limits the
    moments of each factor are taken exactly; with limits each range is cut into equal cells, up
    to 41 an axis and 40 thousand in all, and the allowed middles are averaged.

    Raises
    ------
    PlanRefused
        When no middle of a cell is allowed.
    """
    if asked.allowed is None:
        return _free_moments(grid)
    numeric = [
        at
        for at, factor in enumerate(grid.factors)
        if factor.kind == "numeric" and len(grid.levels[at]) > 1
    ]
    fixed = grid.size
    for at in numeric:
        fixed //= len(grid.levels[at])
    cells = _MOST_CELLS_AN_AXIS
    if numeric:
        cells = max(3, min(cells, floor((_CELLS / fixed) ** (1 / len(numeric)))))
    levels = list(grid.levels)
    for at in numeric:
        low, high = float(grid.levels[at][0]), float(grid.levels[at][-1])
        levels[at] = tuple(
            low + (high - low) * (2 * cell + 1) / (2 * cells) for cell in range(cells)
        )
    fine = make_grid(grid.factors, asked.terms, levels)
    rows = with_intercept(fine.rows(allowed_places(fine, asked.allowed)))
    return np.asarray(rows.T @ rows / len(rows))


def with_intercept(rows: Array) -> Array:
    """Return the rows with a column of ones before them."""
    return np.concatenate([np.ones((*rows.shape[:-1], 1)), rows], axis=-1)


def _free_moments(grid: Grid) -> Array:
    """Return exact moments: products of those of single factors."""
    pieces = np.concatenate([np.zeros((grid.pieces.shape[0], 1), dtype=np.intp), grid.pieces], 1)
    many = pieces.shape[1]
    whole = np.ones((many, many))
    begin = 1
    for at, table in enumerate(grid.tables):
        end = begin + table.shape[1]
        # Which piece of this factor each column holds; the first of `own` stands for none.
        inside = (pieces >= begin) & (pieces < end)
        held = np.where(inside, pieces - begin + 1, 0).max(axis=0)
        whole *= _factor_moments(grid, at, table)[np.ix_(held, held)]
        begin = end
    return whole


def _factor_moments(grid: Grid, at: int, table: Array) -> Array:
    """Return the mean of products of one and the pieces of a factor over its range."""
    if grid.factors[at].kind == "category" or len(grid.levels[at]) == 1:
        own = with_intercept(table)
        return np.asarray(own.T @ own / len(own))
    low, high = float(grid.levels[at][0]), float(grid.levels[at][-1])
    top = 2 * table.shape[1]
    mean = np.array(
        [(high ** (k + 1) - low ** (k + 1)) / ((k + 1) * (high - low)) for k in range(top + 1)]
    )
    powers = np.arange(table.shape[1] + 1)
    return np.asarray(mean[powers[:, None] + powers[None, :]])
