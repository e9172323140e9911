"""Readings that stop at a gauge limit, checked and brought to one scale; when nothing can be said.

A reading is a pair (low, high): equal when it was read exactly, (90, inf) for ``>90``, (-inf, 0.2)
for ``<0.2``, (80, 90) for a failure between two stops.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize

from weldtrial.analysis.censored_climb import Flags, Readings
from weldtrial.analysis.linear import Floats, centring, orthonormal_basis
from weldtrial.shared.problems import NotEstimable

INSTEAD = "compared instead: how many reached it"


@dataclass(frozen=True, slots=True)
class Kinds:
    """How many readings are exact, above a limit, below one, between two."""

    exact: int
    above: int
    below: int
    between: int

    @property
    def beyond(self) -> int:
        """Readings beyond a limit, on either side."""
        return self.above + self.below

    @property
    def total(self) -> int:
        """All readings."""
        return self.exact + self.above + self.below + self.between


@dataclass(frozen=True, slots=True, eq=False)
class Scaled:
    """m responses at n coupons on an orthonormal basis, centred and scaled.

    Attributes
    ----------
    q, r
        ``x = q @ r``.
    ones
        Coefficients of x that make a constant 1, or zeros; shape (p,).
    readings
        Less `centre` (m,), over `scale` (m,).
    """

    q: Floats
    r: Floats
    ones: Floats
    readings: Readings
    centre: Floats
    scale: Floats

    def contrast(self, contrast: Floats) -> Floats:
        """Return a contrast of the coefficients as one of the basis, shape (p,)."""
        return np.asarray(np.linalg.solve(self.r.T, contrast))

    def value(self, contrast: Floats, value: Floats) -> Floats:
        """Return values (m,) of a contrast on the scale of the readings here."""
        return np.asarray((value - self.centre * (contrast @ self.ones)) / self.scale)


def read_in(x: ArrayLike, lows: ArrayLike, highs: ArrayLike) -> Scaled:
    """Check and scale the readings of m responses.

    Parameters
    ----------
    x
        Model matrix (n, p), independent columns.
    lows, highs
        Ends of the readings, shape (n,) or (n, m).

    Raises
    ------
    NotEstimable
        Columns of x repeat one another.
    ValueError
        Shapes do not fit, an end is not a number, or a low end is above its high one.
    """
    q, r = orthonormal_basis(x)
    low, high = (_columns(ends, len(q)) for ends in (lows, highs))
    if low.shape != high.shape:
        raise ValueError(f"low and high must match, got {low.shape} and {high.shape}")
    wrong = np.isnan(low) | np.isnan(high) | (low > high) | np.isposinf(low) | np.isneginf(high)
    wrong |= np.isinf(low) & np.isinf(high)
    if wrong.any():
        i, j = (int(index[0]) for index in np.nonzero(wrong))
        raise ValueError(
            f"reading {i} of response {j} is ({low[i, j]}, {high[i, j]}): low must not be above "
            "high, and one end must be a number"
        )
    readings = Readings.of(low.T.copy(), high.T.copy())
    ones = centring(x)
    stand_in = readings.stand_in
    first = stand_in[:, 0]
    level = first + (stand_in - first[:, None]).mean(axis=1)
    centre = level if np.any(ones) else np.zeros(len(level))
    left = stand_in - centre[:, None]
    scale = np.sqrt(np.mean((left - (left @ q) @ q.T) ** 2, axis=1))
    scale = np.where(scale > 1e-12 * np.maximum(np.abs(level), 1e-300), scale, 1.0)
    return Scaled(q, r, ones, readings.moved(centre, scale), centre, scale)


def _columns(ends: ArrayLike, n: int) -> Floats:
    columns = np.asarray(ends, dtype=float)
    columns = columns[:, None] if columns.ndim == 1 else columns
    if columns.ndim != 2 or len(columns) != n:
        raise ValueError(f"low and high must have {n} rows, got shape {np.shape(ends)}")
    return columns


def kinds(readings: Readings) -> Kinds:
    """Return the count of every kind of reading of the first response."""
    return Kinds(
        *(int(f[0].sum()) for f in
          (readings.exact, readings.above, readings.below, readings.inside))
    )  # fmt: skip


def cannot(scaled: Scaled) -> Flags:
    """Return for which responses (m,) too few coupons were read to estimate anything.

    p + 1 coupons that are not beyond a limit always leave one over to show scatter.
    """
    known = (scaled.readings.exact | scaled.readings.inside).sum(axis=1)
    return np.asarray(known < scaled.q.shape[1] + 1)


def refuse(scaled: Scaled) -> None:
    """Raise where the first response tells too little.

    Raises
    ------
    NotEstimable
        Every coupon beyond the limit, or fewer than p + 1 of them not beyond it.
    """
    found, p = kinds(scaled.readings), scaled.q.shape[1]
    n, known = found.total, found.exact + found.between
    side = "held at" if not found.below else "is at" if found.above else "is below"
    if known == 0:
        raise NotEstimable(
            f"every coupon {side} the limit, so no average and no scatter can be estimated; "
            + INSTEAD,
            hint="to tell them apart use a gauge that reaches further, or a smaller weld",
        )
    if cannot(scaled)[0]:
        raise NotEstimable(
            f"{n - known} of {n} coupons are beyond the gauge limit: the {known} that were read "
            f"cannot settle {p} coefficients and the scatter, which takes at least {p + 1}; "
            + INSTEAD,
            hint="leave a term out, or use a gauge that reaches further",
        )
    if not found.exact and _holds_all(scaled):
        raise NotEstimable(
            "the readings lie between stops so wide that one and the same value in each fits all "
            "of them: no scatter shows to judge by",
            hint="look at more stops, or read on",
        )


def _holds_all(scaled: Scaled) -> bool:
    """Whether some b puts x'b strictly inside every reading of the first response.

    The likelihood is then highest, 1, without any scatter, and says nothing of the scatter.
    """
    readings, q = scaled.readings, scaled.q
    upper, lower = np.isfinite(readings.high[0]), np.isfinite(readings.low[0])
    rows = np.vstack([q[upper], -q[lower]])
    found = optimize.linprog(
        np.append(np.zeros(q.shape[1]), -1.0),
        A_ub=np.column_stack([rows, np.ones(len(rows))]),
        b_ub=np.concatenate([readings.high[0][upper], -readings.low[0][lower]]),
        bounds=[(None, None)] * q.shape[1] + [(None, 1.0)],
    )
    return found.fun is not None and -float(found.fun) > 1e-7
