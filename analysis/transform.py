"""On which scale readings scatter evenly: the power transformation and its profile.

References
----------
Box, G. E. P. & Cox, D. R. (1964). An analysis of transformations. *J. R. Stat. Soc. B* 26:211-252.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import optimize, special

from weldtrial.analysis.compare import contrast
from weldtrial.analysis.findings import Alternative, Check
from weldtrial.analysis.judge import Evidence, judge
from weldtrial.analysis.linear import Floats, orthonormal_basis
from weldtrial.analysis.model import ModelFit
from weldtrial.analysis.model_frame import frame_within
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.question import Question
from weldtrial.analysis.residual_views import ALARM
from weldtrial.analysis.view import View
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.rounding import fixed

SIMPLE = (-1.0, -0.5, 0.0, 0.5, 1.0)
"""Powers that have a name: reciprocal, reciprocal root, logarithm, root, as read."""
NAMES = {
    -1.0: "one over the reading",
    -0.5: "one over the root of the reading",
    0.0: "the logarithm of the reading",
    0.5: "the root of the reading",
}
FARTHEST = 5.0
"""Powers are searched up to this far from zero."""


@dataclass(frozen=True, slots=True)
class PowerProfile:
    """The power of the readings whose scatter is most even and normal.

    Attributes
    ----------
    power
        Maximum-likelihood λ; 1 is the scale read, 0 the logarithm.
    low, high
        95 % interval by the profile likelihood; an end beyond ±5 is given as ±5.
    p
        Chance of a likelihood ratio as large against λ = 1 were that the truth, residual degrees
        of freedom counted in the place of coupons.
    """

    power: float
    low: float
    high: float
    p: float


def power_profile(x: Floats, y: Floats) -> PowerProfile | None:
    """Return the profile of the power of `y` in a linear model.

    Parameters
    ----------
    x
        Model matrix, shape (n, p), independent columns.
    y
        Readings, shape (n,); None comes back unless all are above 0 and some scatter is left.
    """
    if y.min() <= 0 or len(y) <= x.shape[1] + 1:
        return None
    basis, _ = orthonormal_basis(x)
    logs = np.log(y)
    level = float(logs.mean())
    ratio = logs - level

    def heights(powers: Floats) -> Floats:
        """Log-likelihoods; readings are brought to a geometric mean of 1, which changes nothing."""
        safe = np.where(np.abs(powers) < 1e-8, 1.0, powers)
        z = np.where(np.abs(powers) < 1e-8, ratio[:, None], np.expm1(safe * ratio[:, None]) / safe)
        square = np.sum((z - basis @ (basis.T @ z)) ** 2, axis=0)
        with np.errstate(divide="ignore"):
            return np.asarray(-len(y) / 2 * np.log(square))

    def height(power: float) -> float:
        return float(heights(np.array([power]))[0])

    if not np.isfinite(height(1.0)):
        return None
    grid = np.linspace(-FARTHEST, FARTHEST, 101)
    best = float(grid[int(np.argmax(heights(grid)))])
    found = optimize.minimize_scalar(
        lambda power: -height(power),
        bounds=(max(-FARTHEST, best - 0.2), min(FARTHEST, best + 0.2)),
        method="bounded",
        options={"xatol": 1e-8},
    )
    power, top = float(found.x), -float(found.fun)
    cut = top - float(special.chdtri(1, 0.05)) / 2

    def end(side: float) -> float:
        if height(side) >= cut:
            return side
        return float(optimize.brentq(lambda one: height(one) - cut, power, side, xtol=1e-8))

    # Residual degrees of freedom in the place of n keep the test at its level in small trials.
    share = (len(y) - x.shape[1]) / len(y)
    p = float(special.chdtrc(1, max(0.0, 2 * share * (top - height(1.0)))))
    return PowerProfile(power, end(-FARTHEST), end(FARTHEST), p)


def transformation(
    question: Question, fit: ModelFit, observations: Sequence[Observation]
) -> View | None:
    """Ask whether the readings scatter evenly as read, and where not answer on a better scale."""
    if fit.limited:
        return None
    x = fit.x
    if fit.setup is not None:
        points = [one.point for one in observations]
        x = frame_within(fit.factors, question.terms, (), points, fit.setup).x
    try:
        found = power_profile(x, fit.y)
    except NotEstimable:
        return None
    if found is None:
        return None
    if found.p >= ALARM:
        return View(
            Check("scale", True, "Readings scatter about evenly on the scale they are read.")
        )
    nearest = min((one for one in SIMPLE if one != 1.0), key=lambda one: abs(one - found.power))
    power, low, high = (fixed(one, 1) for one in (found.power, found.low, found.high))
    words = (
        f"Scatter changes with the size of the reading: it is most even for the power {power} "
        f"({low} to {high}; 1 is the scale read)."
    )
    beside = on_scale(question, observations, nearest) if found.power < 1 else None
    return View(Check("scale", False, words), beside, what="the scale the readings are taken on")


def on_scale(
    question: Question, observations: Sequence[Observation], power: float
) -> Alternative | None:
    """Return the comparison made on a power of the readings, put back into their unit.

    The margin is moved to the other scale at the reference level's middle, which is taken as
    known there; the difference in units is read off at the same place.

    Parameters
    ----------
    power
        One of `SIMPLE`.
    """
    if min(o.value for o in observations) <= 0:
        return None
    moved = [replace(o, value=float(_to(np.array(o.value), power))) for o in observations]
    bare = replace(question.response, margin=None)
    try:
        fit = question.fit(moved)
        if question.factor.name not in fit.model.columns:
            return None
        found = contrast(
            fit, question.factor, question.level, bare, question.reference, question.read
        )
    except NotEstimable:
        return None
    middle = found.reference.estimate
    reference = _back(middle, power)
    low, high = found.together.interval(found.difference, 0.95)
    ends = [_back(middle + one, power) for one in (low, found.difference.estimate, high)]
    if reference is None or any(one is None for one in ends):
        return None
    low_units, difference, high_units = (float(one or 0.0) - reference for one in ends)
    evidence = _evidence(question, found.evidence, middle, reference, power)
    if evidence is None:
        return None
    name = f"on {NAMES[power]}"
    return Alternative(
        name, f"worked out {name}", difference, low_units, high_units, found.difference.df,
        found.difference.p, judge(evidence, question.response.ask), len(observations),
    )  # fmt: skip


def _evidence(
    question: Question, change: Evidence, middle: float, reference: float, power: float
) -> Evidence | None:
    margin = question.response.margin
    if margin is None:
        return change
    units = margin.in_units(reference)
    if units >= reference:
        return None
    down = middle - float(_to(np.array(reference - units), power))
    up = float(_to(np.array(reference + units), power)) - middle
    loss, gain = (down, up) if question.response.sign > 0 else (up, down)
    return Evidence(change.change, change.change.shifted(loss), change.change.shifted(-gain))


def _to(y: Floats, power: float) -> Floats:
    """Return (y^power − 1)/power, the logarithm at 0: rising whatever the power."""
    return np.asarray(np.log(y) if power == 0 else (y**power - 1) / power)


def _back(z: float, power: float) -> float | None:
    """Return the reading behind a transformed value, None where there is none."""
    if power == 0:
        return float(np.exp(z))
    inside = power * z + 1
    return float(inside ** (1 / power)) if inside > 0 else None
