"""How a second-order surface bends: canonical analysis, each bend with an interval.

The eigenvectors of B are the directions along which the surface bends without twisting, the
eigenvalues how much.  Refitted with its axes turned to the eigenvectors, the surface has the
eigenvalues as the coefficients of its squares, and their standard errors are those of the
eigenvalues to first order: the double linear regression of Bisgaard & Ankenman (1996).  Since the
refit is only the old coefficients turned, v'Bv is judged as a contrast here, at its own level of
error.

Those intervals treat the directions as given.  Where eigenvalues are closer than their standard
errors the largest is overstated and the smallest understated, since the directions were chosen for
being the most curved: by simulation, with three bends alike the worst holds 80 times in 100, with
five alike 48.  So what is *said* of a surface rests on a wider interval, for all axes at once.  Its
critical value is that of the most extreme v'Ev over its standard error, E pure error, over all
directions v: the least favourable case, every bend alike.  It is Scheffe's argument for the
directions alone instead of every combination of coefficients, simulated with a fixed seed; on
designs whose bends are not equally well known along every direction it is close, not exact.

References
----------
Bisgaard, S. & Ankenman, B. (1996). Standard errors for the eigenvalues in second-order response
surface models. *Technometrics* 38:238-246 (from memory).
Carter, W. H., Chinchilli, V. M. & Campbell, E. D. (1990). A large-sample confidence region useful
in characterizing the stationary point of a quadratic response surface. *Technometrics* 32:425-435
(from memory).
Box, G. E. P. & Draper, N. R. (1987). *Empirical Model-Building and Response Surfaces*, ch. 10-11.
Scheffe, H. (1953). A method for judging all contrasts in the analysis of variance. *Biometrika*
40:87-104 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations_with_replacement
from math import sqrt
from typing import Literal

import numpy as np
from scipy import special

from weldtrial.analysis.linear import Estimate, Floats
from weldtrial.analysis.quadratic import Quadratic
from weldtrial.shared.problems import NotEstimable

Nature = Literal["top", "dip", "saddle"]
Told = Literal["top", "dip", "saddle", "ridge", "valley", "open"]

DRAWS = 4000
SEED = 1990
FLAT = 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class Axis:
    """One direction along which the surface bends without twisting.

    Attributes
    ----------
    direction
        Unit vector in coded units, shape (k,), its largest part positive.
    bend
        Eigenvalue, response unit per squared coded unit, with its standard error.
    low, high
        Its interval by itself, as if the direction had been named beforehand.
    low_together, high_together
        Its interval where all the axes' are to hold at once, the directions chosen on the data.
    slope
        How steep the surface is along the direction at the middle of what was welded.
    reach
        Half the length of what was welded along the direction, through its middle, coded units;
        0 where the middle is not enclosed.
    """

    direction: Floats
    bend: Estimate
    low: float
    high: float
    low_together: float
    high_together: float
    slope: Estimate
    reach: float

    @property
    def told(self) -> int:
        """-1 or 1 where the sign of the bend is told, all axes judged at once; else 0."""
        return -1 if self.high_together < 0 else 1 if self.low_together > 0 else 0

    @property
    def change(self) -> float:
        """How far the ends of what was welded lie from the middle by the bend, response unit."""
        return self.bend.estimate * self.reach**2


@dataclass(frozen=True, slots=True, eq=False)
class Canonical:
    """The canonical analysis of one surface.

    Attributes
    ----------
    axes
        Sorted by eigenvalue, the largest (least downward) first.
    nature
        What the fitted surface has, taken at face value.
    told
        What the intervals allow one to say, all judged at once: ``top``, ``dip`` or ``saddle``;
        ``ridge`` or ``valley`` where some bends are told, all of one sign, and others could be
        flat; ``open`` where no bend is told.
    unsquared
        Names of factors without a square in the model: their curvature was not asked for, so that
        a saddle along them is made by the model, not found.
    """

    axes: tuple[Axis, ...]
    nature: Nature
    told: Told
    unsquared: tuple[str, ...]
    confidence: float

    @property
    def flat(self) -> tuple[Axis, ...]:
        """Axes whose bend is not told from none."""
        return tuple(axis for axis in self.axes if axis.told == 0)

    @property
    def rising(self) -> tuple[Axis, ...]:
        """Flat axes along which the surface climbs steadily: a rising ridge."""
        limit = 1.0 - self.confidence
        return tuple(axis for axis in self.flat if axis.slope.p < limit)


def canonical(quadratic: Quadratic, confidence: float = 0.95) -> Canonical:
    """Return the canonical analysis of a surface of second order.

    Parameters
    ----------
    confidence
        Of the intervals, between 0 and 1, both excluded.

    Raises
    ------
    NotEstimable
        When the model holds no term of second order in the numeric factors.
    """
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence must be between 0 and 1, got {confidence!r}")
    if len(quadratic.straight) == quadratic.k:
        raise NotEstimable(
            "the model is straight in every setting: it bends nowhere",
            hint='ask for squares (model = "quadratic"), with three settings or more welded',
        )
    values, vectors = np.linalg.eigh(quadratic.B)
    critical = _critical_together(quadratic, vectors, confidence)
    axes = tuple(
        _axis(quadratic, vectors[:, i], confidence, critical) for i in np.argsort(values)[::-1]
    )
    up = sum(axis.bend.estimate > 0 for axis in axes)
    nature: Nature = "dip" if up == len(axes) else "saddle" if up else "top"
    return Canonical(
        axes=axes,
        nature=nature,
        told=_told([axis.told for axis in axes]),
        unsquared=tuple(one.name for one in quadratic.unsquared),
        confidence=confidence,
    )


def _axis(quadratic: Quadratic, vector: Floats, confidence: float, critical: float) -> Axis:
    v = vector * np.sign(vector[np.argmax(np.abs(vector))])
    surface, welded = quadratic.surface, quadratic.welded
    row = quadratic.bend_row(v)
    if np.any(row):
        bend = surface.estimate(row)
        low, high = bend.interval(confidence)
        wide = bend.within(critical)
    else:
        # The model has no bend along this axis at all: it is nought by choice.
        bend, low, high, wide = Estimate(0.0, 0.0, surface.df), 0.0, 0.0, (0.0, 0.0)
    middle = welded.centre if len(welded.points) else np.zeros(quadratic.k)
    enclosed = bool(welded.inside(middle)[0])
    reach = min(welded.reach(middle, v), welded.reach(middle, -v)) if enclosed else 0.0
    slope = surface.estimate(v @ quadratic.gradient_rows(middle[None])[0])
    return Axis(v, bend, low, high, *wide, slope, reach)


def _critical_together(quadratic: Quadratic, vectors: Floats, confidence: float) -> float:
    """Return how many standard errors every bend's interval reaches when all are to hold."""
    surface, k = quadratic.surface, quadratic.k
    rows = [row for v in (*np.eye(k), *vectors.T) if np.any(row := quadratic.bend_row(v))]
    found = [surface.denominator(row[None]) for row in rows]
    df, scale = min(one.df for one in found), min(one.scale for one in found)
    if k == 1:
        return float(special.stdtrit(df, 0.5 + confidence / 2) / sqrt(scale))
    turn = quadratic.turn[k + 1 :]
    spread = turn @ surface.covariance @ turn.T
    # Only the shape matters, so that surfaces on the same coupons share one simulation.
    shape = np.round(spread / np.trace(spread), 9) + 0.0
    return _simulated(shape.tobytes(), k, round(df, 6), confidence) / sqrt(scale)


@lru_cache(maxsize=256)
def _simulated(shape: bytes, k: int, df: float, confidence: float) -> float:
    """Return the quantile of the most extreme bend of pure error over its standard error."""
    pairs = list(combinations_with_replacement(range(k), 2))
    spread = np.frombuffer(shape).reshape(len(pairs), len(pairs))
    draw = np.random.default_rng(SEED)
    values, vectors = np.linalg.eigh(spread)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    errors = draw.standard_normal((DRAWS, len(pairs))) @ root.T
    errors /= np.sqrt(draw.chisquare(df, DRAWS) / df)[:, None]
    bends = np.zeros((DRAWS, k, k))
    for column, (i, j) in enumerate(pairs):
        bends[:, i, j] += errors[:, column] / 2
        bends[:, j, i] += errors[:, column] / 2
    sizes, directions = np.linalg.eigh(bends)
    ratios = []
    for end in (0, -1):
        v = directions[:, :, end]
        products = np.column_stack([v[:, i] * v[:, j] for i, j in pairs])
        variance = np.einsum("mi,ij,mj->m", products, spread, products)
        known = variance > FLAT * np.trace(spread)
        ratio = np.divide(sizes[:, end] ** 2, variance, out=np.zeros(DRAWS), where=known)
        ratios.append(np.sqrt(ratio))
    return float(np.quantile(np.maximum(*ratios), confidence))


def _told(signs: list[int]) -> Told:
    down, up, flat = signs.count(-1), signs.count(1), signs.count(0)
    if down and up:
        return "saddle"
    if not flat:
        return "top" if down else "dip"
    if not (down or up):
        return "open"
    return "ridge" if down else "valley"
