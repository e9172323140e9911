"""Which settings may be spoken of: those the machine can be set to, that the rules allow and that
coupons enclose.

Extrapolation has to be asked for.  A place counts as seen when the coupons welded at its level of
every category enclose it (`weldtrial.analysis.inside`); where these are too few to enclose
anything, the coupons of all levels do, in coded units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from weldtrial.analysis.inside import Welded, welded_at
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.settings_grid import Mask, Places, combinations_of
from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.limit_box import keeps
from weldtrial.shared.limit_rules import Rule

BEYOND = 0.25
"""How far past what was welded a grid goes when extrapolation is asked for, coded units."""
MARGIN = 1e-9
OVERSHOT = 0.1
"""How far a step of the machine may overshoot that, coded units."""
_STEPS = {1: 41, 2: 21, 3: 9, 4: 6, 5: 4}
_GOAL_STEPS = {1: 41, 2: 41, 3: 21, 4: 11, 5: 9}
MOST_LEVELS = 7
"""Settings of one factor beyond which those welded get no place of their own on a grid."""


@dataclass(frozen=True, slots=True)
class Lost:
    """Places of one combination of categories that are not spoken of.

    Attributes
    ----------
    laid
        All of the grid.
    ruled_out
        Forbidden by the rules of the trial.
    unseen
        Allowed, but outside what was welded (0 where extrapolation was asked for).
    """

    levels: Mapping[str, str]
    laid: int
    ruled_out: int
    unseen: int


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """The places that are spoken of.

    Attributes
    ----------
    beyond
        Which of them lie outside what was welded, shape (m,); none unless it was asked for.
    """

    places: Places
    beyond: Mask
    lost: tuple[Lost, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What was welded, level by level.

    Attributes
    ----------
    factors
        Varied factors.
    points
        Coded points of the coupons.
    alone
        Factors of one level (an own setting that shifts with the gas), which rules and costs name.
    """

    factors: tuple[Factor, ...]
    points: tuple[Point, ...]
    alone: tuple[Factor, ...] = ()

    def whole(self, settings: Mapping[str, str | float]) -> dict[str, str | float]:
        """Return settings with those of the factors that have one level only."""
        found = dict(settings)
        for one in self.alone:
            owner = str(found.get(one.slides_with or "", ""))
            level = one.levels[0]
            found[one.name] = level if one.kind == "category" else one.setting(level, owner)
        return found

    def allowed(self, places: Places, rules: Sequence[Rule]) -> Mask:
        """Return which places keep every rule, shape (m,)."""
        kept = [keeps(rules, self.whole(places.settings(one))) for one in range(len(places))]
        return np.array(kept, dtype=bool)

    @property
    def numeric(self) -> tuple[Factor, ...]:
        """The numeric factors."""
        return tuple(one for one in self.factors if one.kind == "numeric")

    def coded(self, levels: Mapping[str, str] | None = None) -> Floats:
        """Return the coded settings welded at levels, shape (n, k); all of them without."""
        mine = [
            one
            for one in self.points
            if levels is None or all(one[name] == at for name, at in levels.items())
        ]
        rows = [[float(one[factor.name]) for factor in self.numeric] for one in mine]
        return np.array(rows, dtype=float).reshape(len(rows), len(self.numeric))

    def span(self, factor: Factor) -> tuple[float, float]:
        """Return the lowest and the highest coded setting welded of a numeric factor."""
        values = [float(one[factor.name]) for one in self.points]
        return (min(values), max(values)) if values else (-1.0, 1.0)

    def values(self, factor: Factor) -> tuple[float, ...]:
        """Return the coded settings welded of a numeric factor; none where they are many."""
        found = sorted({round(float(one[factor.name]), 9) for one in self.points})
        return tuple(found) if len(found) <= MOST_LEVELS else ()

    def depth(self, point: Point) -> float:
        """Return how far inside what was welded a point lies, coded units; below 0 outside."""
        if not self.numeric:
            return 1.0
        levels = {one.name: str(point[one.name]) for one in self.factors if one.kind == "category"}
        row = np.array([float(point[one.name]) for one in self.numeric])
        return float(self._hull(levels).depth(row)[0])

    def inside(self, places: Places) -> Mask:
        """Return which places coupons enclose, shape (m,)."""
        found = np.ones(len(places), dtype=bool)
        if not self.numeric:
            welded = [tuple(one.items()) for one in self.points]
            return np.array([tuple(places.point(i).items()) in welded for i in range(len(places))])
        for which, levels in enumerate(places.levels):
            rows = np.flatnonzero(places.which == which)
            if len(rows):
                found[rows] = self._hull(levels).inside(places.coded[rows])
        return found

    def _hull(self, levels: Mapping[str, str]) -> Welded:
        mine, whole = self.coded(levels), self.coded()
        return welded_at(mine if _fills(mine) or not _fills(whole) else whole)


def _fills(points: Floats) -> bool:
    """Tell whether points enclose anything: they lie in no plane."""
    if len(points) <= points.shape[1]:
        return False
    rank = np.linalg.matrix_rank(points - points.mean(axis=0), tol=1e-6)
    return bool(rank == points.shape[1])


def lay_region(
    seen: Seen,
    rules: Sequence[Rule],
    *,
    goal: str = "",
    fixed: Mapping[str, float] | None = None,
    levels: Mapping[str, str] | None = None,
    beyond: bool = False,
    steps: Mapping[str, int] | None = None,
) -> Region:
    """Lay a grid of settings that the machine can be set to.

    Parameters
    ----------
    rules
        What settings must keep.
    goal
        A numeric factor that gets a finer grid.
    fixed
        Numeric factors held at one setting, in their unit.
    levels
        Categories held at one level.
    beyond
        Whether to go past what was welded, by `BEYOND`, and over corners that no coupons enclose.
    steps
        Values of a numeric factor; a usual number for those not named.
    """
    laid = _grid(seen, goal, fixed or {}, levels or {}, steps or {}, BEYOND if beyond else 0.0)
    allowed = seen.allowed(laid, rules)
    inside = seen.inside(laid)
    kept = allowed if beyond else allowed & inside
    lost = tuple(
        Lost(
            at,
            int((laid.which == which).sum()),
            int(((laid.which == which) & ~allowed).sum()),
            int(((laid.which == which) & allowed & ~kept).sum()),
        )
        for which, at in enumerate(laid.levels)
        if np.any(laid.which == which)
    )
    return Region(laid.at(kept), ~inside[kept], lost)


def _grid(
    seen: Seen,
    goal: str,
    fixed: Mapping[str, float],
    held: Mapping[str, str],
    steps: Mapping[str, int],
    further: float,
) -> Places:
    numeric = seen.numeric
    free = min(5, max(1, sum(one.name not in fixed for one in numeric)))
    combinations = combinations_of(seen.factors)
    which, coded = [], []
    for number, levels in enumerate(combinations):
        if any(levels.get(name) != at for name, at in held.items()):
            continue
        axes = []
        for one in numeric:
            owner = levels.get(one.slides_with or "", "")
            many = steps.get(one.name) or (_GOAL_STEPS if one.name == goal else _STEPS)[free]
            low, high = seen.span(one)
            axes.append(
                [one.coded(fixed[one.name], owner)]
                if one.name in fixed
                else axis_of(
                    one,
                    owner,
                    low - further,
                    high + further,
                    many,
                    seen.values(one),
                    OVERSHOT if further else MARGIN,
                )
            )
        rows = list(product(*axes))
        coded += rows
        which += [number] * len(rows)
    return Places(
        seen.factors,
        combinations,
        np.array(which, dtype=np.int64),
        np.array(coded, dtype=float).reshape(len(which), len(numeric)),
    )


def axis_of(
    factor: Factor,
    owner: str,
    low: float,
    high: float,
    many: int,
    welded: Sequence[float] = (),
    slack: float = MARGIN,
) -> list[float]:
    """Return coded values of a factor, evenly from low to high, that the machine can be set to.

    Values that were welded are among them; the machine's steps overshoot the ends by at most
    `slack`, coded units.
    """
    by_itself = factor.used_as_is or factor.half_range(owner) == 0
    if not by_itself and min(factor.settings[_key(factor, owner)]) >= 0:
        # A range that starts at or above nothing is not carried on below it.
        low = max(low, factor.coded(0.0, owner))
    asked = sorted({*(float(one) for one in np.linspace(low, high, max(2, many))), *welded})
    if by_itself:
        return asked
    found = {factor.coded(factor.settable(one, owner), owner) for one in asked}
    kept = sorted(one for one in found if low - slack <= one <= high + slack)
    return kept or asked[:1]


def _key(factor: Factor, owner: str) -> str:
    return owner if factor.slides_with else ""
