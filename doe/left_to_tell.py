"""What a design still tells when some of its coupons are lost, for many losses at once.

Each case is worked out from gram matrices: X'V⁻¹X less what is lost, the terms that it still holds
in their order (blocks first, as `weldtrial.doe.strata` keeps them), their variances, and the
degrees of freedom that ranks leave.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from weldtrial.doe.information import NONE, Codes, Matrix, effect_rows, t_quantile
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term


@dataclass(frozen=True, slots=True, eq=False)
class Design:
    """What is needed of a design.

    Attributes
    ----------
    matrix
        Shape (n, p): a column for each block, then the terms.
    blocks
        How many blocks.
    setup
        Set-up of every coupon, shape (n,); None where coupons scatter one by one.
    ratio
        Set-up variance in coupon variances.
    factors
        The varied factors.
    terms, columns
        The terms and their columns.
    """

    matrix: Matrix
    blocks: int
    setup: Codes | None
    ratio: float
    factors: Sequence[Factor]
    terms: Sequence[Term]
    columns: Sequence[tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class Told:
    """What is left to tell: the half-width of every term in coupon standard deviations.

    `half_widths` is None for a term that is dropped, infinite for one with nothing to judge it by.
    """

    half_widths: tuple[float | None, ...]


def left_to_tell(design: Design, cases: Sequence[tuple[int, ...]]) -> list[Told]:
    """Return what each case leaves to tell; a case is a tuple of rows that are lost."""
    info, within, setups = _without(design, cases)
    coupons = np.array([len(design.matrix) - len(rows) for rows in cases])
    keeps = _kept(info, design)
    blocks = keeps[:, : design.blocks].sum(axis=1)
    told = keeps[:, design.blocks :].sum(axis=1)
    covariances = np.linalg.inv(_masked(info, keeps))
    rank, between = _inside(within, keeps, design)
    within_df = coupons - setups - rank if design.setup is not None else coupons - blocks - told
    between_df = setups + rank - blocks - told
    quantile = cache(t_quantile)
    halves: list[list[float | None]] = [[] for _ in cases]
    for place, (term, at) in enumerate(zip(design.terms, design.columns, strict=True)):
        rows = effect_rows(design.factors, term)
        own = covariances[:, list(at)][:, :, list(at)]
        largest = np.einsum("ei,cij,ej->ce", rows, own, rows).max(axis=1)
        dfs = np.where(between[:, place], between_df, within_df)
        tell = keeps[:, list(at)].min(axis=1)
        for case, (told_, df, variance) in enumerate(zip(tell, dfs, largest, strict=True)):
            half = quantile(int(df)) * sqrt(variance) if told_ and df > 0 else float("inf")
            halves[case].append(half if told_ else None)
    return [Told(tuple(one)) for one in halves]


def _without(
    design: Design, cases: Sequence[tuple[int, ...]]
) -> tuple[Matrix, Matrix, NDArray[np.intp]]:
    """Return for each case X'V⁻¹X, the gram matrix within set-ups, and how many set-ups are left.

    Shapes (cases, p, p), (cases, p, p) and (cases,).
    """
    x, setup, ratio = design.matrix, design.setup, design.ratio
    if setup is None:
        every = x.T @ x
        info = np.array([every - x[list(rows)].T @ x[list(rows)] for rows in cases])
        return info, np.zeros_like(info), np.zeros(len(cases), dtype=np.intp)
    sizes = np.bincount(setup).astype(float)
    sums = np.zeros((len(sizes), x.shape[1]))
    np.add.at(sums, setup, x)
    gram = x.T @ x

    def less(sum_: Matrix, size: float, shrunk: bool) -> Matrix:
        """Return what the sum of a set-up takes from the gram matrix."""
        if size < 0.5:
            return np.zeros((x.shape[1], x.shape[1]))
        share = ratio / (1.0 + ratio * size) if shrunk else 1.0 / size
        return np.asarray(share * np.outer(sum_, sum_))

    both = []
    for shrunk in (True, False):
        pieces = [less(one, size, shrunk) for one, size in zip(sums, sizes, strict=True)]
        total = gram - sum(pieces)
        found = []
        for rows in cases:
            lost = x[list(rows)]
            here = total - lost.T @ lost
            for code in set(setup[list(rows)].tolist()):
                own = [row for row in rows if setup[row] == code]
                left = less(sums[code] - x[own].sum(axis=0), sizes[code] - len(own), shrunk)
                here = here + pieces[code] - left
            found.append(here)
        both.append(np.array(found))
    left_over = [
        len(sizes) - sum(
            bool(sizes[code] == np.sum(setup[list(rows)] == code))
            for code in set(setup[list(rows)].tolist())
        )
        for rows in cases
    ]  # fmt: skip
    return both[0], both[1], np.array(left_over, dtype=np.intp)


def _kept(info: Matrix, design: Design) -> NDArray[np.bool_]:
    """Return which columns are kept: blocks, then terms in order while each adds all its columns.

    Columns are swept out of the gram matrix one term after another; what is left of a term's own
    block says whether it adds anything.
    """
    rest = info.copy()
    whole = np.diagonal(info, axis1=1, axis2=2)
    # Of a block that lost all its coupons nothing is left but rounding.
    full = np.diag(design.matrix.T @ design.matrix)
    least = 1e-6 / (1.0 + design.ratio * len(design.matrix))
    keeps = np.zeros(info.shape[:2], dtype=bool)
    for at in [*((one,) for one in range(design.blocks)), *design.columns]:
        own = rest[:, list(at)][:, :, list(at)]
        scale = np.maximum(whole[:, list(at)], least * full[list(at)])
        scaled = own / np.sqrt(scale[:, :, None] * scale[:, None, :])
        adds = np.linalg.eigvalsh(scaled)[:, 0] > NONE
        keeps[:, list(at)] = adds[:, None]
        safe = np.where(adds[:, None, None], own, np.eye(len(at)))
        beside = rest[:, :, list(at)]
        taken = beside @ np.linalg.solve(safe, beside.transpose(0, 2, 1))
        rest = np.where(adds[:, None, None], rest - taken, rest)
    return keeps


def _masked(info: Matrix, keeps: NDArray[np.bool_]) -> Matrix:
    """Return matrices that can be inverted: the columns not kept are put aside."""
    both = keeps[:, :, None] & keeps[:, None, :]
    return np.where(both, info, np.eye(info.shape[1]))


def _inside(
    within: Matrix, keeps: NDArray[np.bool_], design: Design
) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """Return the rank of the kept columns within set-ups, and which terms never change there."""
    both = keeps[:, :, None] & keeps[:, None, :]
    gram = np.where(both, within, 0.0)
    full = np.maximum(np.diag(design.matrix.T @ design.matrix), 1e-300)
    scaled = gram / np.sqrt(np.outer(full, full))
    rank = (np.linalg.eigvalsh(scaled) > NONE).sum(axis=1)
    inside = np.diagonal(scaled, axis1=1, axis2=2)
    between = np.column_stack(
        [inside[:, list(at)].max(axis=1) <= NONE for at in design.columns]
        or [np.zeros((len(within), 0), dtype=bool)]
    )
    if design.setup is None:
        between = np.zeros_like(between)
    return rank.astype(np.intp), between
