"""How wide the interval of every effect is to be, before anything is welded.

The scatter is taken as planned; the interval found will be wider or narrower as the scatter found
is.  Degrees of freedom follow the rule of the analysis (`weldtrial.doe.strata`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from weldtrial.doe.information import Matrix, effect_rows, t_quantile
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term


@dataclass(frozen=True, slots=True)
class Width:
    """What is to be expected of one term.

    Attributes
    ----------
    term
        Its name.
    df
        Degrees of freedom of the scatter that judges it; with none there is no interval.
    relative
        Variance of its effect in coupon variances; of several effects (levels taken two by two)
        the largest.
    half_width
        Half of the 95 % interval of that effect in the response's unit; None without a scatter to
        plan with, or without degrees of freedom.
    """

    term: str
    df: int
    relative: float
    half_width: float | None


def effect_variance(factors: Sequence[Factor], term: Term, covariance: Matrix) -> float:
    """Return the largest variance of an effect of a term, from its columns' covariance."""
    rows = effect_rows(factors, term)
    return float(np.einsum("ei,ij,ej->e", rows, covariance, rows).max())


def expected_widths(
    factors: Sequence[Factor],
    terms: Sequence[Term],
    columns: Sequence[tuple[int, ...]],
    covariance: Matrix,
    df: Sequence[int],
    coupon: float | None,
) -> tuple[Width, ...]:
    """Return the width to expect of every term.

    Parameters
    ----------
    factors
        The varied factors.
    terms, columns
        The terms that are fitted and their columns.
    covariance
        Of all coefficients, in coupon variances.
    df
        Error degrees of freedom of each term.
    coupon
        Standard deviation of coupons (of one set-up) in the response's unit; None when not known.
    """
    found = []
    for term, at, own in zip(terms, columns, df, strict=True):
        relative = effect_variance(factors, term, covariance[np.ix_(at, at)])
        wide = None if coupon is None or own < 1 else t_quantile(own) * coupon * sqrt(relative)
        found.append(Width(term.name, max(0, own), relative, wide))
    return tuple(found)
