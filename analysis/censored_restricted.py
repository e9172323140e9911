"""Set-up and coupon scatter of censored responses, by restricted likelihood.

Maximum likelihood puts the set-up scatter of six rounds at five twelfths of the truth, because it
forgets that the model was fitted.  Integrating the coefficients out by Laplace's approximation
mends that (Cox & Reid's adjusted profile likelihood): what is maximised over sigma and the variance
ratio g is

    l(gamma, theta, g) - p log theta - (1/2) log det(-d2 l / d gamma2),

which is REML exactly when nothing is beyond a limit (Harville 1974).  For fixed g the first two
terms are concave in (gamma, theta); the determinant hardly depends on them and is left to the
search over g.

References
----------
Harville, D. A. (1974), Biometrika 61, 383-385.
Cox, D. R. & Reid, N. (1987), J. R. Stat. Soc. B 49, 1-39.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from weldtrial.analysis.censored_climb import Flags, Hill, Peaks, Readings, climb
from weldtrial.analysis.censored_integral import SetupHill
from weldtrial.analysis.linear import Floats

LOWEST = 0.1
"""Smallest 1 + g n for the largest set-up; nearer the bound -1/n the integral needs many nodes."""
HIGHEST_RATIO = 1e6
"""Largest set-up to coupon variance ratio that is searched."""
CLOSE = 1e-3
"""As in `climb`; the nodes leave heights a few digits short of gradients."""
FLOOR = 1e-3
"""Share of what exact readings would tell about a direction, below which it counts as open."""


@dataclass(frozen=True, slots=True, eq=False)
class Restricted:
    """A log-likelihood less p log theta: what is lost to fitting p coefficients."""

    hill: Hill
    p: int

    def rows(self, keep: Flags) -> Restricted:
        """Return the same for some of the responses."""
        return Restricted(self.hill.rows(keep), self.p)

    def start(self) -> tuple[Floats, Floats]:
        """Return where the likelihood itself would start."""
        return self.hill.start()

    def slopes(self, gamma: Floats, theta: Floats) -> tuple[Floats, Floats, Floats]:
        """Return height (m,), gradient (m, p + 1) and Hessian (m, p + 1, p + 1)."""
        height, gradient, hessian = self.hill.slopes(gamma, theta)
        gradient[:, -1] -= self.p / theta
        hessian[:, -1, -1] += self.p / theta**2
        return height - self.p * np.log(theta), gradient, hessian


@dataclass(frozen=True, slots=True, eq=False)
class SigmaKnown:
    """A log-likelihood in gamma alone, theta staying where it starts."""

    hill: Hill

    def rows(self, keep: Flags) -> SigmaKnown:
        """Return the same for some of the responses."""
        return SigmaKnown(self.hill.rows(keep))

    def start(self) -> tuple[Floats, Floats]:
        """Return where the likelihood itself would start."""
        return self.hill.start()

    def slopes(self, gamma: Floats, theta: Floats) -> tuple[Floats, Floats, Floats]:
        """Return height (m,), gradient (m, p + 1) and Hessian (m, p + 1, p + 1)."""
        height, gradient, hessian = self.hill.slopes(gamma, theta)
        gradient[:, -1] = 0.0
        hessian[:, -1, :] = hessian[:, :, -1] = 0.0
        hessian[:, -1, -1] = -1.0
        return height, gradient, hessian


@dataclass(frozen=True, slots=True, eq=False)
class Setups:
    """Censored responses in set-ups, m of them, ready to be fitted at any variance ratio.

    Attributes
    ----------
    q
        Columns (n, p), best orthonormal.
    readings
        Centred and scaled to a spread near 1.
    member
        Set-up membership (n, K).
    nodes
        Gauss-Hermite nodes of every set-up's integral.
    enough
        Newton decrement at which a climb stops.
    """

    q: Floats
    readings: Readings
    member: Floats
    nodes: int
    enough: float = 1e-11

    def climb(
        self,
        ratio: Floats,
        start: tuple[Floats, Floats] | None,
        wrap: Callable[[Hill], Hill],
    ) -> Peaks:
        """Climb at held ratios (m,); those below 0 apart, for they need complex arithmetic."""
        m, k = len(ratio), self.q.shape[1] + 1
        gamma, theta, height = np.empty((m, k - 1)), np.empty(m), np.empty(m)
        hessian, met, steps = np.empty((m, k, k)), np.zeros(m, dtype=bool), 0
        for keep in (ratio < 0.0, ratio >= 0.0):
            if not keep.any():
                continue
            part = self.readings if keep.all() else self.readings.rows(keep)
            hill = wrap(SetupHill(self.q, part, self.member, ratio[keep], self.nodes))
            begin = None if start is None else (start[0][keep], start[1][keep])
            peaks = climb(hill, begin, enough=self.enough, close=CLOSE)
            gamma[keep], theta[keep], height[keep] = peaks.gamma, peaks.theta, peaks.log_likelihood
            hessian[keep], met[keep], steps = peaks.hessian, peaks.met, max(steps, peaks.steps)
        return Peaks(gamma, theta, height, hessian, met, steps)

    def restricted(
        self, u: Floats, start: tuple[Floats, Floats] | None
    ) -> tuple[Floats, Floats, Floats]:
        """Return restricted height, gamma and theta at u = log(1 + g n_max), (m,)."""
        p = self.q.shape[1]
        peaks = self.climb(self.ratio(u), start, lambda hill: Restricted(hill, p))
        known = log_information(-peaks.hessian[:, :p, :p], self._exact(self.ratio(u)))
        height = peaks.log_likelihood - 0.5 * known
        return np.where(np.isfinite(height), height, -np.inf), peaks.gamma, peaks.theta

    def _exact(self, ratio: Floats) -> Floats:
        """Return the information about gamma that exact readings would hold, (m, p, p)."""
        sums, sizes = self.member.T @ self.q, self.member.sum(axis=0)
        shrink = ratio[:, None] / (1.0 + ratio[:, None] * sizes)
        lost = np.einsum("mk,kp,kr->mpr", shrink, sums, sums)
        return np.asarray(self.q.T @ self.q - lost)

    def ratio(self, u: Floats) -> Floats:
        """Return g for u = log(1 + g n), n the largest set-up."""
        return np.asarray(np.expm1(u) / self.member.sum(axis=0).max())


def log_information(information: Floats, exact: Floats) -> Floats:
    """Return the log determinant of information (m, p, p) over the directions that are not open.

    Parameters
    ----------
    information
        What the readings tell about gamma.
    exact
        What they would tell had they all been exact, (m, p, p).

    Notes
    -----
    A level wholly beyond its limit leaves a direction open: the information in it falls towards
    zero with every step of a climb, and the scatter of that level's set-ups is not seen either.
    Such a direction counts as a constant; where nothing is open this is the log determinant.
    """
    half = np.linalg.cholesky(exact)
    inner = np.linalg.solve(half, information)
    inner = np.linalg.solve(half, inner.transpose(0, 2, 1))
    share, vectors = np.linalg.eigh(0.5 * (inner + inner.transpose(0, 2, 1)))
    share = np.maximum(share, 0.0)
    directions = np.linalg.solve(half.transpose(0, 2, 1), vectors)
    whole = 2.0 * np.log(np.diagonal(half, axis1=1, axis2=2)).sum(axis=1)
    told = share**2 + FLOOR**2
    lengths = np.log((directions**2).sum(axis=1))
    return np.asarray(whole + (0.5 * np.log(told) + FLOOR**2 / told * lengths).sum(axis=1))


def find_ratio(setups: Setups, grid: int, refine: int) -> tuple[Floats, Floats, Floats]:
    """Return the variance ratio (m,) of highest restricted likelihood, with gamma and theta there.

    Parameters
    ----------
    setups
        The responses.
    grid
        Ratios at which heights are compared first, at least 3.
    refine
        Steps by parabola (or towards the longer side) after that.
    """
    m = len(setups.readings.low)
    every = np.arange(m)
    largest = setups.member.sum(axis=0).max()
    us = np.linspace(np.log(LOWEST), np.log1p(HIGHEST_RATIO * largest), grid)
    heights, places, start = [], [], None
    for u in us:
        height, gamma, theta = setups.restricted(np.full(m, u), start)
        start = (gamma, theta)
        heights.append(height)
        places.append(start)
    at = np.array(heights)
    best = at.argmax(axis=0)
    middle = np.clip(best, 1, grid - 2)
    x = np.array([us[middle - 1], us[middle], us[middle + 1]])
    y = np.array([at[middle - 1, every], at[middle, every], at[middle + 1, every]])
    top, where = at[best, every], us[best]
    gamma = np.array([place[0] for place in places])[best, every]
    theta = np.array([place[1] for place in places])[best, every]
    for _ in range(refine):
        u = _next(x, y)
        height, new_gamma, new_theta = setups.restricted(u, (gamma, theta))
        better = height > top
        top, where = np.where(better, height, top), np.where(better, u, where)
        gamma[better], theta[better] = new_gamma[better], new_theta[better]
        x, y = _closer(x, y, u, height)
    return setups.ratio(where), gamma, theta


def _next(x: Floats, y: Floats) -> Floats:
    """Where to look next, given three places (3, m) in order and their heights."""
    with np.errstate(all="ignore"):
        left, right = (y[1] - y[0]) / (x[1] - x[0]), (y[2] - y[1]) / (x[2] - x[1])
        bend = (right - left) / (x[2] - x[0])
        top = 0.5 * (x[0] + x[1]) - 0.5 * left / bend
    gap = 1e-4 * (x[2] - x[0])
    lower, upper = x[0] + gap, x[2] - gap
    near = np.abs(top - x[1]) < 1e-9
    fine = np.isfinite(top) & (bend < 0.0) & (top > lower) & (top < upper) & ~near
    longer = np.where(x[1] - x[0] > x[2] - x[1], x[0], x[2])
    best = y.argmax(axis=0)
    towards = np.where(best == 0, x[0], np.where(best == 2, x[2], longer))
    return np.asarray(np.where(fine, top, x[1] + 0.382 * (towards - x[1])))


def _closer(x: Floats, y: Floats, u: Floats, height: Floats) -> tuple[Floats, Floats]:
    """Return the three of four places around the highest."""
    xs, ys = np.vstack([x, u]), np.vstack([y, height])
    order = xs.argsort(axis=0, kind="stable")
    xs, ys = np.take_along_axis(xs, order, 0), np.take_along_axis(ys, order, 0)
    first = np.where(ys.argmax(axis=0) <= 1, 0, 1)
    pick = first + np.arange(3)[:, None]
    return np.take_along_axis(xs, pick, 0), np.take_along_axis(ys, pick, 0)
