"""How the coupons of a model lie in their set-ups, and where the likelihood puts the scatter.

A layout holds everything that does not depend on the response. With V = s2(I + g ZZ'), Z being
set-up membership, all matrices reduce to sums over set-ups, and the restricted likelihood needs
only one number per set-up contrast and one sum of squares from within the set-ups.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weldtrial.analysis.linear import Floats, centring, orthonormal_basis
from weldtrial.shared.problems import NotEstimable

LOWEST = 1e-6
"""Smallest allowed 1 + g n for the largest set-up: the bound -1/n itself is left open."""
HIGHEST_RATIO = 1e8
"""Largest set-up to coupon variance ratio that is searched."""
GRID = 160
"""Points at which the likelihood is compared before it is climbed."""
MOST_STEPS = 100
"""Newton or halving steps; halving alone needs about forty."""


@dataclass(frozen=True, slots=True, eq=False)
class SetupLayout:
    """A model matrix split into what lies between and what lies within the set-ups.

    Attributes
    ----------
    q, r
        Orthonormal basis (n, p) of the model matrix and its triangle (p, p), ``x = q @ r``.
    ones
        Coefficients of x that make a constant 1, or zeros; shape (p,).
    setup
        Set-up of every coupon as 0..k-1, shape (n,).
    sizes
        Coupons in every set-up, shape (k,).
    sums
        Basis columns summed over every set-up, shape (k, p).
    within
        Sums of products of the basis within set-ups, shape (p, p).
    spread
        Eigenvalues d of ZZ' among the residuals of the model, shape (df_setup,).
    contrasts
        Matching orthonormal residual contrasts between set-ups, shape (n, df_setup).
    contrast_sums
        The same summed over every set-up, shape (k, df_setup).
    """

    q: Floats
    r: Floats
    ones: Floats
    setup: np.ndarray[tuple[int], np.dtype[np.intp]]
    sizes: Floats
    sums: Floats
    within: Floats
    spread: Floats
    contrasts: Floats
    contrast_sums: Floats

    @property
    def df_setup(self) -> int:
        """Degrees of freedom left between set-ups: rank [X Z] - rank X."""
        return len(self.spread)

    @property
    def df_residual(self) -> int:
        """Coupons less coefficients."""
        n, p = self.q.shape
        return int(n - p)

    @property
    def df_within(self) -> int:
        """Degrees of freedom left within set-ups: n - rank [X Z]."""
        return self.df_residual - self.df_setup

    def totals(self, columns: Floats) -> Floats:
        """Columns of shape (n, m) summed over every set-up, shape (k, m)."""
        sums = np.zeros((len(self.sizes), columns.shape[1]))
        np.add.at(sums, self.setup, columns)
        return sums


def lay_out(x: ArrayLike, setup: ArrayLike) -> SetupLayout:
    """Reduce a model matrix (n, p) and the set-up of every coupon (n,) to a layout.

    Raises
    ------
    NotEstimable
        Columns repeat one another, or set-up scatter cannot be told from coupon scatter.
    """
    matrix, codes = np.asarray(x, dtype=float), np.asarray(setup)
    if matrix.ndim != 2 or codes.dtype.kind not in "iu":
        return _lay_out(matrix, codes)
    return _laid_out(matrix.tobytes(), matrix.shape, codes.astype(np.int64).tobytes())


@lru_cache(maxsize=64)
def _laid_out(matrix: bytes, shape: tuple[int, int], setup: bytes) -> SetupLayout:
    """Return the layout of the same columns and set-ups, kept: a trial is looked at often."""
    return _lay_out(np.frombuffer(matrix).reshape(shape), np.frombuffer(setup, dtype=np.int64))


def _lay_out(x: Floats, setup: NDArray[Any]) -> SetupLayout:
    q, r = orthonormal_basis(x)
    codes, where, counts = np.unique(np.asarray(setup), return_inverse=True, return_counts=True)
    if where.shape != (len(q),):
        raise ValueError(f"setup must name a set-up for each of {len(q)} rows")
    member = np.zeros((len(q), len(codes)))
    member[np.arange(len(q)), where] = 1.0
    sizes = counts.astype(float)
    sums = member.T @ q
    inside = q - (sums / sizes[:, None])[where]
    left = member - q @ sums.T
    values, vectors = np.linalg.eigh(left.T @ left)
    keep = values > 1e-9 * sizes.max()
    spread = values[keep]
    contrasts = left @ vectors[:, keep] / np.sqrt(spread)
    layout = SetupLayout(
        q=q,
        r=r,
        ones=centring(x),
        setup=where,
        sizes=sizes,
        sums=sums,
        within=inside.T @ inside,
        spread=spread,
        contrasts=contrasts,
        contrast_sums=member.T @ contrasts,
    )
    _refuse_unseparable(layout)
    return layout


def _refuse_unseparable(layout: SetupLayout) -> None:
    if layout.df_setup < 1:
        raise NotEstimable(
            "no set-up is left over to show how set-ups differ among themselves: "
            "the terms of the model use up every difference between set-ups",
            hint="set the same settings up again, or leave a term out",
        )
    if layout.df_within < 1:
        raise NotEstimable(
            "no coupon is left over within the set-ups to show how coupons differ",
            hint="with one coupon in every set-up the coupon is the set-up: use least squares",
        )


@dataclass(frozen=True, slots=True, eq=False)
class Scatter:
    """Restricted-likelihood estimates for m responses.

    Attributes
    ----------
    log_scale
        ln(1 + g n) for the largest set-up, g the variance ratio; shape (m,).
    coupon
        Coupon variance, shape (m,).
    iterations
        Steps taken after the grid.
    """

    log_scale: Floats
    coupon: Floats
    iterations: int


def inflation(share: Floats, log_scale: Floats) -> Floats:
    """1 + g n for sizes given as a share of the largest set-up, shape (m, len(share)).

    Written through ln(1 + g n_max), it stays accurate to the last digit at the bound.
    """
    return 1.0 - share + share * np.exp(log_scale)[:, None]


def maximise(layout: SetupLayout, y: Floats, noise: Floats) -> Scatter:
    """Maximise the restricted likelihood of every column of `y` (n, m) over the one ratio.

    The likelihood is compared on a grid that covers the whole range from the negative bound
    upwards (it can have two peaks), then climbed by Newton steps kept inside the best cell.
    Sums of squares up to `noise` (m,) count as nothing.

    Raises
    ------
    NotEstimable
        Coupons of one set-up read the same, so no finite ratio fits.
    """
    squares, inside, total = _sums_of_squares(layout, y)
    if np.any(_too_little(inside, total, noise)):
        raise NotEstimable(
            "coupons of one set-up read the same throughout: no coupon scatter to judge by",
            hint="average every set-up and compare the averages",
        )
    likelihood = _Likelihood(layout, squares / total[:, None], inside / total)
    log_scale, iterations = likelihood.climb()
    f = inflation(likelihood.share, log_scale)
    coupon = (inside + (squares / f).sum(axis=1)) / layout.df_residual
    return Scatter(log_scale, coupon, iterations)


def flat(layout: SetupLayout, y: Floats, noise: Floats) -> NDArray[np.bool_]:
    """Tell which columns of `y` (n, m) `maximise` would refuse, shape (m,)."""
    _, inside, total = _sums_of_squares(layout, y)
    return _too_little(inside, total, noise)


def _sums_of_squares(layout: SetupLayout, y: Floats) -> tuple[Floats, Floats, Floats]:
    """Residual squares of the contrasts between set-ups (m, df), inside them (m,), in all (m,)."""
    residual = y - layout.q @ (layout.q.T @ y)
    between = layout.contrasts.T @ residual
    inside = np.sum((residual - layout.contrasts @ between) ** 2, axis=0)
    squares = (between**2).T
    return squares, inside, inside + squares.sum(axis=1)


def _too_little(inside: Floats, total: Floats, noise: Floats) -> NDArray[np.bool_]:
    return np.asarray(inside <= np.maximum(noise, 1e-20 * total))


class _Likelihood:
    """-2 ln L(u) = sum ln f + N ln(inside + sum w^2 / f), with f = 1 + g d and u = ln(1 + g n)."""

    def __init__(self, layout: SetupLayout, squares: Floats, inside: Floats) -> None:
        largest = layout.sizes.max()
        self.share = layout.spread / largest
        self.squares, self.inside, self.df = squares, inside, layout.df_residual
        self.grid = np.linspace(np.log(LOWEST), np.log1p(HIGHEST_RATIO * largest), GRID)

    def climb(self) -> tuple[Floats, int]:
        """Position of the peak for every response, and the number of steps taken."""
        f = inflation(self.share, self.grid)
        height = np.log(f).sum(axis=1) + self.df * np.log(
            self.inside[:, None] + self.squares @ (1.0 / f).T
        )
        best = height.argmin(axis=1)
        low, high = self.grid[np.maximum(best - 1, 0)], self.grid[np.minimum(best + 1, GRID - 1)]
        u = self.grid[best]
        # A column that has arrived stays there, so that its neighbours cannot move its answer.
        still = (best == 0) & (self._slopes(u)[0] >= 0.0)
        for step in range(1, MOST_STEPS + 1):
            slope, curve = self._slopes(u)
            high, low = np.where(slope > 0.0, u, high), np.where(slope > 0.0, low, u)
            with np.errstate(divide="ignore", invalid="ignore"):
                newton = u - slope / curve
            good = (curve > 0.0) & (newton >= low) & (newton <= high)
            new = np.where(still, u, np.where(good, newton, 0.5 * (low + high)))
            still |= np.abs(new - u) < 1e-12
            u = new
            if still.all():
                return u, step
        return u, MOST_STEPS

    def _slopes(self, u: Floats) -> tuple[Floats, Floats]:
        """First and second derivative in u."""
        f = inflation(self.share, u)
        rise = f - (1.0 - self.share)
        first, weight = rise / f, self.squares / f
        total = self.inside + weight.sum(axis=1)
        down = -(weight * first).sum(axis=1) / total
        bend = (weight * first * (2.0 * first - 1.0)).sum(axis=1) / total
        slope = first.sum(axis=1) + self.df * down
        curve = (first * (1.0 - first)).sum(axis=1) + self.df * (bend - down**2)
        return slope, curve
