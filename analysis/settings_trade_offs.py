"""Trade-offs for pictures: two responses against each other, and what certainty costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from weldtrial.analysis.linear import Floats
from weldtrial.analysis.optimum_asked import Fitted, Optimum
from weldtrial.analysis.pareto import not_beaten
from weldtrial.analysis.settings_dots import (
    Dot,
    beyond_of,
)
from weldtrial.analysis.settings_grid import Places
from weldtrial.analysis.window import best
from weldtrial.shared.trial import Trial

SHARES = tuple(round(0.50 + 0.01 * step, 2) for step in range(50))
"""Asked chances along which the price of certainty is drawn."""


@dataclass(frozen=True, slots=True, eq=False)
class TradeOff:
    """Two responses against each other under one combination of categories.

    Attributes
    ----------
    x, y
        Fitted means of the settings that none beats in the two, shape (f,).
    dots
        Every coupon read for both.
    """

    levels: Mapping[str, str]
    x: Floats
    y: Floats
    dots: tuple[Dot, ...]


def trade_offs(trial: Trial, found: Optimum, first: str, second: str) -> tuple[TradeOff, ...]:
    """Return the settings that none beats in two responses, gas by gas, and the raw coupons."""
    fitted, places = found.fitted, found.region.places
    higher = [trial.response(name).better == "higher" for name in (first, second)]
    return tuple(
        _trade_off(fitted, places, pick.levels, (first, second), higher) for pick in found.picks
    )


def _trade_off(
    fitted: Fitted,
    places: Places,
    levels: Mapping[str, str],
    names: tuple[str, str],
    higher: Sequence[bool],
) -> TradeOff:
    mine = places.at(places.of(levels))
    points = mine.points()
    values = np.column_stack([fitted.surface(name).mean(points) for name in names])
    front = values[not_beaten(values, higher)]
    read = [{one.stamp: one for one in fitted.coupons(name)} for name in names]
    dots = tuple(
        Dot(stamp, one.value, read[1][stamp].value, beyond_of(one) or beyond_of(read[1][stamp]))
        for stamp, one in read[0].items()
        if stamp in read[1] and all(one.levels[name] == at for name, at in levels.items())
    )
    return TradeOff(levels, front[:, 0], front[:, 1], dots)


@dataclass(frozen=True, slots=True, eq=False)
class Price:
    """How far the goal can be pushed at each asked chance; not a number where none reaches it."""

    levels: Mapping[str, str]
    share: Floats
    goal: Floats


def price_of_certainty(found: Optimum) -> tuple[Price, ...]:
    """Return the best goal at each asked chance, category by category."""
    prices = []
    for pick in found.picks:
        among = found.window.places.of(pick.levels)
        goals = []
        for share in SHARES:
            choice = best(found.window, keep=share, among=among)
            goals.append(np.nan if choice is None else choice.value)
        prices.append(Price(pick.levels, np.array(SHARES), np.array(goals)))
    return tuple(prices)
