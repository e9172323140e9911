"""What a fit of a design will know: how well each contrast, and by which scatter it is judged.

References
----------
Satterthwaite (1946). *Biometrics Bulletin* 2:110-114 (degrees of freedom of two scatters; from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldtrial.doe.information import Codes, Matrix, covariance, split
from weldtrial.shared.terms import Term


@dataclass(frozen=True, slots=True, eq=False)
class Fitted:
    """What a fit of the design knows: enough to say how well it predicts anywhere.

    Attributes
    ----------
    terms
        The terms fitted.
    columns
        The columns of each.
    blocks
        Columns before the terms: one for each block.
    covariance
        Of all coefficients, in coupon variances.
    pulls
        What each set-up's mean brings into the coefficients, so that the squares of a contrast's
        pulls sum to its variance from between set-ups; shape (set-ups, p).  None without set-ups.
    between_df, within_df
        Degrees of freedom of the two scatters; without set-ups only the second is used.
    """

    terms: tuple[Term, ...]
    columns: tuple[tuple[int, ...], ...]
    blocks: int
    covariance: Matrix
    pulls: Matrix | None
    between_df: int
    within_df: int


def fitted(
    matrix: Matrix,
    terms: tuple[Term, ...],
    columns: tuple[tuple[int, ...], ...],
    setup: Codes | None,
    ratio: float,
    dfs: tuple[int, int],
) -> Fitted:
    """Return what a fit knows.

    Parameters
    ----------
    matrix
        Shape (n, p): a column for each block, then the terms.
    terms, columns
        The terms, and the columns of each.
    setup, ratio
        As `weldtrial.doe.information.information`.
    dfs
        Degrees of freedom between set-ups and within them.

    Raises
    ------
    ValueError
        When the columns are not independent.
    """
    found = covariance(matrix, setup, ratio)
    blocks = matrix.shape[1] - sum(map(len, columns))
    between, within = (max(0, df) for df in dfs)
    if setup is None:
        return Fitted(terms, columns, blocks, found, None, 0, within)
    sizes, sums, _ = split(matrix, setup)
    pulls = (sums / np.sqrt(sizes * (1.0 + ratio * sizes))[:, None]) @ found
    return Fitted(terms, columns, blocks, found, pulls, between, within)


def variance_and_df(fit: Fitted, rows: Matrix) -> tuple[Matrix, Matrix]:
    """Return the variance of contrasts of the coefficients, and their degrees of freedom.

    What set-up means bring in is judged by set-ups and the rest within them, as the analysis does
    (`strata_df` of its Kenward-Roger module).

    Parameters
    ----------
    rows
        Shape (contrasts, p).

    Returns
    -------
    Variances in coupon variances, and degrees of freedom (0 where a part has nothing to judge it
    by), each of shape (contrasts,).
    """
    whole = np.einsum("ni,ij,nj->n", rows, fit.covariance, rows)
    if fit.pulls is None:
        return whole, np.full(len(rows), float(fit.within_df))
    between = ((rows @ fit.pulls.T) ** 2).sum(axis=1)
    none = 1e-9 * whole
    bottom = np.zeros(len(rows))
    judged = np.ones(len(rows), dtype=bool)
    for share, own in ((between, fit.between_df), (whole - between, fit.within_df)):
        if own > 0:
            bottom += share**2 / own
        else:
            judged &= np.abs(share) <= none
    df = np.where(judged & (bottom > 0), whole**2 / np.maximum(bottom, 1e-300), 0.0)
    return whole, df
