"""Critical values of comparisons read together, for many trials at once.

Each trial has degrees of freedom and correlations of its own as soon as a coupon is missing, and
an exact simultaneous value takes milliseconds.  Most verdicts do not turn on its last digits, so
each value is first held between two that come from tables; the few trials whose verdict would
differ between them are worked out exactly by whoever asks.

References
----------
Sidak (1968), Ann. Math. Stat. 39, 1425-1434 (citation from memory): the chance that all of several
normal variables of product correlation lie within equal limits grows with each loading, so equal
loadings no smaller (no larger) than the real ones give a value no larger (no smaller).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy import optimize, special

from weldtrial.analysis.linear import Estimate, Floats
from weldtrial.analysis.simultaneous import (
    Family,
    Together,
    against_reference,
    among_all,
    chance_within,
    loadings,
    range_quantiles,
)

GRID = 0.125
"""Step of the table of loadings."""
NODES = 12
FEWEST_DF, MOST_DF = 1.0, 2000.0
SLACK = 1e-5
"""Relative error allowed for reading a value off a table (seen: 2e-7, see the tests)."""
SAME = 1e-10
"""Degrees of freedom and correlations that differ by less are those of one balanced trial."""


@dataclass(frozen=True, slots=True)
class Held:
    """Critical values held between two, each shape (m,)."""

    low95: Floats
    high95: Floats
    low90: Floats
    high90: Floats


def exact(family: Family, levels: int, df: float, covariance: Floats | None) -> Together:
    """Return the simultaneous critical values of one trial, as its analysis would."""
    found = Estimate(0.0, 1.0, df)
    if family == "pairs":
        return among_all(found, levels)
    assert covariance is not None
    return against_reference(found, covariance)


def held(family: Family, levels: int, df: Floats, covariance: Floats | None) -> Held:
    """Return critical values of m trials, exact where one value serves them all.

    Parameters
    ----------
    family, levels
        How the comparisons are read together, and levels of the factor.
    df
        Shape (m,), each at least 1.
    covariance
        Of the comparisons with one reference, shape (m, k, k); None for the other families.
    """
    if family == "single" or levels < 3:
        t95 = np.asarray(special.stdtrit(df, 0.975), dtype=np.float64)
        t90 = np.asarray(special.stdtrit(df, 0.95), dtype=np.float64)
        return Held(t95, t95, t90, t90)
    correlation = None if covariance is None else _correlation(covariance)
    if _alike(df, correlation):
        one = exact(family, levels, float(df[0]), None if covariance is None else covariance[0])
        c95, c90 = np.full_like(df, one.critical95), np.full_like(df, one.critical90)
        return Held(c95, c95, c90, c90)
    if correlation is None:
        c95, c90 = _read(("pairs", levels, 0), df)
        return Held(c95 * (1 - SLACK), c95 * (1 + SLACK), c90 * (1 - SLACK), c90 * (1 + SLACK))
    return _by_loadings(df, correlation)


def _correlation(covariance: Floats) -> Floats:
    sd = np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
    return np.asarray(covariance / (sd[:, :, None] * sd[:, None, :]))


def _alike(df: Floats, correlation: Floats | None) -> bool:
    if np.ptp(df) > SAME * df[0]:
        return False
    return correlation is None or bool(np.all(np.ptp(correlation, axis=0) < SAME))


def _by_loadings(df: Floats, correlation: Floats) -> Held:
    several = correlation.shape[1]
    found = [loadings(one) for one in correlation]
    smallest = np.array([0.0 if one is None else np.abs(one).min() for one in found])
    largest = np.array([1.0 if one is None else np.abs(one).max() for one in found])
    below = np.clip(np.floor(smallest / GRID), 0, None).astype(int)
    above = np.ceil(largest / GRID).astype(int)
    high95, high90 = _by_step(several, below, df)
    low95, low90 = _by_step(several, above, df)
    lost = np.array([one is None for one in found])
    # A correlation of no product form is not bounded by this table: any value must be exact.
    return Held(
        np.where(lost, 0.0, low95 * (1 - SLACK)),
        np.where(lost, np.inf, high95 * (1 + SLACK)),
        np.where(lost, 0.0, low90 * (1 - SLACK)),
        np.where(lost, np.inf, high90 * (1 + SLACK)),
    )


def _by_step(
    several: int, step: np.ndarray[tuple[int], np.dtype[np.int_]], df: Floats
) -> tuple[Floats, Floats]:
    c95, c90 = np.empty_like(df), np.empty_like(df)
    for one in np.unique(step):
        mine = step == one
        c95[mine], c90[mine] = _read(("reference", several, int(one)), df[mine])
    return c95, c90


def _read(table: tuple[str, int, int], df: Floats) -> tuple[Floats, Floats]:
    """Return both critical values at `df`, read off a table by the interpolating polynomial."""
    place = _scaled(1.0 / np.clip(df, FEWEST_DF, MOST_DF))
    series = _table(*table)
    values = np.exp(np.polynomial.chebyshev.chebval(place, series.T))
    return np.asarray(values[0]), np.asarray(values[1])


def _scaled(inverse_df: Floats) -> Floats:
    low, high = 1.0 / MOST_DF, 1.0 / FEWEST_DF
    return np.asarray((2.0 * inverse_df - low - high) / (high - low))


@cache
def _table(kind: str, many: int, step: int) -> Floats:
    """Return Chebyshev series of ln c95 and ln c90 in the inverse of df, shape (2, NODES)."""
    nodes = np.cos(np.pi * (np.arange(NODES) + 0.5) / NODES)
    low, high = 1.0 / MOST_DF, 1.0 / FEWEST_DF
    dfs = 2.0 / (nodes * (high - low) + low + high)
    rows = [_node(kind, many, step, float(df)) for df in dfs]
    logs = np.log(np.array(rows)).T
    return np.array([np.polynomial.chebyshev.chebfit(nodes, row, NODES - 1) for row in logs])


def _node(kind: str, many: int, step: int, df: float) -> tuple[float, float]:
    if kind == "pairs":
        return range_quantiles(many, round(df, 9))
    square = (step * GRID) ** 2
    if square >= 1.0 - 1e-9:
        # Comparisons that move as one are one comparison.
        return float(special.stdtrit(df, 0.975)), float(special.stdtrit(df, 0.95))
    shared = np.full((many, many), square) + (1.0 - square) * np.eye(many)
    inside = chance_within(shared, df)

    def quantile(level: float) -> float:
        # Never below that of one comparison, never above Bonferroni's.
        low, high = (float(special.stdtrit(df, 1 - (1 - level) / (2 * k))) for k in (1, many))
        return float(optimize.brentq(lambda c: inside(c) - level, low, high, xtol=1e-9))

    return quantile(0.95), quantile(0.90)
