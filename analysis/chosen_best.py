"""Each gas at its own best settings, compared with an interval that pays for the choosing.

The settings were chosen on the data that now compare them, so the usual interval is too short.
Here every difference between a setting of one level and a setting of the other is held at once:
|estimate - truth| <= c * standard error for all pairs, in 95 of 100 trials.  Then

- the difference *at the settings chosen* is covered, however they were chosen;
- the difference between the *true bests* (each level at whichever allowed settings are truly its
  best) lies between max min (estimate - c se) and max min (estimate + c se) over the pairs.

How wide that has to be is worked out in `weldtrial.analysis.all_pairs`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import special

from weldtrial.analysis.all_pairs import DRAWS, all_pairs
from weldtrial.analysis.budget import ENOUGH_ROUNDS
from weldtrial.analysis.fitted import FittedSurface
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.settings_grid import Places, places_at
from weldtrial.shared.coding import Point, model_matrix
from weldtrial.shared.problems import NotEstimable


@dataclass(frozen=True, slots=True)
class BestOf:
    """The settings of one level that are compared."""

    level: str
    point: Point
    settings: Mapping[str, str | float]
    mean: float


@dataclass(frozen=True, slots=True)
class BestGap:
    """Two levels of a category, each at its own best settings.  Response unit throughout.

    Attributes
    ----------
    estimate, low, high
        `level` minus `reference` at the settings chosen; holds whatever they were chosen by.
    best_low, best_high
        The same for the true bests, over the allowed settings.
    between, within
        The two c; `between` is None where nothing compared changes between set-ups only.
    se
        Standard error at the settings chosen.
    alone
        Half-width of an interval for the same settings fixed beforehand, by Satterthwaite's df.
    """

    response: str
    unit: str
    level: BestOf
    reference: BestOf
    confidence: float
    estimate: float
    low: float
    high: float
    best_low: float
    best_high: float
    between: float | None
    within: float
    se: float
    alone: float

    @property
    def price(self) -> float:
        """How many times wider than an interval for settings fixed beforehand."""
        return (self.high - self.low) / 2 / self.alone


@dataclass(frozen=True, slots=True)
class Settling:
    """Fresh set-ups of both bests.

    Attributes
    ----------
    set_ups
        Of each level; `per_setup` coupons in each.
    half_width
        To expect of the 95 % interval of the difference, response unit.
    df
        Degrees of freedom it will have.
    """

    set_ups: int
    per_setup: int
    half_width: float
    df: int


def compare_bests(
    surface: FittedSurface,
    places: Places,
    category: str,
    level: str,
    reference: str,
    *,
    toward: Literal["higher", "lower"] = "higher",
    chosen: Mapping[str, Point] | None = None,
    confidence: float = 0.95,
    draws: int = DRAWS,
    seed: int = 1,
) -> BestGap:
    """Compare two levels, each at its own best settings.

    Parameters
    ----------
    places
        Allowed settings.  Where there are other categories, the best is taken over them too.
    chosen
        By level: the settings chosen (by any rule); without it, those with the best fitted mean.

    Raises
    ------
    NotEstimable
        When one of the levels has no allowed settings, or nothing differs between them.
    """
    sign = 1.0 if toward == "higher" else -1.0
    ours, theirs = (_of(surface, places, category, one) for one in (level, reference))
    picked = [
        _picked(surface, places, one, (chosen or {}).get(name), sign)
        for name, one in ((level, ours), (reference, theirs))
    ]
    rows = [
        np.vstack([one.rows, row]) for one, (_, row) in zip((ours, theirs), picked, strict=True)
    ]
    pairs = all_pairs(surface, rows, confidence, draws, seed)
    at, half = float(pairs.difference[-1, -1]), float(pairs.half[-1, -1])
    ends = [
        # max over ours of min over theirs; of -difference where lower is better.
        sign * float(np.max(np.min(sign * pairs.difference + side * pairs.half, axis=1)))
        for side in (-1.0, 1.0)
    ]
    between, within = float(pairs.between[-1, -1]), float(pairs.within[-1, -1])
    return BestGap(
        surface.response,
        surface.unit,
        _best(surface, places, level, picked[0][0]),
        _best(surface, places, reference, picked[1][0]),
        confidence,
        at,
        at - half,
        at + half,
        min(ends),
        max(ends),
        pairs.c_between,
        pairs.c_within,
        sqrt(between + within),
        _alone(surface, between, within, confidence),
    )


def settling(
    surface: FittedSurface, per_setup: int, most: int = 12, confidence: float = 0.95
) -> tuple[Settling, ...]:
    """Return what fresh set-ups of both bests would show, from 2 set-ups of each upwards.

    By two samples of set-up means; the scatter is taken as this trial found it.
    """
    found = []
    for count in range(2, most + 1):
        df = 2 * count - 2
        variance = surface.sd_setup**2 + surface.sd_coupon**2 / per_setup
        half = float(special.stdtrit(df, 0.5 + confidence / 2)) * sqrt(2 * variance / count)
        found.append(Settling(count, per_setup, half, df))
    return tuple(found)


def fewest_to_settle(rows: tuple[Settling, ...], margin: float) -> Settling | None:
    """Return the first row whose half-width is within `margin`, None where none is.

    Never fewer set-ups of each than a verdict needs to begin with "Shown".
    """
    enough = (one for one in rows if one.set_ups >= ENOUGH_ROUNDS)
    return next((one for one in enough if one.half_width <= margin), None)


@dataclass(frozen=True, slots=True, eq=False)
class _Side:
    numbers: NDArray[np.intp]
    rows: Floats


def _of(surface: FittedSurface, places: Places, category: str, level: str) -> _Side:
    numbers = np.flatnonzero(places.of({category: level}))
    if not len(numbers):
        raise NotEstimable(f"no allowed settings are left under {category} = {level}")
    return _Side(numbers, _rows(surface, tuple(places.point(int(one)) for one in numbers)))


def _rows(surface: FittedSurface, points: tuple[Point, ...]) -> Floats:
    return np.asarray(model_matrix(surface.factors, surface.terms, points).matrix)


def _picked(
    surface: FittedSurface, places: Places, side: _Side, chosen: Point | None, sign: float
) -> tuple[Point, Floats]:
    if chosen is None:
        chosen = places.point(int(side.numbers[np.argmax(sign * side.rows @ surface.coefficients)]))
    return chosen, _rows(surface, (chosen,))[0]


def _best(surface: FittedSurface, places: Places, level: str, point: Point) -> BestOf:
    settings = places_at(places.factors, [point]).settings(0)
    return BestOf(level, point, settings, float(surface.mean([point])[0]))


def _alone(surface: FittedSurface, between: float, within: float, confidence: float) -> float:
    """Return the half-width for settings fixed beforehand, by Satterthwaite's df."""
    total = between + within
    parts = within**2 / surface.df + between**2 / (surface.df_setup or surface.df)
    df = total**2 / parts if parts > 0 else surface.df
    return float(special.stdtrit(df, 0.5 + confidence / 2)) * sqrt(total)
