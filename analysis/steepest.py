"""The steepest way up, and how far the data let the true one differ from it.

At a point the surface climbs fastest along its gradient g.  A direction d is refuted as the true
one when the part of g at right angles to it is told from nought,

    F(confidence; k - 1, df)  <  g' N (N' Var(g) N)^-1 N' g / (k - 1),     N at right angles to d.

Where every slope has the same variance s2 and none go together, what is left is a cone about g of
half-angle arcsin[((k - 1) s2 F / g'g)^(1/2)]; the share of all directions that it excludes says
whether it is worth following.  Elsewhere (unequal spreads of settings, set-ups) the cone is
slanted, and its widest angle is given.  With set-ups random the least favourable degrees of
freedom are used.

Directions are in coded units: how many volts weigh as much as one metre a minute is decided by the
ranges that were welded.

References
----------
Box, G. E. P. & Draper, N. R. (1987). *Empirical Model-Building and Response Surfaces*, section 6.3
(from memory).
Myers, R. H. & Montgomery, D. C. (2002). *Response Surface Methodology*, 2nd ed., section 5.5 (from
memory).
NIST/SEMATECH *e-Handbook of Statistical Methods*, section 5.5.3.1.2.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import asin, degrees, inf, sqrt

import numpy as np
from scipy import special
from scipy.linalg import null_space

from weldtrial.analysis.inside import Place
from weldtrial.analysis.linear import Denominator, Estimate, Floats
from weldtrial.analysis.quadratic import Quadratic
from weldtrial.analysis.stationary import directions
from weldtrial.shared.problems import NotEstimable

ALIKE = 1e-8
"""Share of the variance within which slopes count as equally well known."""


@dataclass(frozen=True, slots=True)
class Cone:
    """Directions that could be the steepest.

    Attributes
    ----------
    half_angle
        Degrees between the estimated direction and the edge; of an uneven cone, its widest.  180
        where no direction is refuted.
    excluded
        Share of all directions that are refuted, 0 to 1.
    even
        Whether it is a round cone, worked out exactly.
    """

    half_angle: float
    excluded: float
    even: bool

    @property
    def told(self) -> bool:
        """Whether the data refute any direction at all."""
        return self.excluded > 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """One step on the way.

    Attributes
    ----------
    x, settings
        In coded units and in the factors' units, each (k,).
    mean
        The fitted mean there.
    place
        Whether it lies inside what was welded.
    """

    x: Floats
    settings: Floats
    mean: Estimate
    place: Place


@dataclass(frozen=True, slots=True, eq=False)
class SteepestWay:
    """The steepest way from a point.

    Attributes
    ----------
    start
        Where it begins, coded, (k,).
    direction
        Unit vector in coded units, (k,), towards higher readings (lower where asked for).
    slope
        Rise along it for one coded unit; the error of a direction named beforehand.
    upward
        Whether it climbs.
    cone
        Which directions could be the steepest; None with one factor.
    """

    start: Floats
    direction: Floats
    slope: Estimate
    upward: bool
    confidence: float
    cone: Cone | None
    quadratic: Quadratic = field(repr=False)

    def per_unit(self, factor: str) -> Floats:
        """Return the change of every factor (k,), in its unit, for one unit of the one named.

        Raises
        ------
        ValueError
            When the way leaves the factor where it is, or it is not among the numeric ones.
        """
        names = [one.name for one in self.quadratic.factors]
        if factor not in names or self.direction[names.index(factor)] == 0:
            raise ValueError(f"the steepest way does not change {factor!r}")
        real = self.direction * self.quadratic.unit_lengths
        return np.asarray(real / real[names.index(factor)])

    def steps(self, size: float, count: int, *, beyond: bool = False) -> tuple[Step, ...]:
        """Return points along the way, the start first.

        Parameters
        ----------
        size
            Coded length of a step, above 0.
        count
            How many steps at most after the start.
        beyond
            Whether to go on past what was welded; without it the way ends there.
        """
        if size <= 0 or count < 0:
            raise ValueError(f"a step must be above 0 and a count not below, got {size}, {count}")
        way = self.start + size * np.arange(count + 1)[:, None] * self.direction
        inside = self.quadratic.welded.inside(way)
        return tuple(
            step_at(self.quadratic, x)
            for x, kept in zip(way, inside, strict=True)
            if beyond or kept
        )


def step_at(quadratic: Quadratic, x: Floats) -> Step:
    """Return what the surface says at a coded point x (k,)."""
    mean = quadratic.surface.estimate(quadratic.value_row(x))
    return Step(x, quadratic.real(x), mean, quadratic.welded.place(x))


def steepest(
    quadratic: Quadratic,
    start: Floats | None = None,
    *,
    upward: bool = True,
    confidence: float = 0.95,
) -> SteepestWay:
    """Return the steepest way from a coded point, the centre where none is given.

    Raises
    ------
    NotEstimable
        When the surface is level there, or no slope is in the model.
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence must be between 0 and 1, got {confidence!r}")
    x = np.zeros(quadratic.k) if start is None else np.asarray(start, dtype=float)
    rows = quadratic.gradient_rows(x[None])[0]
    slopes = rows @ quadratic.surface.coefficients
    length = float(np.linalg.norm(slopes))
    if length == 0.0:
        raise NotEstimable("the fitted surface is level there, so no way is steepest")
    direction = np.asarray(slopes / length if upward else -slopes / length)
    return SteepestWay(
        start=x,
        direction=direction,
        slope=quadratic.surface.estimate(direction @ rows),
        upward=upward,
        confidence=confidence,
        cone=_cone(quadratic, rows, confidence),
        quadratic=quadratic,
    )


def round_cone(
    slopes: Floats, variance: float, denominator: Denominator, confidence: float = 0.95
) -> Cone:
    """Return the cone of slopes (k,) that share one variance and do not go together.

    Parameters
    ----------
    variance
        Of every slope.
    denominator
        Degrees of freedom and scale of the F.
    """
    others = len(slopes) - 1
    critical = float(special.fdtri(others, denominator.df, confidence)) / denominator.scale
    part = others * variance * critical / float(slopes @ slopes)
    if part >= 1.0:
        return Cone(180.0, 0.0, True)
    # A random direction lies within the cone as often as a t exceeds this (k - 1 df).
    t = sqrt(others * (1.0 / part - 1.0)) if part > 0 else inf
    return Cone(degrees(asin(sqrt(part))), float(special.stdtr(others, t)), True)


def _cone(quadratic: Quadratic, rows: Floats, confidence: float) -> Cone | None:
    """Return the cone of the gradient whose contrasts are rows (k, p).

    None with one factor, and where a factor is not in the model: its slope is taken for none and
    not for uncertain, so no cone holds the true direction.
    """
    surface, k = quadratic.surface, quadratic.k
    if k == 1 or not rows.any(axis=1).all():
        return None
    slopes = rows @ surface.coefficients
    spread = rows @ surface.covariance @ rows.T
    mean = float(np.trace(spread)) / k
    denominator = _denominator(quadratic, rows, slopes)
    if np.abs(spread - mean * np.eye(k)).max() <= ALIKE * mean:
        return round_cone(slopes, mean, denominator, confidence)
    critical = float(special.fdtri(k - 1, denominator.df, confidence)) / denominator.scale
    return _slanted_cone(slopes, spread, critical)


def _denominator(quadratic: Quadratic, rows: Floats, slopes: Floats) -> Denominator:
    """Return the least favourable degrees of freedom and scale of what lies across the way."""
    surface = quadratic.surface
    across = null_space(slopes[None]).T @ rows
    if surface.one_stratum:
        return surface.denominator(across)
    found = [surface.denominator(one) for one in (across, *rows[:, None])]
    return Denominator(min(one.df for one in found), min(one.scale for one in found))


def _slanted_cone(slopes: Floats, spread: Floats, critical: float) -> Cone:
    """Return the cone where slopes are unequally well known, or go together.

    The F of what lies across d is [g'S g - (d'S g)^2 / d'S d] / (k - 1), S the inverse of the
    variance: a round cone where lengths are measured by S.  Its edge is found on every side of the
    estimated direction, and the share of the sphere it encloses is the mean over those sides.
    """
    k = len(slopes)
    weights = np.linalg.inv(spread)
    whole = float(slopes @ weights @ slopes)
    part = (k - 1) * critical / whole
    if part >= 1.0:
        return Cone(180.0, 0.0, False)
    unit = slopes / np.linalg.norm(slopes)
    sides = directions(k - 1) @ null_space(unit[None]).T
    near, far = np.zeros(len(sides)), np.full(len(sides), np.pi)
    for _ in range(50):
        middle = (near + far) / 2
        d = np.cos(middle)[:, None] * unit + np.sin(middle)[:, None] * sides
        cosine = (d @ weights @ slopes) / np.sqrt(np.einsum("ij,jk,ik->i", d, weights, d) * whole)
        held = cosine >= sqrt(1.0 - part)
        near, far = np.where(held, middle, near), np.where(held, far, middle)
    return Cone(float(np.degrees(near.max())), float(np.mean(1.0 - _share(near, k))), False)


def _share(angle: Floats, k: int) -> Floats:
    """Return the share of the sphere in k dimensions within an angle (radians) of a direction."""
    return np.asarray(special.stdtr(k - 1, -sqrt(k - 1) / np.tan(angle)))
