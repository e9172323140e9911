"""Each gas at its own best settings, compared with an interval that pays for the choosing.

The settings were chosen on the data that now compare them, so the usual interval is too short.
Here every difference between a setting of one level and a setting of the other is held at once:
|estimate - truth| <= c * standard error for all pairs, in 95 of 100 trials.  Then

- the difference *at the settings chosen* is covered, however they were chosen;
- the difference between the *true bests* (each level at whichever allowed settings are truly its
  best) lies between max min (estimate - c se) and max min (estimate + c se) over the pairs.

The pairs differ in what changes between set-ups (the gas) and in what changes within them (the
settings), each judged by its own scatter, so the half-width is the root of c_between^2 times the
variance of the one part plus c_within^2 times that of the other (Banerjee 1961, Biometrika 48, 465-
468, who shows that a single such interval covers at least its level whatever the ratio; carried
here to many pairs, and measured: tests/promises/test_chosen_best.py).  Each c is the 95 % point of
the largest |t| of its part over the pairs, simulated (Edwards & Berry 1987, Biometrics 43, 913-928:
an upper limit of the simulated point is taken, so that simulation does not shorten the interval),
never above Scheffe's (1953, Biometrika 40, 87-104).  Papers from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import special

from weldtrial.analysis.fitted import FittedSurface
from weldtrial.analysis.joint_draws import between_columns, root_of
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.settings_grid import Places, places_at
from weldtrial.shared.coding import Point, model_matrix
from weldtrial.shared.problems import NotEstimable

DRAWS = 4000
THINNED = 64
"""Settings of each level among which the largest |t| is looked for, spread out."""
BLOCK = 200


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
    pairs = _pairs(surface, rows, confidence, draws, seed)
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
    """Return the first row whose half-width is within `margin`, None where none is."""
    return next((one for one in rows if one.half_width <= margin), None)


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


@dataclass(frozen=True, slots=True, eq=False)
class _Pairs:
    """Differences of all pairs, their variance in two parts, their half-widths; (ours, theirs)."""

    difference: Floats
    between: Floats
    within: Floats
    half: Floats
    c_between: float | None
    c_within: float


def _pairs(
    surface: FittedSurface, rows: list[Floats], confidence: float, draws: int, seed: int
) -> _Pairs:
    ours, theirs = rows
    difference = (ours @ surface.coefficients)[:, None] - theirs @ surface.coefficients
    hard = between_columns(surface)
    total = _variances(rows, surface.covariance)
    if not np.any(total > 0):
        raise NotEstimable("the model says the same of both levels everywhere: nothing to compare")
    parts = [_variances([one * kept for one in rows], surface.covariance) for kept in (hard, ~hard)]
    # Unbalanced, the two parts are not quite apart: their sum is brought to the whole.
    whole = np.maximum(parts[0] + parts[1], 1e-300)
    between, within = (part * total / whole for part in parts)
    critical = [
        _critical(surface, [one * kept for one in rows], df, confidence, draws, seed)
        for kept, df in ((hard, surface.df_setup or surface.df), (~hard, surface.df))
    ]
    half = np.sqrt(critical[0] ** 2 * between + critical[1] ** 2 * within)
    return _Pairs(difference, between, within, half, critical[0] or None, critical[1])


def _variances(rows: list[Floats], covariance: Floats) -> Floats:
    """Return the variance of every difference, shape (ours, theirs)."""
    ours, theirs = rows
    own = [np.einsum("ij,jk,ik->i", one, covariance, one) for one in rows]
    square = own[0][:, None] + own[1] - 2 * ours @ covariance @ theirs.T
    return np.asarray(np.maximum(square, 0.0))


def _alone(surface: FittedSurface, between: float, within: float, confidence: float) -> float:
    """Return the half-width for settings fixed beforehand, by Satterthwaite's df."""
    total = between + within
    parts = within**2 / surface.df + between**2 / (surface.df_setup or surface.df)
    df = total**2 / parts if parts > 0 else surface.df
    return float(special.stdtrit(df, 0.5 + confidence / 2)) * sqrt(total)


def _critical(
    surface: FittedSurface,
    rows: list[Floats],
    df: float,
    confidence: float,
    draws: int,
    seed: int,
) -> float:
    """Return the simulated point of the largest |t| over pairs, at most Scheffe's."""
    root = root_of(surface.covariance)
    moved = [_spread_out(one @ root) for one in rows]
    contrasts = (moved[0][:, None, :] - moved[1][None, :, :]).reshape(-1, len(root))
    largest_part = float(np.abs(contrasts).max())
    rank = int(np.linalg.matrix_rank(contrasts, tol=1e-9 * largest_part)) if largest_part else 0
    if rank == 0:
        return 0.0
    scheffe = sqrt(rank * float(special.fdtri(rank, df, confidence)))
    if rank == 1:
        return scheffe
    square = ((moved[0][:, None, :] - moved[1][None, :, :]) ** 2).sum(axis=2)
    tiny = 1e-14 * square.max()
    weight = np.where(square > tiny, 1 / np.sqrt(np.maximum(square, tiny)), 0.0)
    rng = np.random.default_rng(seed)
    largest = np.empty(draws)
    for start in range(0, draws, BLOCK):
        z = rng.standard_normal((len(root), min(BLOCK, draws - start)))
        t = np.abs((moved[0] @ z)[:, None, :] - (moved[1] @ z)[None, :, :]) * weight[:, :, None]
        largest[start : start + z.shape[1]] = np.max(t, axis=(0, 1))
    points = np.sort(largest * np.sqrt(df / rng.chisquare(df, draws)))
    # The order statistic that lies above the true point in 99 of 100 simulations.
    upper = confidence * draws + 2.33 * sqrt(draws * confidence * (1 - confidence))
    return min(float(points[min(draws - 1, int(upper))]), scheffe)


def _spread_out(at: Floats) -> Floats:
    """Return up to `THINNED` rows, far apart from one another; the last is among them."""
    if len(at) <= THINNED:
        return at
    kept = [len(at) - 1]
    distance = ((at - at[kept[0]]) ** 2).sum(axis=1)
    while len(kept) < THINNED and distance.max() > 1e-18:
        kept.append(int(np.argmax(distance)))
        distance = np.minimum(distance, ((at - at[kept[-1]]) ** 2).sum(axis=1))
    return np.asarray(at[kept])
