"""Main effects of every factor as a model matrix, and their ratios of odds."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weldtrial.analysis.count_records import OddsRow
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.profiles import Profile
from weldtrial.shared.coding import model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class MainEffects:
    """The coded matrix of main effects.

    Attributes
    ----------
    x
        Shape (n, p), a constant first.
    contrasts
        (factor, one level, the other, contrast of the coefficients (p,)): two-level categories and
        numbers from low to high; categories of more levels against their reference.
    columns
        Columns of each factor.
    """

    x: Floats
    contrasts: tuple[tuple[str, str, str, Floats], ...]
    columns: dict[str, tuple[int, ...]]


def main_effects(factors: Sequence[Factor], observations: Sequence[Observation]) -> MainEffects:
    """Return the main effects of the factors that were varied among the coupons."""
    seen = [f for f in factors if len({o.levels[f.name] for o in observations}) > 1]
    terms = tuple(Term(((factor.name, 1),)) for factor in seen)
    matrix = model_matrix(seen, terms, [o.point for o in observations])
    x = np.asarray(matrix.matrix, dtype=float)
    contrasts: list[tuple[str, str, str, Floats]] = []
    columns: dict[str, tuple[int, ...]] = {}
    for factor in seen:
        where = tuple(matrix.columns[factor.name])
        columns[factor.name] = where
        rows = {
            level: x[next(i for i, o in enumerate(observations) if o.levels[factor.name] == level)]
            for level in factor.levels
            if any(o.levels[factor.name] == level for o in observations)
        }
        pairs = _pairs(factor, tuple(rows))
        for one, other in pairs:
            contrast = np.zeros(x.shape[1])
            contrast[list(where)] = (rows[one] - rows[other])[list(where)]
            contrasts.append((factor.name, one, other, contrast))
    return MainEffects(x, tuple(contrasts), columns)


def _pairs(factor: Factor, levels: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    if factor.kind == "numeric":
        return ((levels[-1], levels[0]),)
    reference = factor.reference if factor.reference in levels else levels[0]
    return tuple((level, reference) for level in levels if level != reference)


def odds_rows(
    effects: MainEffects, profile: Callable[[Floats], Profile], confidence: float, *, skip: int = 0
) -> tuple[OddsRow, ...]:
    """Return a ratio of odds for every contrast, with its profile interval.

    Parameters
    ----------
    profile
        Of the fit, from a contrast of its coefficients.
    skip
        Columns of the matrix that the fit has no coefficient for: 1 without a constant.
    """
    rows = []
    for name, one, other, contrast in effects.contrasts:
        found = profile(contrast[skip:])
        ratio, low, high = found.odds_ratio(confidence)
        if all(math.isfinite(end) for end in (ratio, low, high)):
            rows.append(OddsRow(name, one, other, ratio, low, high, found.p))
    return tuple(rows)
