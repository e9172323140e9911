"""Whether a setting lies inside what was welded: ranges, largest radius and convex hull.

Inside its ranges a corner may still be far from every coupon, as where a rule forbade it or a
design has none there; the convex hull of the coupons is what they enclose.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from math import inf

import numpy as np
from numpy.typing import NDArray
from scipy import optimize
from scipy.spatial import ConvexHull, QhullError

from weldtrial.analysis.linear import Floats

NEAR_EDGE = 0.05
"""How deep inside what was welded a setting still counts as on its edge, coded units."""
TOUCHING = 1e-6
"""Coded units within which a point lies on the edge."""
FLAT = 1e-9
MOST_FOR_HULL = 6
"""Coordinates up to which the faces of the hull are worked out; above, each point is asked."""

Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a point lies against what was welded.

    Attributes
    ----------
    in_ranges
        Whether every coordinate lies between the lowest and the highest welded.
    in_hull
        Whether coupons enclose it: it is an average, with weights, of settings that were welded.
    radius, largest
        Its distance from the coded centre, and that of the farthest coupon.
    at_low, at_high
        Coordinates that lie at the lowest or highest welded, or beyond.
    on_edge
        Whether it lies on the edge of the hull, or outside.
    """

    in_ranges: bool
    in_hull: bool
    radius: float
    largest: float
    at_low: tuple[int, ...]
    at_high: tuple[int, ...]
    on_edge: bool

    @property
    def inside(self) -> bool:
        """Whether anything may be said there without asking for it."""
        return self.in_ranges and self.in_hull


@dataclass(frozen=True, eq=False)
class Welded:
    """The coupons of one combination of categories, in coded coordinates (n, k).

    Without slots, so that the faces of the hull are worked out once and kept.
    """

    points: Floats = field(repr=False)

    @property
    def low(self) -> Floats:
        """Lowest welded of each coordinate, shape (k,); not a number without coupons."""
        return self._bounds[0]

    @property
    def high(self) -> Floats:
        """Highest welded of each coordinate, shape (k,)."""
        return self._bounds[1]

    @cached_property
    def _bounds(self) -> tuple[Floats, Floats]:
        if not len(self.points):
            nothing = np.full(self.points.shape[1], np.nan)
            return nothing, nothing
        return self.points.min(axis=0), self.points.max(axis=0)

    @property
    def centre(self) -> Floats:
        """Middle of the ranges welded, shape (k,)."""
        return np.asarray((self.low + self.high) / 2)

    @property
    def largest(self) -> float:
        """Distance of the farthest coupon from the coded centre."""
        return float(np.linalg.norm(self.points, axis=1).max()) if len(self.points) else 0.0

    def inside(self, x: Floats) -> Flags:
        """Return whether coupons enclose each of the points x (m, k), shape (m,).

        What the hull encloses lies within ranges and largest radius too.
        """
        return np.asarray(self.depth(np.atleast_2d(x)) >= -TOUCHING)

    def depth(self, x: Floats) -> Floats:
        """Return how far inside the hull the points x (m, k) lie, coded units; below 0 outside.

        Where coupons lie in a plane or on a line the depth is taken in it, and a point off it is
        outside by its distance.
        """
        x = np.atleast_2d(np.asarray(x, dtype=float))
        if not len(self.points):
            return np.full(len(x), -inf)
        origin, span = self._span
        moved = x - origin
        inner = moved @ span.T
        off = np.linalg.norm(moved - inner @ span, axis=1)
        deep = self._depth_in_span(inner)
        return np.asarray(np.where(off > TOUCHING, -np.hypot(off, np.minimum(deep, 0.0)), deep))

    @cached_property
    def _span(self) -> tuple[Floats, Floats]:
        """Middle of the coupons and an orthonormal basis of the space they span."""
        origin = self.points.mean(axis=0)
        _, lengths, rows = np.linalg.svd(self.points - origin, full_matrices=False)
        return origin, rows[lengths > FLAT * max(1.0, float(lengths.max(initial=0.0)))]

    @cached_property
    def _faces(self) -> Floats:
        """Faces of the hull as (outward normal, offset); none where they are too many to list."""
        origin, span = self._span
        inner = np.unique(np.round((self.points - origin) @ span.T, 12), axis=0)
        if len(span) == 1:
            return np.array([[1.0, -inner.max()], [-1.0, inner.min()]])
        if len(span) > MOST_FOR_HULL:
            return np.empty((0, 0))
        try:
            return np.asarray(ConvexHull(inner).equations)
        except QhullError:
            return np.empty((0, 0))

    def _depth_in_span(self, inner: Floats) -> Floats:
        if not inner.shape[1]:
            return np.zeros(len(inner))
        faces = self._faces
        if not len(faces):
            return np.array([self._asked(row) for row in inner])
        return np.asarray(-(inner @ faces[:, :-1].T + faces[:, -1]).max(axis=1))

    def _asked(self, row: Floats) -> float:
        """Return how far a point lies from the hull by linear programming.

        The share t of the way from the middle by which it could be moved out and stay inside; the
        middle lies inside, so that t - 1 has the sign of the depth.
        """
        origin, span = self._span
        inner = (self.points - origin) @ span.T
        n = len(inner)
        equal = np.vstack([np.column_stack([inner.T, -row]), np.append(np.ones(n), 0.0)])
        found = optimize.linprog(
            np.append(np.zeros(n), -1.0),
            A_eq=equal,
            b_eq=np.append(np.zeros(len(row)), 1.0),
            bounds=[(0, None)] * n + [(0, 1e6)],
        )
        share = 0.0 if found.fun is None else -float(found.fun)
        return (share - 1.0) * float(np.linalg.norm(row)) if np.any(row) else 1.0

    def place(self, x: Floats) -> Place:
        """Return where a point x (k,) lies."""
        deep = float(self.depth(x)[0])
        low, high = self.low, self.high
        return Place(
            in_ranges=bool(np.all(x >= low - TOUCHING) and np.all(x <= high + TOUCHING)),
            in_hull=deep >= -TOUCHING,
            radius=float(np.linalg.norm(x)),
            largest=self.largest,
            at_low=tuple(int(i) for i in np.flatnonzero(x <= low + TOUCHING)),
            at_high=tuple(int(i) for i in np.flatnonzero(x >= high - TOUCHING)),
            on_edge=deep <= TOUCHING,
        )

    def reach(self, x: Floats, direction: Floats) -> float:
        """Return how far from x (k,), inside, one can go along a direction (k,) and stay inside."""
        unit = direction / np.linalg.norm(direction)
        origin, span = self._span
        start, ahead = (x - origin) @ span.T, unit @ span.T
        if not self.inside(x)[0] or np.linalg.norm(unit - ahead @ span) > TOUCHING:
            return 0.0
        if len(faces := self._faces):
            rise = faces[:, :-1] @ ahead
            gap = np.maximum(0.0, -(faces[:, :-1] @ start + faces[:, -1]))
            return float((gap[rise > FLAT] / rise[rise > FLAT]).min())
        far, near = 2 * (self.largest + float(np.linalg.norm(x))) + 1.0, 0.0
        for _ in range(40):
            middle = (near + far) / 2
            if self.inside(x + middle * unit)[0]:
                near = middle
            else:
                far = middle
        return near

    def scattered(self, count: int = 4096) -> Floats:
        """Return points spread evenly over what coupons enclose, at most `count`; the same always.

        Spread over the box of the ranges, those outside the hull left out.
        """
        if not len(self.points):
            return self.points
        box = self.low + evenly(count, self.points.shape[1]) * (self.high - self.low)
        return np.asarray(box[self.inside(box)])


def evenly(count: int, k: int) -> Floats:
    """Return points spread evenly over the unit cube in k dimensions, shape (count, k).

    Multiples of irrational steps, the powers of the root of x^(k+1) = x + 1, less whole numbers
    (Kronecker's sequence; the steps are those of M. Roberts, 2018, from memory).
    """
    root = 2.0
    for _ in range(60):
        root = (1.0 + root) ** (1.0 / (k + 1))
    steps = root ** -np.arange(1.0, k + 1)
    return np.asarray((0.5 + np.arange(count)[:, None] * steps) % 1.0)


@lru_cache(maxsize=64)
def _kept(data: bytes, k: int) -> Welded:
    return Welded(np.frombuffer(data).reshape(-1, k))


def welded_at(points: Floats) -> Welded:
    """Return what was welded at coded points (n, k); the faces of its hull are worked out once."""
    return _kept(np.ascontiguousarray(points, dtype=np.float64).tobytes(), points.shape[1])
