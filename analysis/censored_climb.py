"""Censored-normal maximum likelihood for m responses at once, by Newton steps that only go up.

With theta = 1/sigma and gamma = b/sigma the log-likelihood is concave in (gamma, theta) (Olsen
1978), so damped Newton steps reach the one maximum from anywhere.  Where a level lies wholly beyond
a limit the maximum is at infinity: the climb stops when the likelihood has nothing left to gain.

Holding a contrast at a value is the same problem with one coefficient less and the limits shifted
(`held`), because c'b = v is linear in (gamma, theta) too.

References
----------
Olsen, R. J. (1978), Econometrica 46, 1211-1215.
Burridge, J. (1981), J. R. Stat. Soc. B 43, 41-45 (concave for readings between limits as well).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from weldtrial.analysis.censored_terms import HALF_LOG_2PI, inside_parts, one_sided
from weldtrial.analysis.linear import Floats

Flags = NDArray[np.bool_]

MOST_STEPS = 200
SHORTEST = 1e-9
"""Share of a step below which no more is tried: the top is as near as rounding lets it be."""
GAINED = 1e-13
"""Newton decrement (twice the log-likelihood still to gain) at which the climb stops."""
CLOSE = 1e-7
"""Decrement below which the quadratic picture is exact and only rounding could argue."""
STEEPEST = 1e8
"""Largest theta in units of 1/(spread of the readings): beyond it no scatter is left."""


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """Readings of m responses at n coupons, all arrays (m, n).

    Attributes
    ----------
    low, high
        Ends of every reading; equal for an exact one, infinite where there is no end.
    exact, above, below, inside
        Which kind each is.
    """

    low: Floats
    high: Floats
    exact: Flags
    above: Flags
    below: Flags
    inside: Flags

    @classmethod
    def of(cls, low: Floats, high: Floats) -> Readings:
        """Return readings with their kinds worked out."""
        exact, above, below = low == high, np.isposinf(high), np.isneginf(low)
        return cls(low, high, exact, above, below, ~(exact | above | below))

    def moved(self, centre: Floats, scale: Floats) -> Readings:
        """Return the readings less `centre` (m,) or (m, n), over `scale` (m,)."""
        by = centre[:, None] if centre.ndim == 1 else centre
        return Readings(
            (self.low - by) / scale[:, None],
            (self.high - by) / scale[:, None],
            self.exact,
            self.above,
            self.below,
            self.inside,
        )

    def rows(self, keep: Flags) -> Readings:
        """Return the responses of which `keep` (m,) is true."""
        return Readings(
            self.low[keep],
            self.high[keep],
            self.exact[keep],
            self.above[keep],
            self.below[keep],
            self.inside[keep],
        )

    @property
    def stand_in(self) -> Floats:
        """A number for every reading: its value, its limit, or the middle of its limits."""
        low = np.where(self.below, self.high, self.low)
        high = np.where(self.above, self.low, self.high)
        return np.asarray(low + 0.5 * (high - low))


@dataclass(frozen=True, slots=True, eq=False)
class Peaks:
    """Where the likelihood of m responses is highest.

    Attributes
    ----------
    gamma, theta
        Coefficients over sigma (m, p), and 1/sigma (m,).
    log_likelihood
        Shape (m,), densities for exact readings in the unit the readings came in.
    hessian
        Of the log-likelihood in (gamma, theta), shape (m, p + 1, p + 1).
    met
        Whether the climb came to an end.
    steps
        Newton steps taken.
    """

    gamma: Floats
    theta: Floats
    log_likelihood: Floats
    hessian: Floats
    met: Flags
    steps: int


@dataclass(frozen=True, slots=True, eq=False)
class _Slope:
    """Row-level derivatives: one shift D1, one of theta D2, and second ones, each (m, n)."""

    log: Floats
    d1: Floats
    d2: Floats
    h11: Floats
    h12: Floats
    h22: Floats


def _row_terms(mean: Floats, theta: Floats, readings: Readings) -> _Slope:
    """Derivatives in s and theta of every row, ends being theta * limit + s, s = -mean."""
    shape = mean.shape
    log, d1, d2, h11, h12, h22 = (np.zeros(shape) for _ in range(6))
    y = readings.low
    flags = readings.exact
    value = y[flags]
    r = (np.broadcast_to(theta[:, None], shape)[flags]) * value - mean[flags]
    log[flags], d1[flags], d2[flags] = -0.5 * r * r - HALF_LOG_2PI, -r, -r * value
    h11[flags], h12[flags], h22[flags] = -1.0, -value, -value * value
    for flags, end, sign in (
        (readings.above, readings.low, -1.0),
        (readings.below, readings.high, 1.0),
    ):
        value = end[flags]
        if not value.size:
            continue
        t = sign * (np.broadcast_to(theta[:, None], shape)[flags] * value - mean[flags])
        found = one_sided(t)
        log[flags], d1[flags], d2[flags] = found.log, sign * found.first, sign * found.first * value
        h11[flags], h12[flags] = found.second, found.second * value
        h22[flags] = found.second * value * value
    flags = readings.inside
    if flags.any():
        low, high = readings.low[flags], readings.high[flags]
        scale, shift = np.broadcast_to(theta[:, None], shape)[flags], -mean[flags]
        parts = inside_parts(low, high, scale * low + shift, scale * high + shift)
        for array, part in zip((log, d1, d2, h11, h12, h22), parts, strict=True):
            array[flags] = part
    return _Slope(log, d1, d2, h11, h12, h22)


class Hill(Protocol):
    """A log-likelihood of m responses, concave in (gamma, theta)."""

    def rows(self, keep: Flags) -> Hill:
        """Return the same for the responses of which `keep` (m,) is true."""

    def slopes(self, gamma: Floats, theta: Floats) -> tuple[Floats, Floats, Floats]:
        """Return log-likelihood (m,), gradient (m, p + 1) and Hessian (m, p + 1, p + 1)."""

    def start(self) -> tuple[Floats, Floats]:
        """Return gamma (m, p) and theta (m,) to begin at."""


@dataclass(frozen=True, slots=True, eq=False)
class Coupons:
    """The log-likelihood of coupons that vary independently.

    Attributes
    ----------
    q
        Columns (n, p), best orthonormal; p may be 0.
    readings
        Already centred and scaled to a spread near 1.
    """

    q: Floats
    readings: Readings

    def rows(self, keep: Flags) -> Coupons:
        """Return the same for some of the responses."""
        return Coupons(self.q, self.readings.rows(keep))

    def slopes(self, gamma: Floats, theta: Floats) -> tuple[Floats, Floats, Floats]:
        """Return log-likelihood (m,), gradient (m, p + 1) and Hessian (m, p + 1, p + 1)."""
        m, p = gamma.shape
        q = self.q
        rows = _row_terms(gamma @ q.T, theta, self.readings)
        exact = self.readings.exact.sum(axis=1)
        gradient = np.empty((m, p + 1))
        gradient[:, :p] = -rows.d1 @ q
        gradient[:, p] = rows.d2.sum(axis=1) + exact / theta
        hessian = np.empty((m, p + 1, p + 1))
        squares = (q[:, :, None] * q[:, None, :]).reshape(len(q), p * p)
        hessian[:, :p, :p] = (rows.h11 @ squares).reshape(m, p, p)
        hessian[:, :p, p] = hessian[:, p, :p] = -rows.h12 @ q
        hessian[:, p, p] = rows.h22.sum(axis=1) - exact / theta**2
        return rows.log.sum(axis=1) + exact * np.log(theta), gradient, hessian

    def start(self) -> tuple[Floats, Floats]:
        """Return least squares on the stand-ins."""
        return least_squares_start(self.q, self.readings)


def newton_step(gradient: Floats, hessian: Floats) -> Floats:
    """Return uphill steps (m, k), lightly ridged so that flat directions cannot run away."""
    k = gradient.shape[1]
    size = -np.trace(hessian, axis1=1, axis2=2) / k
    ridge = 1e-13 * np.maximum(size, 1e-300)
    lifted = -hessian + ridge[:, None, None] * np.eye(k)
    return np.asarray(np.linalg.solve(lifted, gradient[:, :, None])[:, :, 0])


def climb(
    hill: Hill,
    start: tuple[Floats, Floats] | None = None,
    *,
    enough: float = GAINED,
    close: float = CLOSE,
) -> Peaks:
    """Climb to the highest likelihood of every response.

    Parameters
    ----------
    hill
        The log-likelihood.
    start
        gamma (m, p) and theta (m,) to begin at, else the hill's own.
    enough
        Newton decrement (twice what is still to gain) at which the climb stops.
    close
        Decrement below which steps are taken without looking: the picture is quadratic there, and
        a height known to fewer digits than the gain could only argue.
    """
    gamma, theta = start or hill.start()
    place = np.column_stack([gamma, theta])
    m, k = place.shape
    base = _Base(place, np.full(m, -np.inf), np.zeros((m, k)), np.zeros(m), np.zeros(m))
    met, hessian = np.zeros(m, dtype=bool), np.zeros((m, k, k))
    active, part, step = np.arange(m), hill, 0
    while len(active) and step < MOST_STEPS:
        step += 1
        at = base.place[active] + base.length[active, None] * base.move[active]
        with np.errstate(all="ignore"):  # a step far too long: turned down just below
            height, gradient, bend = part.slopes(at[:, :-1], at[:, -1])
            good = height >= base.height[active] + 1e-4 * (base.length * base.gain)[active]
        good |= (base.gain[active] < close) & np.isfinite(height)
        good &= np.isfinite(bend).all(axis=(1, 2)) & np.isfinite(gradient).all(axis=1)
        base.length[active[~good]] *= 0.5
        done = base.length[active] < SHORTEST
        base.stand(active[good], at[good], height[good], gradient[good], bend[good])
        done[good] = (base.gain[active[good]] <= enough) | (at[good, -1] > STEEPEST)
        hessian[active[good]] = bend[good]
        if done.any():
            met[active[done]] = True
            active = active[~done]
            part = hill.rows(_mask(active, m))
    return Peaks(base.place[:, :-1], base.place[:, -1], base.height, hessian, met, step)


@dataclass(frozen=True, slots=True, eq=False)
class _Base:
    """Where every response stands, and the step it is about to take; filled in as it climbs."""

    place: Floats
    height: Floats
    move: Floats
    gain: Floats
    length: Floats

    def stand(
        self, index: NDArray[np.intp], at: Floats, height: Floats, gradient: Floats, bend: Floats
    ) -> None:
        """Let responses `index` stand where they have come to, and look for their next step."""
        move = newton_step(gradient, bend)
        length = np.ones(len(index))
        # never lose more than nine tenths of theta in one step: it must stay above 0
        down = move[:, -1] < 0.0
        length[down] = np.minimum(1.0, -0.9 * at[down, -1] / move[down, -1])
        self.place[index], self.height[index], self.move[index] = at, height, move
        self.gain[index], self.length[index] = np.sum(gradient * move, axis=1), length


def _mask(index: NDArray[np.intp], size: int) -> Flags:
    mask = np.zeros(size, dtype=bool)
    mask[index] = True
    return mask


def least_squares_start(q: Floats, readings: Readings) -> tuple[Floats, Floats]:
    """Return gamma (m, p) and theta (m,) of least squares on the stand-ins of the readings."""
    y = readings.stand_in
    found = np.linalg.lstsq(q, y.T)[0].T if q.shape[1] else np.zeros((len(y), 0))
    spread = np.sqrt(np.mean((y - found @ q.T) ** 2, axis=1))
    theta = 1.0 / np.maximum(spread, 0.05)
    return np.asarray(found * theta[:, None]), np.asarray(theta)


def held(q: Floats, contrast: Floats) -> tuple[Floats, Floats]:
    """Return what holding a contrast takes: columns left free (n, p - 1), and a shift (n,).

    Fitting the free columns to readings less value * shift is fitting all of q with
    contrast'b = value.
    """
    length = contrast @ contrast
    first = contrast / np.sqrt(length)
    rest = np.linalg.svd(first[None, :])[2][1:]
    return np.asarray(q @ rest.T), np.asarray(q @ (contrast / length))
