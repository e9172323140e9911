"""One response along one setting, and how two settings work together on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from weldtrial.analysis.linear import Floats
from weldtrial.analysis.next_coupon import next_coupon
from weldtrial.analysis.optimum_asked import Fitted, Optimum
from weldtrial.analysis.settings_dots import (
    ACROSS,
    Dot,
    axis_over,
    beyond_of,
    is_near,
    real_of,
)
from weldtrial.analysis.settings_grid import places_at, real
from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.trial import Trial


@dataclass(frozen=True, slots=True, eq=False)
class SettingCurve:
    """One response along one factor under one combination of categories.

    Attributes
    ----------
    x, mean, low, high
        Real settings, fitted mean, and the interval of the next coupon; only where coupons were
        welded around.
    dots
        Every coupon of these levels.
    """

    levels: Mapping[str, str]
    factor: Factor
    response: str
    unit: str
    x: Floats
    mean: Floats
    low: Floats
    high: Floats
    dots: tuple[Dot, ...]
    fixed: Mapping[str, float]


def setting_curves(
    trial: Trial, found: Optimum, response: str, factor: str, confidence: float = 0.95
) -> tuple[SettingCurve, ...]:
    """Return one response along one factor, each category at its own best settings.

    The interval is for the next coupon in a fresh set-up (`weldtrial.analysis.next_coupon`).
    """
    fitted, surface = found.fitted, found.fitted.surface(response)
    one = trial.factor(factor)
    which = [each.response for each in fitted.surfaces].index(response)
    curves = []
    for pick in found.picks:
        point = (pick.best or pick.likeliest).choice.point
        settings = (pick.best or pick.likeliest).choice.settings
        axis = axis_over(found, one, ACROSS)
        line = places_at(fitted.seen.factors, [{**point, factor: float(x)} for x in axis])
        if not found.asked.beyond:
            line = line.at(fitted.seen.inside(line))
        points = line.points()
        low, high = next_coupon(found.ahead, line, which, confidence)
        owner = pick.levels.get(one.slides_with or "", "")
        curves.append(
            SettingCurve(
                pick.levels,
                one,
                response,
                surface.unit,
                np.array([real(one, float(p[factor]), owner) for p in points]),
                surface.mean(points),
                low,
                high,
                _dots(fitted, response, one, pick.levels, point),
                {
                    name: float(value)
                    for name, value in settings.items()
                    if name != factor and not isinstance(value, str)
                },
            )
        )
    return tuple(curves)


def _dots(
    fitted: Fitted, response: str, factor: Factor, levels: Mapping[str, str], point: Point
) -> tuple[Dot, ...]:
    return tuple(
        Dot(
            one.stamp,
            real_of(factor, one, levels),
            one.value,
            beyond_of(one),
            is_near(one, point, (factor.name,)),
        )
        for one in fitted.coupons(response)
        if all(one.levels[name] == at for name, at in levels.items())
    )


@dataclass(frozen=True, slots=True, eq=False)
class InteractionLine:
    """The fitted mean along one factor with the other held at one end, or at one level.

    Attributes
    ----------
    x
        Coded settings of the factor along the axis, or its settings where they slide with nothing.
    se
        Standard error of the mean, shape of `mean`.
    """

    label: str
    x: Floats
    mean: Floats
    se: Floats
    dots: tuple[Dot, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Interaction:
    """How two factors work together on one response, everything else at its middle."""

    response: str
    unit: str
    along: Factor
    other: Factor
    sliding: bool
    lines: tuple[InteractionLine, ...]


def interaction_of(trial: Trial, found: Fitted, response: str, pair: Sequence[str]) -> Interaction:
    """Return two factors' interaction; along the axis goes a numeric one.

    Categories that take no part are averaged over; a coupon goes with the line its own setting of
    the other factor is nearest to.
    """
    surface = found.surface(response)
    named = [trial.factor(name) for name in pair]
    along = next((one for one in reversed(named) if one.kind == "numeric"), named[1])
    other = next(one for one in named if one is not along)
    low, high = found.seen.span(along) if along.kind == "numeric" else (0.0, 0.0)
    axis = np.linspace(low, high, ACROSS)
    sliding = bool(along.slides_with) and along.slides_with != other.name
    ends: list[tuple[str, str | float]] = (
        [(level, level) for level in other.levels]
        if other.kind == "category"
        else [
            (_end(other, side, at), at)
            for side, at in zip(("low", "high"), found.seen.span(other), strict=True)
        ]
    )
    lines = []
    for label, at in ends:
        rows = _averaged(found, along, other, axis, at)
        matrix = np.mean([surface.rows(points) for points in rows], axis=0)
        mean = np.asarray(matrix @ surface.coefficients)
        se = np.sqrt(np.einsum("ij,jk,ik->i", matrix, surface.covariance, matrix))
        owner = str(at) if along.slides_with == other.name else ""
        x = axis if sliding else np.array([real(along, float(v), owner) for v in axis])
        lines.append(
            InteractionLine(label, x, mean, se, _with(found, response, along, other, at, sliding))
        )
    return Interaction(response, surface.unit, along, other, sliding, tuple(lines))


def _end(factor: Factor, side: str, coded: float) -> str:
    if factor.slides_with:
        return f"{side} {factor.title.lower()}"
    return f"{factor.title.lower()} {real(factor, coded):g} {factor.unit or ''}".strip()


def _averaged(
    found: Fitted, along: Factor, other: Factor, axis: Floats, at: str | float
) -> list[list[Point]]:
    """Return the points of a line, once for every level of the categories that take no part."""
    from itertools import product

    rest = [one for one in found.seen.factors if one.name not in (along.name, other.name)]
    groups = [one for one in rest if one.kind == "category"]
    middle: dict[str, str | float] = {one.name: 0.0 for one in rest if one.kind == "numeric"}
    for name in middle:
        factor = next(one for one in rest if one.name == name)
        low, high = found.seen.span(factor)
        middle[name] = (low + high) / 2
    return [
        [
            {**middle, **dict(zip((g.name for g in groups), levels, strict=True)),
             along.name: float(x), other.name: at}
            for x in axis
        ]
        for levels in product(*(g.levels for g in groups))
    ]  # fmt: skip


def _with(
    found: Fitted, response: str, along: Factor, other: Factor, at: str | float, sliding: bool
) -> tuple[Dot, ...]:
    low, high = found.seen.span(other) if other.kind == "numeric" else (0.0, 0.0)
    dots = []
    for one in found.coupons(response):
        where = one.point[other.name]
        if isinstance(at, str):
            mine = where == at
        else:
            mine = (float(where) > (low + high) / 2) == (at > (low + high) / 2)
        if mine:
            coded = float(one.point[along.name])
            owner = one.levels.get(along.slides_with or "", "")
            dots.append(
                Dot(one.stamp, coded if sliding else real(along, coded, owner), one.value,
                    beyond_of(one))
            )  # fmt: skip
    return tuple(dots)
