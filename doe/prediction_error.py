"""How well the fitted model will say what a setting gives: best, typical and worst over the region.

The variance of the fitted mean at a setting, averaged over the rounds (blocks) that were welded,
in coupon variances: x'(X'V⁻¹X)⁻¹x.  How much of the region lies below a value is counted over
settings spread evenly through what the rules allow.

References
----------
Zahran, Anderson-Cook & Myers (2003). Fraction of design space to assess prediction capability of
response surface designs. *Journal of Quality Technology* 35:377-386 (from memory).
Halton (1960). *Numerische Mathematik* 2:84-90 (the even spread; from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from weldtrial.doe.fitted import Fitted, variance_and_df
from weldtrial.doe.information import Matrix, t_quantile
from weldtrial.doe.region import allowed, combinations_of_levels, feasible_points
from weldtrial.shared.coding import Point, model_matrix
from weldtrial.shared.trial import Trial

SPREAD = 4000
"""Settings spread over the whole region, about."""
GRID = 4000
"""Settings on the grid on which best and worst are looked for first, about."""
FINEST = 1e-4
STARTS = 4
PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47)


@dataclass(frozen=True, slots=True)
class Place:
    """One setting and how well it is predicted.

    Attributes
    ----------
    point
        Its coded point.
    relative
        Variance of the fitted mean, in coupon variances.
    half_width
        Half of the 95 % interval of the fitted mean in the response's unit; None without a
        scatter to plan with, or without degrees of freedom.
    """

    point: Mapping[str, str | float]
    relative: float
    half_width: float | None


@dataclass(frozen=True, slots=True)
class PredictionError:
    """Prediction over the region that the rules allow.

    Attributes
    ----------
    best, worst
        Where the fitted mean is known best and worst: by half-width where every place has one
        (degrees of freedom differ from place to place where set-ups scatter), else by variance.
    typical, mean
        Median and mean variance over the region, in coupon variances.
    typical_half_width
        Median half-width over the region, None as for a place.
    quantiles
        The variance below which 0, 5, 10 … 100 % of the settings spread over the region lie.
    half_quantiles
        The same of half-widths; None without them.
    settings
        How many settings were spread over it.
    allowed
        Share of the whole box that the rules allow.
    """

    best: Place
    worst: Place
    typical: float
    mean: float
    typical_half_width: float | None
    quantiles: tuple[float, ...]
    half_quantiles: tuple[float, ...] | None
    settings: int
    allowed: float

    def share_below(self, relative: float) -> float:
        """Return the share of the region whose variance is below a value, between the quantiles."""
        return _share(relative, self.quantiles)

    def share_within(self, times: float, place: Place) -> float:
        """Return the share of the region whose error is below so many times that of a place.

        Errors are half-widths where there are any, else roots of variances.
        """
        if self.half_quantiles is not None and place.half_width is not None:
            return _share(times * place.half_width, self.half_quantiles)
        return self.share_below(times**2 * place.relative)


def _share(value: float, quantiles: Sequence[float]) -> float:
    steps = np.linspace(0.0, 1.0, len(quantiles))
    return float(np.interp(value, quantiles, steps, left=0.0, right=1.0))


def variances(trial: Trial, fit: Fitted, points: Sequence[Point]) -> tuple[Matrix, Matrix]:
    """Return the variance of the fitted mean at points, and its degrees of freedom.

    Returns
    -------
    Variances in coupon variances and degrees of freedom (0 for none), each of shape (points,).
    """
    coded = model_matrix(trial.varied, fit.terms, points).matrix[:, 1:]
    rows = np.hstack([np.full((len(points), fit.blocks), 1.0 / fit.blocks), coded])
    return variance_and_df(fit, rows)


def prediction_error(trial: Trial, fit: Fitted, coupon: float | None) -> PredictionError | None:
    """Return how well a design predicts over the region that the rules of the trial allow.

    Parameters
    ----------
    coupon
        Standard deviation of coupons (of one set-up); None when it is not known.

    Returns
    -------
    None where the rules leave no setting of the grid or the spread.
    """
    spread, share = spread_over(trial)
    numeric = [one.name for one in trial.varied if one.kind == "numeric"]
    grid = feasible_points(trial, _fineness(trial, len(numeric))) if numeric else ()
    if not spread:
        return None
    known, dfs = variances(trial, fit, spread)
    points = [*spread, *grid]
    by_width = coupon is not None and _all_judged(fit)
    errors = _errors(known, dfs, by_width=by_width)
    if grid:
        errors = np.concatenate([errors, _errors(*variances(trial, fit, grid), by_width=by_width)])
    asked = _Asked(trial, fit, tuple(numeric), by_width)
    worst = _refined(asked, points, errors, largest=True)
    best = _refined(asked, points, errors, largest=False)
    halves = [_half(float(v), float(df), coupon) for v, df in zip(known, dfs, strict=True)]
    sure = [one for one in halves if one is not None]
    steps = np.linspace(0, 1, 21)
    return PredictionError(
        best=_place(trial, fit, best, coupon),
        worst=_place(trial, fit, worst, coupon),
        typical=float(np.median(known)),
        mean=float(known.mean()),
        typical_half_width=float(np.median(sure)) if len(sure) == len(halves) else None,
        quantiles=tuple(float(one) for one in np.quantile(known, steps)),
        half_quantiles=tuple(float(one) for one in np.quantile(sure, steps))
        if len(sure) == len(halves)
        else None,
        settings=len(spread),
        allowed=share,
    )


def spread_over(trial: Trial) -> tuple[list[dict[str, str | float]], float]:
    """Return settings spread evenly over the region, and the share of the box that is allowed."""
    numeric = [one.name for one in trial.varied if one.kind == "numeric"]
    levels = list(combinations_of_levels(trial))
    each = max(64, SPREAD // len(levels)) if numeric else 1
    may = allowed(trial)
    rows = [[2 * _halton(at + 1, prime) - 1 for prime in PRIMES[: len(numeric)]]
            for at in range(each)]  # fmt: skip
    found: list[dict[str, str | float]] = []
    for under in levels:
        for row in rows:
            point: dict[str, str | float] = {**under}
            point |= dict(zip(numeric, row, strict=True))
            if may(point):
                found.append(point)
    return found, len(found) / (each * len(levels))


def _halton(number: int, base: int) -> float:
    """Return the place of a whole number in the sequence that fills 0 to 1 evenly."""
    value, part = 0.0, 1.0
    while number:
        number, digit = divmod(number, base)
        part /= base
        value += digit * part
    return value


def _fineness(trial: Trial, numeric: int) -> int:
    levels = len(list(combinations_of_levels(trial)))
    many = int((GRID / levels) ** (1 / numeric))
    # An odd number has the middle among its places.
    return 2 if many < 3 else min(21, many if many % 2 else many - 1)


@dataclass(frozen=True, slots=True, eq=False)
class _Asked:
    """What best and worst are looked for in, and whether by half-width or by variance."""

    trial: Trial
    fit: Fitted
    numeric: tuple[str, ...]
    by_width: bool

    def errors(self, points: Sequence[Point]) -> Matrix:
        return _errors(*variances(self.trial, self.fit, points), by_width=self.by_width)


def _all_judged(fit: Fitted) -> bool:
    """Tell whether every place has degrees of freedom to be judged by."""
    return fit.within_df > 0 and (fit.pulls is None or fit.between_df > 0)


def _errors(variance: Matrix, dfs: Matrix, *, by_width: bool) -> Matrix:
    """Return what places are compared by: squares of half-widths, or variances, up to a factor."""
    if not by_width:
        return variance
    different, where = np.unique(np.round(dfs, 6), return_inverse=True)
    quantiles = np.array([t_quantile(float(one)) if one > 0 else np.inf for one in different])
    return np.asarray(variance * quantiles[where.reshape(dfs.shape)] ** 2)


def _refined(asked: _Asked, points: Sequence[Point], values: Matrix, *, largest: bool) -> Point:
    """Return the point of the largest (or smallest) error, pressed on from the best few."""
    sign, numeric = (1.0 if largest else -1.0), asked.numeric
    order = np.argsort(-sign * np.round(values, 9), kind="stable")
    if not numeric:
        return points[int(order[0])]
    may = allowed(asked.trial)
    ways = _ways(len(numeric))
    ends: list[tuple[float, Point]] = []
    for start in order[:STARTS]:
        here, value, step = points[int(start)], float(values[start]), 0.25
        while step > FINEST:
            near = [one for one in _around(here, numeric, ways, step) if may(one)]
            found = asked.errors(near) * sign if near else np.empty(0)
            at = int(np.argmax(found)) if len(found) else 0
            if len(found) and found[at] > value * sign + 1e-12:
                here, value = near[at], float(found[at] * sign)
            else:
                step /= 2
        ends.append((value, here))
    return max(ends, key=lambda one: round(sign * one[0], 9))[1]


def _ways(many: int) -> Matrix:
    """Return directions: along each factor, and along every two at once, both ways."""
    eye = np.eye(many)
    rows = [sign * eye[one] for one in range(many) for sign in (1.0, -1.0)]
    rows += [
        a * eye[one] + b * eye[other]
        for one in range(many)
        for other in range(one)
        for a in (1.0, -1.0)
        for b in (1.0, -1.0)
    ]
    return np.array(rows)


def _around(
    point: Point, numeric: Sequence[str], ways: Matrix, step: float
) -> list[dict[str, str | float]]:
    here = np.array([float(point[name]) for name in numeric])
    near = np.clip(here + step * ways, -1.0, 1.0)
    return [{**point, **dict(zip(numeric, map(float, row), strict=True))} for row in near]


def _place(trial: Trial, fit: Fitted, point: Point, coupon: float | None) -> Place:
    value, df = (float(one[0]) for one in variances(trial, fit, [point]))
    return Place(dict(point), value, _half(value, df, coupon))


def _half(value: float, df: float, coupon: float | None) -> float | None:
    if coupon is None or df <= 0:
        return None
    return t_quantile(df) * coupon * sqrt(max(0.0, value))
