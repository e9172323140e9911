"""Several levels compared at once: intervals that hold together, p adjusted for the looks.

Against one reference: the equicoordinate quantile of the multivariate t (Dunnett 1955, J. Am.
Stat. Assoc. 50, 1096-1121), with the correlation that the fit gives.  Among all levels: the
studentised range (Tukey; Kramer 1956, Biometrics 12, 307-310; conservative when unbalanced,
Hayter 1984, Ann. Stat. 12, 61-75).  Both 95 % and 90 % limits are simultaneous.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Literal

import numpy as np
from scipy import optimize, special

from weldtrial.analysis.levels import ONCE, Levels
from weldtrial.analysis.linear import Estimate, Floats

Family = Literal["single", "reference", "pairs"]
NODES = 96
PRODUCT = 1e-7
"""How far a correlation may be from a product form before it is integrated the long way."""


@dataclass(frozen=True, slots=True)
class Together:
    """How a comparison is read when several are looked at together.

    Attributes
    ----------
    family
        ``single`` (nothing to adjust), ``reference`` or ``pairs``.
    critical95, critical90
        Multiples of the standard error for two-sided 95 % and 90 % intervals; where looks were
        planned, for repeated ones.
    p_adjusted
        Adjusted two-sided p, None for a single comparison.
    """

    family: Family
    critical95: float
    critical90: float
    p_adjusted: float | None

    def interval(self, found: Estimate, confidence: float = 0.95) -> tuple[float, float]:
        """Return the simultaneous interval of an estimate at 0.95 or 0.90."""
        return found.within(self.critical95 if confidence > 0.925 else self.critical90)


def alone(found: Estimate, read: Levels = ONCE) -> Together:
    """Return what a single comparison needs: its own yardstick at the levels of this look."""
    return Together("single", found.critical(read.interval), found.critical(read.limits), None)


def against_reference(found: Estimate, covariance: Floats, read: Levels = ONCE) -> Together:
    """Adjust one of several comparisons with the same reference.

    Parameters
    ----------
    found
        The comparison.
    covariance
        Covariance of all the comparisons with that reference, shape (m, m).
    read
        Joint levels of this look.
    """
    if len(covariance) == 1:
        return alone(found, read)
    sd = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(sd, sd)

    inside = chance_within(correlation, found.df)
    ratio = abs(found.ratio)
    return Together(
        "reference",
        _quantile(inside, read.interval),
        _quantile(inside, read.limits),
        1 - inside(ratio),
    )


def among_all(found: Estimate, levels: int, read: Levels = ONCE) -> Together:
    """Adjust one of all comparisons between `levels` levels."""
    if levels < 3:
        return alone(found, read)
    from scipy import stats

    ratio = abs(found.ratio) * np.sqrt(2)
    p = float(stats.studentized_range.sf(ratio, levels, found.df))
    critical95, critical90 = range_quantiles(levels, round(found.df, 9), read)
    return Together("pairs", critical95, critical90, min(1.0, max(0.0, p)))


@cache
def range_quantiles(levels: int, df: float, read: Levels = ONCE) -> tuple[float, float]:
    """Return the points of the studentised range over the root of 2, at the two levels read."""
    from scipy import stats

    inside = [read.interval, read.limits]
    found = stats.studentized_range.ppf(inside, levels, df) / np.sqrt(2)
    return float(found[0]), float(found[1])


def all_within(critical: float, correlation: Floats, df: float) -> float:
    """Return the chance that no |t| of a multivariate t exceeds `critical`; see below."""
    return chance_within(correlation, df)(critical)


def chance_within(correlation: Floats, df: float) -> Callable[[float], float]:
    """Return the function that gives the chance of no |t| exceeding a critical value.

    Parameters
    ----------
    correlation
        Shape (m, m).  Where it has the product form of comparisons with one reference the chance
        is a double integral by Gauss rules, else a quasi-Monte-Carlo one with a fixed seed.
    df
        Degrees of freedom, above 0.
    """
    found = loadings(correlation)
    if found is None:
        return lambda critical: _long_way(critical, correlation, df)
    scales, weights = _chi_nodes(df)
    return lambda critical: float(weights @ _normal_within(max(critical, 0) * scales, found))


def _long_way(critical: float, correlation: Floats, df: float) -> float:
    from scipy import stats

    bound = np.full(len(correlation), max(critical, 0.0))
    return float(
        stats.multivariate_t(shape=correlation, df=df, seed=1).cdf(  # type: ignore[arg-type]
            bound, lower_limit=-bound, maxpts=200_000 * len(correlation)
        )
    )


def _normal_within(bounds: Floats, loadings: Floats) -> Floats:
    """Return P(all |Z| <= bound) for each bound, Z of product correlation."""
    z, w = _normal_nodes()
    rest = np.sqrt(1 - loadings**2)
    high = (bounds[:, None, None] + loadings * z[None, :, None]) / rest
    low = (-bounds[:, None, None] + loadings * z[None, :, None]) / rest
    inside = np.prod(special.ndtr(high) - special.ndtr(low), axis=2)
    return np.asarray(inside @ w)


@cache
def _normal_nodes() -> tuple[Floats, Floats]:
    z, w = np.polynomial.hermite_e.hermegauss(NODES)
    return z, w / w.sum()


@cache
def _unit_nodes() -> tuple[Floats, Floats]:
    x, w = np.polynomial.legendre.leggauss(NODES)
    return (x + 1) / 2, w / 2


def _chi_nodes(df: float) -> tuple[Floats, Floats]:
    """Return values of sqrt(chi2/df) and weights that integrate over it, by its quantiles."""
    u, w = _unit_nodes()
    return np.sqrt(special.chdtri(df, 1 - u) / df), w


def loadings(correlation: Floats) -> Floats | None:
    """Return l with correlation_ij = l_i l_j off the diagonal, None where there is none."""
    m = len(correlation)
    r = correlation
    if m == 2:
        root = np.sqrt(abs(r[0, 1]))
        found = np.array([root, np.copysign(root, r[0, 1])])
    else:
        with np.errstate(divide="ignore", invalid="ignore"):
            found = np.sqrt(np.array([
                r[i, (i + 1) % m] * r[i, (i + 2) % m] / r[(i + 1) % m, (i + 2) % m]
                for i in range(m)
            ]))  # fmt: skip
    if not np.all(np.isfinite(found)) or np.any(np.abs(found) >= 1):
        return None
    off = np.outer(found, found) - correlation
    np.fill_diagonal(off, 0.0)
    return found if np.max(np.abs(off)) < PRODUCT else None


def _quantile(inside: Callable[[float], float], level: float) -> float:
    top = 400.0
    while inside(top) < level and top < 1e9:
        top *= 10  # An early look at few degrees of freedom asks for very much.
    return float(optimize.brentq(lambda c: inside(c) - level, 0.5, top, xtol=1e-8))
