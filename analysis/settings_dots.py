"""Coupons as dots in a picture of settings, and the settings along its axes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from weldtrial.analysis.linear import Floats
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.optimum_asked import Fitted, Optimum
from weldtrial.analysis.settings_grid import real
from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor

ACROSS = 45
"""Places along each side of a map, and along a curve."""
NEAR = 0.25
"""Coded units within which a coupon counts as welded near a slice."""


@dataclass(frozen=True, slots=True)
class Dot:
    """One coupon in a picture, in real units.

    Attributes
    ----------
    beyond
        ``above`` or ``below`` where it went past a gauge limit, else empty.
    near
        Whether its other settings lie near those of the picture.
    """

    stamp: str
    x: float
    y: float
    beyond: str = ""
    near: bool = True


def axis_over(found: Optimum, factor: Factor, many: int) -> Floats:
    """Return coded values over what was welded, a little farther where that was asked for."""
    if found.asked.beyond:
        column = found.region.places.column(factor.name)
        coded = found.region.places.coded[:, column]
        return np.linspace(float(coded.min()), float(coded.max()), many)
    return np.linspace(*found.fitted.seen.span(factor), many)


def coupons_of(fitted: Fitted, levels: Mapping[str, str]) -> dict[str, Observation]:
    """Return every coupon of some levels once, by its stamp."""
    return {
        one.stamp: one
        for seen in fitted.measured
        for one in seen
        if all(one.levels[name] == at for name, at in levels.items())
    }


def is_near(one: Observation, point: Point, free: Sequence[str]) -> bool:
    """Tell whether a coupon's numeric settings, but for the free ones, lie near a point's."""
    return all(
        abs(float(one.point[name]) - float(value)) <= NEAR
        for name, value in point.items()
        if name not in free and not isinstance(value, str)
    )


def real_of(factor: Factor, coupon: Observation, levels: Mapping[str, str]) -> float:
    """Return a coupon's setting of a factor, in its unit."""
    return real(factor, float(coupon.point[factor.name]), levels.get(factor.slides_with or "", ""))


def beyond_of(one: Observation) -> str:
    """Return which way a coupon went past a gauge limit: ``above``, ``below`` or nothing."""
    if one.ends is None:
        return ""
    if one.high == float("inf"):
        return "above"
    return "below" if one.low == float("-inf") else ""
