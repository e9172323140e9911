"""Where a second-order surface is level: the stationary point and where it could be.

The region holds every x at which a gradient of zero is not refuted,

    g(x)' [Var g(x)]^-1 g(x) / k  <=  F(confidence; k, df),      g(x) = b + 2Bx,

which is exact for least squares, whatever the true surface.  It need not be an ellipse, and it is
without bound when the surface may be flat along some direction: far out, g(x) / |x| is 2Bu, and the
region runs to infinity along every u for which 2Bu = 0 is not refuted either (for one factor this
is Fieller's theorem).

With set-ups random the F of Kenward-Roger is used with one number of degrees of freedom and one
scale: the least favourable of those at the stationary point, at the coded centre and far out.
With readings past a gauge limit it is the Wald statistic, which is rougher.

References
----------
Box, G. E. P. & Hunter, J. S. (1954). A confidence region for the solution of a set of simultaneous
equations with an application to experimental design. *Biometrika* 41:190-199 (from memory).
Fieller, E. C. (1954). *J. R. Stat. Soc. B* 16:175-185.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from math import inf
from typing import Any

import numpy as np
from scipy import optimize, special

from weldtrial.analysis.inside import Flags, Place, evenly
from weldtrial.analysis.linear import Denominator, Estimate, Floats
from weldtrial.analysis.quadratic import Quadratic
from weldtrial.shared.problems import NotEstimable

SINGULAR = 1e-10
DIRECTIONS = 360
FAR_OUT = 1e6
"""Coded units at which the surface counts as infinitely far out."""
FARTHEST = 1e4
"""Coded units beyond which the region of a bounded point is no longer followed."""


@dataclass(frozen=True, slots=True, eq=False)
class StationaryRegion:
    """Where the stationary point could be.

    Attributes
    ----------
    confidence
        Share of trials whose region holds the truth.
    bounded
        False when the region runs to infinity: the surface may be flat along a direction.
    low, high
        Ends of the region along each coded coordinate, shape (k,); infinite when not bounded.
    share
        Share of what was welded that lies in the region, 0 to 1.
    welded_low, welded_high
        Ends of that part along each coordinate, shape (k,); not a number when there is none.
    denominator
        Degrees of freedom and scale of the F it rests on.
    """

    confidence: float
    bounded: bool
    low: Floats
    high: Floats
    share: float
    welded_low: Floats
    welded_high: Floats
    denominator: Denominator
    quadratic: Quadratic = field(repr=False)

    def holds(self, x: Floats) -> Flags:
        """Return whether the points x (m, k) lie in the region, shape (m,)."""
        return np.asarray(
            level_statistic(self.quadratic, np.atleast_2d(x), self.denominator)
            <= _critical(self.quadratic.k, self.denominator, self.confidence)
        )


@dataclass(frozen=True, slots=True, eq=False)
class StationaryPoint:
    """Where the fitted surface is level.

    Attributes
    ----------
    x
        In coded units, shape (k,).
    settings
        The same in the factors' units, shape (k,).
    mean
        The fitted mean there, with the error of a setting named beforehand (having looked for it
        is not paid for).
    place
        Whether it lies inside what was welded.
    region
        Where it could be.
    """

    x: Floats
    settings: Floats
    mean: Estimate
    place: Place
    region: StationaryRegion


def stationary_point(quadratic: Quadratic, confidence: float = 0.95) -> StationaryPoint:
    """Return the stationary point of a surface with its confidence region.

    Parameters
    ----------
    confidence
        Between 0 and 1, both excluded.

    Raises
    ------
    NotEstimable
        When a factor is in no term of second order, so that the surface has no such point, or the
        second-order part is singular to rounding.
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence must be between 0 and 1, got {confidence!r}")
    x = _level_at(quadratic)
    return StationaryPoint(
        x=x,
        settings=quadratic.real(x),
        mean=quadratic.surface.estimate(quadratic.value_row(x)),
        place=quadratic.welded.place(x),
        region=_region(quadratic, x, confidence),
    )


def _level_at(quadratic: Quadratic) -> Floats:
    """Return the stationary point in coded units, (k,)."""
    if straight := quadratic.straight:
        names = " and ".join(one.title for one in straight)
        raise NotEstimable(
            f"the model is straight in {names}: it has no top, dip or saddle, only a way up",
            hint='ask for squares (model = "quadratic"), with three settings or more welded',
        )
    values = np.abs(np.linalg.eigvalsh(quadratic.B))
    if values.min() <= SINGULAR * values.max():
        raise NotEstimable("the fitted surface is flat along a line, so no one point is level")
    return np.asarray(-0.5 * np.linalg.solve(quadratic.B, quadratic.b))


def may_be_level(quadratic: Quadratic, x: Floats, confidence: float = 0.95) -> Flags:
    """Return whether a level surface is not refuted at points x (m, k), shape (m,).

    What `StationaryRegion.holds` says, without working out how far the region reaches.
    """
    denominator = _denominator(quadratic, _level_at(quadratic))
    statistic = level_statistic(quadratic, np.atleast_2d(x), denominator)
    return np.asarray(statistic <= _critical(quadratic.k, denominator, confidence))


def level_statistic(quadratic: Quadratic, x: Floats, denominator: Denominator) -> Floats:
    """Return the F of a gradient of zero at points x (m, k), shape (m,)."""
    return _wald(quadratic, quadratic.gradient_rows(x)) * denominator.scale


def _wald(quadratic: Quadratic, rows: Floats) -> Floats:
    """Wald statistic over k of contrasts (m, k, p), shape (m,)."""
    surface = quadratic.surface
    values = rows @ surface.coefficients
    spread = rows @ surface.covariance @ rows.swapaxes(1, 2)
    # Brought to unit variance: far out one slope may be known a million times worse than another.
    sd = np.sqrt(np.diagonal(spread, axis1=1, axis2=2))
    values, spread = values / sd, spread / (sd[:, :, None] * sd[:, None, :])
    solved = np.linalg.solve(spread, values[:, :, None])[:, :, 0]
    return np.asarray(np.einsum("mi,mi->m", values, solved) / quadratic.k)


def _critical(k: int, denominator: Denominator, confidence: float) -> float:
    return float(special.fdtri(k, denominator.df, confidence))


def _denominator(quadratic: Quadratic, x: Floats) -> Denominator:
    """Return the least favourable degrees of freedom and scale of the gradient."""
    if quadratic.surface.one_stratum:
        return quadratic.surface.denominator(quadratic.gradient_rows(x[None])[0])
    at = quadratic.gradient_rows(np.stack([x, np.zeros(quadratic.k)]))
    far = quadratic.gradient_rows(FARTHEST * np.linalg.eigh(quadratic.B)[1].T)
    found = [quadratic.surface.denominator(rows) for rows in (*at, *far)]
    return Denominator(min(one.df for one in found), min(one.scale for one in found))


def _region(quadratic: Quadratic, x: Floats, confidence: float) -> StationaryRegion:
    k, denominator = quadratic.k, _denominator(quadratic, x)
    critical = _critical(k, denominator, confidence)
    bounded = _least_far_out(quadratic) * denominator.scale > critical
    low, high = np.full(k, -inf), np.full(k, inf)
    if bounded:
        low, high = _extent(quadratic, x, denominator, critical)
    spread = quadratic.welded.scattered()
    within = spread[level_statistic(quadratic, spread, denominator) <= critical]
    nothing = np.full(k, np.nan)
    return StationaryRegion(
        confidence=confidence,
        bounded=bounded,
        low=low,
        high=high,
        share=len(within) / len(spread) if len(spread) else 0.0,
        welded_low=within.min(axis=0) if len(within) else nothing,
        welded_high=within.max(axis=0) if len(within) else nothing,
        denominator=denominator,
        quadratic=quadratic,
    )


def directions(k: int) -> Floats:
    """Return unit vectors spread evenly over the sphere in k dimensions, shape (m, k)."""
    if k == 1:
        return np.array([[1.0], [-1.0]])
    if k == 2:
        angle = np.arange(DIRECTIONS) * (2 * np.pi / DIRECTIONS)
        return np.column_stack([np.cos(angle), np.sin(angle)])
    normal = special.ndtri(evenly(4096, k)[1:])  # The first is the middle, without a direction.
    return np.asarray(normal / np.linalg.norm(normal, axis=1, keepdims=True))


def _least_far_out(quadratic: Quadratic) -> float:
    """Return the least Wald statistic far out, over all directions."""
    every = directions(quadratic.k)
    found = _wald(quadratic, quadratic.gradient_rows(FAR_OUT * every))
    least = float(found.min())
    if quadratic.k == 1:
        return least

    def at(u: Floats) -> float:
        x = FAR_OUT * u / np.linalg.norm(u)
        return float(_wald(quadratic, quadratic.gradient_rows(x))[0])

    for start in every[np.argsort(found)[:4]]:
        polished = optimize.minimize(at, start, method="Nelder-Mead", options={"xatol": 1e-6})
        least = min(least, float(polished.fun))
    return least


def _extent(
    quadratic: Quadratic, x: Floats, denominator: Denominator, critical: float
) -> tuple[Floats, Floats]:
    """Return the ends of a bounded region along every coordinate.

    Rays from the stationary point give a start, from which each end is climbed to.
    """
    every = directions(quadratic.k)
    edge = x + every * _last_exit(quadratic, x, every, denominator, critical)[:, None]
    scale = np.maximum(np.abs(edge - x).max(axis=0), 1e-6)

    def room(z: Floats) -> float:
        at = (x + z * scale)[None]
        return critical - float(level_statistic(quadratic, at, denominator)[0])

    ends = np.empty((2, quadratic.k))
    for j in range(quadratic.k):
        for side, sign in enumerate((-1.0, 1.0)):
            start = (edge[np.argmax(sign * edge[:, j])] - x) / scale
            far = max(sign * start[j], sign * _climbed(start, -sign * np.eye(quadratic.k)[j], room))
            ends[side, j] = x[j] + sign * far * scale[j]
    return ends[0], ends[1]


def _climbed(start: Floats, downhill: Floats, room: Callable[[Any], Any]) -> float:
    """Return the coordinate reached from `start` where there is room; `start`'s where none is."""
    # scipy's stubs take neither an array of no stated rank nor its own constraint.
    begin: Any = start
    allowed: Any = optimize.NonlinearConstraint(room, 0.0, inf)

    def height(z: Any) -> Any:
        return downhill @ z

    climbed = optimize.minimize(height, begin, method="SLSQP", constraints=allowed)
    end = np.asarray(climbed.x)
    kept = end if climbed.success and room(end) >= -1e-6 else start
    return float(kept @ np.abs(downhill))


def _last_exit(
    quadratic: Quadratic, x: Floats, every: Floats, denominator: Denominator, critical: float
) -> Floats:
    """Return the distance along every ray (m, k) from x at which the region is left for good."""
    radii = np.concatenate([[0.0], np.geomspace(1e-3, FARTHEST, 57)])
    last = np.zeros(len(every), dtype=np.intp)
    for place, radius in enumerate(radii):
        inside = level_statistic(quadratic, x + radius * every, denominator) <= critical
        last[inside] = place
    near, far = radii[last], radii[np.minimum(last + 1, len(radii) - 1)]
    for _ in range(14):
        middle = (near + far) / 2
        inside = level_statistic(quadratic, x + middle[:, None] * every, denominator) <= critical
        near, far = np.where(inside, middle, near), np.where(inside, far, middle)
    return np.asarray(near)
