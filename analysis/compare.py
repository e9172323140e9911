"""Comparing a level with its reference: difference, percent, ratio, evidence for the verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from weldtrial.analysis.findings import MeanRow
from weldtrial.analysis.judge import Bounds, Evidence
from weldtrial.analysis.linear import Estimate
from weldtrial.analysis.model import ModelFit, Vector
from weldtrial.shared.factors import Factor
from weldtrial.shared.responses import Response


@dataclass(frozen=True, slots=True)
class Contrast:
    """A level against its reference, all in the response's unit.

    Attributes
    ----------
    level, reference
        Estimates of the two adjusted means.
    difference
        Estimate of level minus reference.
    evidence
        Signed so that minus is worse, margins included.
    margin
        The margin in units, None without one.
    ratio
        level / reference with its 95 % Fieller interval, None where that is not finite.
    """

    level: Estimate
    reference: Estimate
    difference: Estimate
    evidence: Evidence
    margin: float | None
    ratio: tuple[float, float, float] | None


def contrast(fit: ModelFit, factor: Factor, level: str, response: Response) -> Contrast:
    """Compare `level` of a factor with the factor's reference level."""
    one = fit.mean_vector(factor, level)
    zero = fit.mean_vector(factor, factor.reference)
    reference = fit.estimate(zero)
    difference = fit.estimate(one - zero)
    return Contrast(
        level=fit.estimate(one),
        reference=reference,
        difference=difference,
        evidence=evidence(fit, one, zero, response),
        margin=response.margin.in_units(reference.estimate) if response.margin else None,
        ratio=fieller(fit, one, zero, difference.df),
    )


def bounds(found: Estimate, sign: int = 1) -> Bounds:
    """Return the interval ends of an estimate times `sign`."""
    result = Bounds(*found.interval(0.95), *found.interval(0.90))
    return result if sign > 0 else result.flipped()


def evidence(fit: ModelFit, one: Vector, zero: Vector, response: Response) -> Evidence:
    """Return what the verdict rules look at.

    A percent margin m is tested as mean(level) - (1 - m) mean(reference), so that the reference
    mean is not taken as known (the linear form of Fieller's argument; see also Hauschke et al.
    1999, J. Biopharm. Stat. 9, 97-110).
    """
    sign = response.sign
    change = bounds(fit.estimate(one - zero), sign)
    margin = response.margin
    if margin is None or not margin.percent:
        return Evidence.of(change, margin.value if margin else None)
    loss = fit.estimate(one - (1 - sign * margin.value) * zero)
    gain = fit.estimate(one - (1 + sign * margin.value) * zero)
    return Evidence(change, bounds(loss, sign), bounds(gain, sign))


def fieller(
    fit: ModelFit, one: Vector, zero: Vector, df: float, confidence: float = 0.95
) -> tuple[float, float, float] | None:
    """Return the ratio of two means with Fieller's interval, None when that is unbounded.

    References
    ----------
    Fieller, E. C. (1954), J. R. Stat. Soc. B 16, 175-185.
    """
    both = np.vstack([one, zero])
    a, b = both @ fit.core.coefficients
    if b == 0:
        return None
    v = both @ fit.core.covariance @ both.T
    t2 = float(special.stdtrit(df, 0.5 + confidence / 2)) ** 2
    square = b * b - t2 * v[1, 1]
    middle = a * b - t2 * v[0, 1]
    inside = middle**2 - square * (a * a - t2 * v[0, 0])
    if square <= 0 or inside < 0:
        return None
    root = math.sqrt(inside)
    return float(a / b), float((middle - root) / square), float((middle + root) / square)


def mean_rows(fit: ModelFit) -> tuple[MeanRow, ...]:
    """Return the adjusted mean of every level of every varied factor that could be estimated."""
    rows = []
    for factor in fit.factors:
        if factor.name not in fit.model.columns:
            continue
        for level in factor.levels:
            found = fit.estimate(fit.mean_vector(factor, level))
            rows.append(MeanRow(factor.name, level, found.estimate, *found.interval(0.95)))
    return tuple(rows)
