"""The ridge path: the best setting at every distance from the middle of what was welded.

Where a surface has its top outside what was welded, or none, the top says nothing useful; what does
is where to go at a given distance.  On the sphere of radius R the fitted mean is greatest at the x
for which

    (B - mu I) x = -b / 2,      mu at or above the largest eigenvalue of B,

mu being Lagrange's multiplier: gradient = 2 mu x.  As mu falls towards the largest eigenvalue the
radius grows.  For the lowest mean take -b and -B.

References
----------
Hoerl, A. E. (1959). Optimum solution of many variables equations. *Chemical Engineering Progress*
55(11):69-78 (from memory).
Draper, N. R. (1963). "Ridge analysis" of response surfaces. *Technometrics* 5:469-479 (from
memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy import optimize

from weldtrial.analysis.linear import Estimate, Floats
from weldtrial.analysis.quadratic import Quadratic
from weldtrial.analysis.steepest import Step, step_at

STEPS = 10
BISECTIONS = 24
HARD = 1e-10
"""Share of the slope along the largest eigenvector below which it counts as none."""


@dataclass(frozen=True, slots=True, eq=False)
class RidgeStep:
    """The best setting at one distance from the coded centre.

    Attributes
    ----------
    radius
        Coded units.
    multiplier
        Lagrange's mu; 0 at the radius of a top.
    step
        Where it is, the fitted mean there, and whether it lies inside what was welded.  The mean
        has the error of a setting named beforehand.
    """

    radius: float
    multiplier: float
    step: Step

    @property
    def mean(self) -> Estimate:
        """The fitted mean there."""
        return self.step.mean


@dataclass(frozen=True, slots=True, eq=False)
class RidgePath:
    """The best settings at growing distance.

    Attributes
    ----------
    steps
        By radius; those outside what was welded only where asked for.  Unless they are, the step
        on the edge, where the path leaves what was welded, is among them.
    left_out
        Radii asked for whose best setting lies outside what was welded.
    highest
        Whether the greatest mean was looked for.
    """

    steps: tuple[RidgeStep, ...]
    left_out: tuple[float, ...]
    highest: bool


def ridge_path(
    quadratic: Quadratic,
    radii: Sequence[float] | None = None,
    *,
    highest: bool = True,
    beyond: bool = False,
) -> RidgePath:
    """Return the ridge path of a surface of first or second order.

    Parameters
    ----------
    radii
        Distances from the coded centre, coded units, 0 or more; None for ten up to the farthest
        coupon.
    highest
        Whether to look for the greatest mean, or the least.
    beyond
        Whether to give settings outside what was welded too.
    """
    if radii is None:
        radii = [quadratic.welded.largest * i / STEPS for i in range(STEPS + 1)]
    if any(radius < 0 or not np.isfinite(radius) for radius in radii):
        raise ValueError("a distance from the middle is 0 or more")
    sign = 1.0 if highest else -1.0
    radii = sorted(float(radius) for radius in radii)
    welded = [_enclosed(quadratic, radius, sign) for radius in radii]
    asked = [radius for radius, inside in zip(radii, welded, strict=True) if beyond or inside]
    for place, (inside, outside) in enumerate(pairwise(welded)):
        if inside and not (outside or beyond):
            asked.append(_last_inside(quadratic, radii[place], radii[place + 1], sign))
            break
    return RidgePath(
        steps=tuple(_at(quadratic, radius, sign) for radius in sorted(asked)),
        left_out=tuple(r for r, inside in zip(radii, welded, strict=True) if not inside),
        highest=highest,
    )


def _best(quadratic: Quadratic, radius: float, sign: float) -> tuple[Floats, float]:
    return best_on_sphere(sign * quadratic.b, sign * quadratic.B, radius)


def _at(quadratic: Quadratic, radius: float, sign: float) -> RidgeStep:
    x, mu = _best(quadratic, radius, sign)
    return RidgeStep(radius, sign * mu, step_at(quadratic, x))


def _enclosed(quadratic: Quadratic, radius: float, sign: float) -> bool:
    return bool(quadratic.welded.inside(_best(quadratic, radius, sign)[0])[0])


def _last_inside(quadratic: Quadratic, near: float, far: float, sign: float) -> float:
    """Return the radius, between one inside what was welded and one outside, of the edge."""
    for _ in range(BISECTIONS):
        middle = (near + far) / 2
        if _enclosed(quadratic, middle, sign):
            near = middle
        else:
            far = middle
    return near


def best_on_sphere(b: Floats, bend: Floats, radius: float) -> tuple[Floats, float]:
    """Return the x (k,) of length `radius` with the greatest b'x + x'Bx, and the multiplier.

    Where two are as good (no slope along the strongest upward bend) one of them.
    """
    values, vectors = np.linalg.eigh(bend)
    if radius == 0.0:
        return np.zeros(len(b)), float("inf")
    top, slope = float(values[-1]), vectors.T @ b
    scale = float(np.abs(values).max() + np.linalg.norm(b) / radius) or 1.0
    hardly = np.isclose(values, top, rtol=0, atol=HARD * scale)
    along = np.where(hardly & (np.abs(slope) <= HARD * radius * scale), 0.0, slope)

    def at(excess: float) -> Floats:
        """Return the point for mu = largest eigenvalue + excess, in the eigenvectors' axes."""
        gap = top - values + excess
        return np.asarray(np.divide(along, 2 * gap, out=np.zeros_like(along), where=along != 0))

    def over(log_excess: float) -> float:
        return float(np.linalg.norm(at(np.exp(log_excess))) - radius)

    least, most = np.log(1e-14 * scale), np.log(scale * 1e3)
    if over(least) < 0:
        # Hard case: every mu above the largest eigenvalue gives too short a way, and the rest is
        # gone along its eigenvector, on either side alike.
        rest = at(0.0) if not np.any(along[hardly]) else at(np.exp(least))
        rest[-1] += np.sqrt(max(0.0, radius**2 - float(rest @ rest)))
        return np.asarray(vectors @ rest), top
    excess = float(np.exp(optimize.brentq(over, least, most, xtol=1e-13, rtol=1e-14)))
    return np.asarray(vectors @ at(excess)), top + excess
