"""Several levels compared at once: intervals that hold together, p adjusted for the looks.

Against one reference: the equicoordinate quantile of the multivariate t (Dunnett 1955, J. Am.
Stat. Assoc. 50, 1096-1121), with the correlation that the fit gives.  Among all levels: the
studentised range (Tukey; Kramer 1956, Biometrics 12, 307-310; conservative when unbalanced,
Hayter 1984, Ann. Stat. 12, 61-75).  Both 95 % and 90 % limits are simultaneous.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import optimize, special

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
        Multiples of the standard error for two-sided 95 % and 90 % intervals.
    p_adjusted
        Adjusted two-sided p, None for a single comparison.
    """

    family: Family
    critical95: float
    critical90: float
    p_adjusted: float | None

    def interval(self, found: Estimate, confidence: float = 0.95) -> tuple[float, float]:
        """Return the simultaneous interval of an estimate at 0.95 or 0.90."""
        half = (self.critical95 if confidence > 0.925 else self.critical90) * found.se
        return found.estimate - half, found.estimate + half


def alone(found: Estimate) -> Together:
    """Return what a single comparison needs: its own yardstick, no adjustment."""
    return Together("single", found.critical(0.95), found.critical(0.90), None)


def against_reference(found: Estimate, covariance: Floats) -> Together:
    """Adjust one of several comparisons with the same reference.

    Parameters
    ----------
    found
        The comparison.
    covariance
        Covariance of all the comparisons with that reference, shape (m, m).
    """
    if len(covariance) == 1:
        return alone(found)
    sd = np.sqrt(np.diag(covariance))
    correlation = covariance / np.outer(sd, sd)

    def inside(critical: float) -> float:
        return all_within(critical, correlation, found.df)

    ratio = abs(found.estimate / found.se)
    return Together(
        "reference", _quantile(inside, 0.95), _quantile(inside, 0.90), 1 - inside(ratio)
    )


def among_all(found: Estimate, levels: int) -> Together:
    """Adjust one of all comparisons between `levels` levels."""
    if levels < 3:
        return alone(found)
    from scipy import stats

    spread = stats.studentized_range(levels, found.df)
    ratio = abs(found.estimate / found.se)
    return Together(
        "pairs",
        float(spread.ppf(0.95)) / np.sqrt(2),
        float(spread.ppf(0.90)) / np.sqrt(2),
        float(min(1.0, max(0.0, spread.sf(ratio * np.sqrt(2))))),
    )


def all_within(critical: float, correlation: Floats, df: float) -> float:
    """Return the chance that no |t| of a multivariate t exceeds `critical`.

    Parameters
    ----------
    critical
        Not negative.
    correlation
        Shape (m, m).  Where it has the product form of comparisons with one reference the chance
        is a double integral by Gauss rules, else a quasi-Monte-Carlo one with a fixed seed.
    df
        Degrees of freedom, above 0.
    """
    if critical <= 0:
        return 0.0
    loadings = _loadings(correlation)
    if loadings is None:
        from scipy import stats

        bound = np.full(len(correlation), critical)
        return float(
            stats.multivariate_t(shape=correlation, df=df, seed=1).cdf(  # type: ignore[arg-type]
                bound, lower_limit=-bound, maxpts=200_000 * len(correlation)
            )
        )
    scales, weights = _chi_nodes(df)
    return float(weights @ _normal_within(critical * scales, loadings))


def _normal_within(bounds: Floats, loadings: Floats) -> Floats:
    """Return P(all |Z| <= bound) for each bound, Z of product correlation."""
    z, w = np.polynomial.hermite_e.hermegauss(NODES)
    w = w / w.sum()
    rest = np.sqrt(1 - loadings**2)
    high = (bounds[:, None, None] + loadings * z[None, :, None]) / rest
    low = (-bounds[:, None, None] + loadings * z[None, :, None]) / rest
    inside = np.prod(special.ndtr(high) - special.ndtr(low), axis=2)
    return np.asarray(inside @ w)


def _chi_nodes(df: float) -> tuple[Floats, Floats]:
    """Return values of sqrt(chi2/df) and weights that integrate over it, by its quantiles."""
    x, w = np.polynomial.legendre.leggauss(NODES)
    u, w = (x + 1) / 2, w / 2
    return np.sqrt(special.chdtri(df, 1 - u) / df), w


def _loadings(correlation: Floats) -> Floats | None:
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


def _quantile(inside: object, level: float) -> float:
    assert callable(inside)
    return float(optimize.brentq(lambda c: inside(c) - level, 0.5, 400.0, xtol=1e-9))
