"""Each gas at its own best settings, compared with an interval that pays for the choosing.

The settings were chosen on the data that now compare them, so the usual interval is too short.
Here every difference between a setting of one level and a setting of the other is held at once:
|estimate - truth| <= c * standard error for all pairs, in 95 of 100 trials.  Then

- the difference *at the settings chosen* is covered, however they were chosen;
- the difference between the *true bests* (each level at whichever allowed settings are truly its
  best) lies between max min (estimate - c se) and max min (estimate + c se) over the pairs.

c is the 95 % point of the largest |t| over the pairs, simulated (Edwards & Berry 1987, Biometrics
43, 913-928: an upper limit of the simulated point is taken, so that simulation does not shorten
the interval), never above Scheffe's (1953, Biometrika 40, 87-104).  Where anything in the pairs
changes between set-ups only, the degrees of freedom are those of set-ups for all of them: timid,
never bold.
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
from weldtrial.analysis.joint_draws import anywhere, root_of
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.settings_grid import Places, places_at
from weldtrial.shared.coding import Point, model_matrix
from weldtrial.shared.problems import NotEstimable

DRAWS = 8000
THINNED = 100
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
    critical
        c; `scheffe` is what Scheffe would take, `alone` what a comparison fixed beforehand would.
    df
        Degrees of freedom behind all three.
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
    critical: float
    scheffe: float
    alone: float
    df: float

    @property
    def price(self) -> float:
        """How many times wider than an interval for settings fixed beforehand."""
        return self.critical / self.alone


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
    df = _df(surface, rows)
    critical, scheffe = _critical(surface.covariance, rows, df, confidence, draws, seed)
    difference, se = _pairs(surface, rows)
    at, half = float(difference[-1, -1]), float(critical * se[-1, -1])
    ends = [
        # max over ours of min over theirs; of -difference where lower is better.
        sign * float(np.max(np.min(sign * difference + side * critical * se, axis=1)))
        for side in (-1.0, 1.0)
    ]
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
        critical,
        scheffe,
        float(special.stdtrit(df, 0.5 + confidence / 2)),
        df,
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
    return _Side(numbers, _rows(surface, places.at(numbers).points()))


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


def _pairs(surface: FittedSurface, rows: list[Floats]) -> tuple[Floats, Floats]:
    """Return differences and standard errors of every pair, each (ours, theirs)."""
    ours, theirs = rows
    difference = (ours @ surface.coefficients)[:, None] - theirs @ surface.coefficients
    own = [np.einsum("ij,jk,ik->i", one, surface.covariance, one) for one in rows]
    square = own[0][:, None] + own[1] - 2 * ours @ surface.covariance @ theirs.T
    return difference, np.sqrt(np.maximum(square, 0.0))


def _df(surface: FittedSurface, rows: list[Floats]) -> float:
    """Return the degrees of freedom of all pairs: of set-ups where any pair needs them."""
    if surface.df_setup is None:
        return surface.df
    hard = {one.name for one in surface.factors if one.hard_to_change}
    matrix = model_matrix(surface.factors, surface.terms, [anywhere(surface.factors)])
    for term in surface.terms:
        columns = list(matrix.columns[term.name])
        moves = np.ptp(np.vstack([one[:, columns] for one in rows]), axis=0) > 0
        if term.factors <= hard and np.any(moves):
            return min(surface.df, surface.df_setup)
    return surface.df


def _critical(
    covariance: Floats, rows: list[Floats], df: float, confidence: float, draws: int, seed: int
) -> tuple[float, float]:
    """Return the simulated point of the largest |t| over pairs, and Scheffe's."""
    thin = [_spread_out(one, covariance) for one in rows]
    root = root_of(covariance)
    contrasts = (thin[0][:, None, :] - thin[1][None, :, :]).reshape(-1, len(covariance))
    rank = int(np.linalg.matrix_rank(contrasts @ root, tol=1e-9))
    if rank == 0:
        raise NotEstimable("the model says the same of both levels everywhere: nothing to compare")
    scheffe = sqrt(rank * float(special.fdtri(rank, df, confidence)))
    moved = [one @ root for one in thin]
    square = ((moved[0][:, None, :] - moved[1][None, :, :]) ** 2).sum(axis=2)
    weight = np.where(square > 1e-20, 1 / np.sqrt(np.maximum(square, 1e-20)), 0.0)
    rng = np.random.default_rng(seed)
    largest = np.empty(draws)
    for start in range(0, draws, BLOCK):
        z = rng.standard_normal((len(root), min(BLOCK, draws - start)))
        pairs = (moved[0] @ z)[:, None, :] - (moved[1] @ z)[None, :, :]
        largest[start : start + z.shape[1]] = np.max(
            np.abs(pairs) * weight[:, :, None], axis=(0, 1)
        )
    t = np.sort(largest * np.sqrt(df / rng.chisquare(df, draws)))
    # The order statistic that lies above the true point in 99 of 100 simulations.
    upper = confidence * draws + 2.33 * sqrt(draws * confidence * (1 - confidence))
    return min(float(t[min(draws - 1, int(upper))]), scheffe), scheffe


def _spread_out(rows: Floats, covariance: Floats) -> Floats:
    """Return up to `THINNED` rows, far apart in what is not known of them; the last is kept."""
    if len(rows) <= THINNED:
        return rows
    at = rows @ root_of(covariance)
    kept = [len(rows) - 1]
    distance = ((at - at[kept[0]]) ** 2).sum(axis=1)
    while len(kept) < THINNED and distance.max() > 1e-18:
        kept.append(int(np.argmax(distance)))
        distance = np.minimum(distance, ((at - at[kept[-1]]) ** 2).sum(axis=1))
    return rows[kept]
