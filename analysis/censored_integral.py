"""Likelihood of set-ups with coupons beyond a limit: the set-up effect integrated out.

Coupon i of set-up k has strength x_i'b + u_k + e_i.  In units of the coupon scatter sigma the
covariance within a set-up is I + g J, g the ratio of set-up to coupon variance.  Given the
coupons of a set-up that were read exactly, u_k is normal with mean m and variance v = g/(1 + g n);
the chance of its other readings is the integral of a product of normal probabilities over that
normal, here by Gauss-Hermite nodes.

A negative g, down to -1/n, is as good a covariance as any: the coupons of a set-up then agree less
than chance would have them.  Its v is negative and u_k = m + i |v|^(1/2) z: the same sum over
nodes with complex arguments, the analytic continuation of the integral (checked in the tests
against the multivariate normal distribution function).  For every fixed g the log-likelihood is
concave in (gamma, theta): a normal probability of a convex set that moves linearly.

References
----------
Prekopa, A. (1973), Acta Sci. Math. 34, 335-343 (log-concavity of such probabilities).
Dunnett, C. W. & Sobel, M. (1955), Biometrika 42, 258-260 (equal correlation by one integral).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np

from weldtrial.analysis.censored_climb import Flags, Readings, least_squares_start
from weldtrial.analysis.censored_terms import HALF_LOG_2PI, Numbers, inside_parts, one_sided
from weldtrial.analysis.linear import Floats

MODE_STEPS = 5
"""Newton steps towards the middle of every integrand; it need not be met exactly."""


@cache
def normal_nodes(count: int) -> tuple[Floats, Floats]:
    """Return nodes and weights that integrate over a standard normal."""
    z, w = np.polynomial.hermite_e.hermegauss(count)
    return z, w / w.sum()


class _Cells(NamedTuple):
    """What the nodes of every set-up give.

    Attributes
    ----------
    log
        Log chance of a set-up's readings that are not exact, (m, K).
    share
        Weight of every node given those readings, (m, K, Q).
    rows
        Log and derivatives of every reading at the nodes, each (m, n, Q), as `_at` gives them.
    """

    log: Floats
    share: Numbers
    rows: list[Numbers]


@dataclass(frozen=True, slots=True, eq=False)
class SetupHill:
    """The log-likelihood of m responses with the variance ratio of each held.

    Attributes
    ----------
    q
        Columns (n, p), best orthonormal.
    readings
        Already centred and scaled to a spread near 1.
    member
        Set-up membership (n, K), one 1 a row.
    ratio
        Set-up over coupon variance, shape (m,), above -1 / (largest set-up).
    nodes
        Gauss-Hermite nodes.
    """

    q: Floats
    readings: Readings
    member: Floats
    ratio: Floats
    nodes: int = 20

    def rows(self, keep: Flags) -> SetupHill:
        """Return the same for some of the responses."""
        return SetupHill(
            self.q, self.readings.rows(keep), self.member, self.ratio[keep], self.nodes
        )

    def start(self) -> tuple[Floats, Floats]:
        """Return least squares on the stand-ins."""
        return least_squares_start(self.q, self.readings)

    def slopes(self, gamma: Floats, theta: Floats) -> tuple[Floats, Floats, Floats]:
        """Return log-likelihood (m,), gradient (m, p + 1) and Hessian (m, p + 1, p + 1)."""
        mean = gamma @ self.q.T
        m, p = gamma.shape
        sums, shrink = self._exact_sums(mean, theta)
        cells = self._cells(mean, theta, sums, shrink)
        height = self._exact_height(mean, theta, sums, shrink) + cells.log.sum(axis=1)
        gradient, hessian, carried = self._exact_slopes(mean, theta, sums, shrink)
        at = cells.share[:, self.member.argmax(axis=1), :]
        e1, e2, h11, h12, h22 = ((at * part).sum(axis=2).real for part in cells.rows[1:])
        s1, s11 = e1 @ self.member, h11 @ self.member
        gradient[:, :p] -= e1 @ self.q
        gradient[:, p] += e2.sum(axis=1)
        gradient -= np.einsum("mk,mkp->mp", s1, carried)
        squares = (self.q[:, :, None] * self.q[:, None, :]).reshape(len(self.q), p * p)
        hessian[:, :p, :p] += (h11 @ squares).reshape(m, p, p)
        cross = h12 @ self.q
        hessian[:, :p, p] -= cross
        hessian[:, p, :p] -= cross
        hessian[:, p, p] += h22.sum(axis=1)
        t = self._by_setup(-h11, h12)
        mixed = np.einsum("mkp,mkr->mpr", t, carried)
        hessian -= mixed + mixed.transpose(0, 2, 1)
        hessian += np.einsum("mk,mkp,mkr->mpr", s11, carried, carried)
        return height, gradient, hessian + self._spread(cells, carried)

    def _exact_sums(self, mean: Floats, theta: Floats) -> tuple[Floats, Floats]:
        """Residuals of exact readings summed over set-ups, and g / (1 + g n), both (m, K)."""
        r = np.where(self.readings.exact, theta[:, None] * self._values() - mean, 0.0)
        counts = self.readings.exact @ self.member
        g = self.ratio[:, None]
        return r @ self.member, g / (1.0 + g * counts)

    def _values(self) -> Floats:
        return np.where(self.readings.exact, self.readings.low, 0.0)

    def _exact_height(self, mean: Floats, theta: Floats, sums: Floats, shrink: Floats) -> Floats:
        exact = self.readings.exact
        r = np.where(exact, theta[:, None] * self._values() - mean, 0.0)
        count = exact.sum(axis=1)
        down = 1.0 + self.ratio[:, None] * (exact @ self.member)
        return np.asarray(
            -0.5 * (r * r).sum(axis=1)
            + 0.5 * (shrink * sums * sums).sum(axis=1)
            - 0.5 * np.log(down).sum(axis=1)
            + count * (np.log(theta) - HALF_LOG_2PI)
        )

    def _by_setup(self, weights: Floats, last: Floats) -> Floats:
        """Sum (weight q, last) over set-ups, (m, K, p + 1); weights and last are (m, n)."""
        m, (n, p), k = len(weights), self.q.shape, self.member.shape[1]
        spread = (self.member[:, :, None] * self.q[:, None, :]).reshape(n, k * p)
        return np.concatenate(
            [(weights @ spread).reshape(m, k, p), (last @ self.member)[:, :, None]], axis=2
        )

    def _exact_slopes(
        self, mean: Floats, theta: Floats, sums: Floats, shrink: Floats
    ) -> tuple[Floats, Floats, Floats]:
        """Gradient and Hessian of the exact readings, and the gradient of every m, (m, K, p+1)."""
        exact = self.readings.exact.astype(float)
        y, (n, p), m = self._values(), self.q.shape, len(theta)
        r = exact * (theta[:, None] * y - mean)
        rows = self._by_setup(-exact, y)
        carried = shrink[:, :, None] * rows
        count = exact.sum(axis=1)
        gradient = np.einsum("mk,mkp->mp", sums, carried)
        gradient[:, :p] += r @ self.q
        gradient[:, p] += count / theta - (r * y).sum(axis=1)
        hessian = np.einsum("mkp,mkr->mpr", carried, rows)
        squares = (self.q[:, :, None] * self.q[:, None, :]).reshape(n, p * p)
        hessian[:, :p, :p] -= (exact @ squares).reshape(m, p, p)
        cross = y @ self.q
        hessian[:, :p, p] += cross
        hessian[:, p, :p] += cross
        hessian[:, p, p] -= (y * y).sum(axis=1) + count / theta**2
        return gradient, hessian, carried

    def _cells(self, mean: Floats, theta: Floats, sums: Floats, shrink: Floats) -> _Cells:
        """Terms of the readings that are not exact, at the nodes of every set-up."""
        x, w = normal_nodes(self.nodes)
        centre = shrink * sums
        if (self.ratio < 0).any():
            root: Numbers = np.sqrt(shrink.astype(complex))
            u = centre[:, :, None] + root[:, :, None] * x
            weights: Numbers = np.broadcast_to(np.log(w), u.shape)
        else:
            root = np.sqrt(shrink)
            at, wide = self._mode(mean, theta, centre, root)
            z = at[:, :, None] + wide[:, :, None] * x
            u = centre[:, :, None] + root[:, :, None] * z
            weights = np.log(w) + np.log(wide)[:, :, None] + 0.5 * (x * x - z * z)
        arrays = self._at(mean, theta, u, 6)
        total = np.matmul(self.member.T, arrays[0]) + weights
        peak = total.real.max(axis=2, keepdims=True)
        share = np.exp(total - peak)
        whole = share.sum(axis=2, keepdims=True).real
        with np.errstate(divide="ignore", invalid="ignore"):
            log = np.where(whole > 0, np.log(whole) + peak, -np.inf)[:, :, 0]
            share = share / whole
        return _Cells(log, share, arrays)

    def _mode(
        self, mean: Floats, theta: Floats, centre: Floats, root: Floats
    ) -> tuple[Floats, Floats]:
        """Where the integrand of every set-up is highest, in z, and how wide it is there."""
        z, curve = np.zeros_like(centre), np.ones_like(centre)
        for _ in range(MODE_STEPS):
            u = (centre + root * z)[:, :, None]
            _, d1, _, h11 = (part[:, :, 0] for part in self._at(mean, theta, u, 4))
            curve = 1.0 - root * root * (h11 @ self.member)
            z = z - (z + root * (d1 @ self.member)) / curve
        # a step far too long can leave nothing to compute: such a place is turned down by `climb`
        fine = np.isfinite(z) & (curve >= 1.0)
        return np.where(fine, z, 0.0), 1.0 / np.sqrt(np.where(fine, curve, 1.0))

    def _at(self, mean: Floats, theta: Floats, u: Numbers, depth: int) -> list[Numbers]:
        """Log and derivatives of every reading that is not exact at set-up effects u (m, K, Q).

        Log, d1, d2, h11, h12, h22 as far as `depth` asks, each (m, n, Q), 0 for exact readings.
        """
        arrays = [np.zeros((*mean.shape, u.shape[2]), dtype=u.dtype) for _ in range(depth)]
        where, readings = self.member.argmax(axis=1), self.readings
        for flags, end, sign in (
            (readings.above, readings.low, -1.0),
            (readings.below, readings.high, 1.0),
        ):
            i, j = np.nonzero(flags)
            value = end[i, j]
            t = sign * ((theta[i] * value - mean[i, j])[:, None] - u[i, where[j], :])
            found, value = one_sided(t), value[:, None]
            first, second = sign * found.first, found.second
            parts = (found.log, first, first * value, second, second * value, second * value**2)
            for array, part in zip(arrays, parts, strict=False):
                array[i, j] = part
        i, j = np.nonzero(readings.inside)
        if len(i):
            low, high = readings.low[i, j][:, None], readings.high[i, j][:, None]
            shift, scale = -mean[i, j][:, None] - u[i, where[j], :], theta[i][:, None]
            found_inside = inside_parts(low, high, scale * low + shift, scale * high + shift)
            for array, part in zip(arrays, found_inside, strict=False):
                array[i, j] = part
        return arrays

    def _spread(self, cells: _Cells, carried: Floats) -> Floats:
        """Covariance over the nodes of every set-up's gradient, summed, (m, p + 1, p + 1)."""
        d1, d2 = (part.transpose(0, 2, 1) for part in cells.rows[1:3])
        m, count, n = d1.shape
        (_, p), k = self.q.shape, self.member.shape[1]
        spread = (self.member[:, :, None] * self.q[:, None, :]).reshape(n, k * p)
        shift = d1 @ self.member
        g = np.concatenate(
            [-(d1 @ spread).reshape(m, count, k, p), (d2 @ self.member)[:, :, :, None]], axis=3
        )
        g = (g - shift[:, :, :, None] * carried[:, None]).transpose(0, 2, 1, 3)
        weighted = g * cells.share[:, :, :, None]
        average = weighted.sum(axis=2).real
        squares = (weighted.transpose(0, 1, 3, 2) @ g).real.sum(axis=1)
        return np.asarray(squares - np.einsum("mkp,mkr->mpr", average, average))
