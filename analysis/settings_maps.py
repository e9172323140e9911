"""Maps of the chance over two settings, the others held: what pictures of a window show.

Nothing here reaches outside what was welded unless the optimum was asked to.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from weldtrial.analysis.joint import chances
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.optimum_asked import Fitted, Optimum, Pick
from weldtrial.analysis.settings_dots import (
    ACROSS,
    Dot,
    axis_over,
    coupons_of,
    is_near,
    real_of,
)
from weldtrial.analysis.settings_grid import Mask, places_at, real
from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.trial import Trial


@dataclass(frozen=True, slots=True, eq=False)
class SettingsMap:
    """One combination of categories over two factors, the others held.

    Attributes
    ----------
    across, up
        Real settings along the axes, shapes (a,) and (u,).
    chance
        Shape (u, a): that a new weld meets every limit.
    own
        The chance of each limit, by response, shape (u, a).
    means
        Fitted means by response, shape (u, a).
    on_average
        Where the means meet every limit.
    ruled_out, unseen
        Where a rule forbids welding, and where nothing was welded around; shape (u, a).
    beyond
        Where it is spoken of all the same, because that was asked for; shape (u, a).
    tried
        The coupons welded there.
    chosen
        The best setting, in (across, up), where there is one.
    """

    levels: Mapping[str, str]
    factors: tuple[Factor, Factor]
    across: Floats
    up: Floats
    chance: Floats
    own: Mapping[str, Floats]
    means: Mapping[str, Floats]
    on_average: Mask
    ruled_out: Mask
    unseen: Mask
    beyond: Mask
    keep: float
    fixed: Mapping[str, float]
    tried: tuple[Dot, ...]
    chosen: tuple[float, float] | None

    @property
    def shown(self) -> Mask:
        """Where anything is said."""
        return ~(self.ruled_out | self.unseen)

    @property
    def enough(self) -> float:
        """Share of what is shown where the chance reaches what was asked."""
        seen = self.shown
        return float((self.chance[seen] >= self.keep - 1e-12).mean()) if seen.any() else 0.0

    def biting(self) -> dict[str, float]:
        """Return, for what is shown below the asked chance, how often each limit is the weakest."""
        low = self.shown & (self.chance < self.keep - 1e-12)
        names = list(self.own)
        if not low.any():
            return {}
        weakest = np.argmin(np.array([self.own[one][low] for one in names]), axis=0)
        return {
            one: float((weakest == place).mean())
            for place, one in enumerate(names)
            if np.any(weakest == place)
        }


def usual_axes(trial: Trial, found: Optimum) -> tuple[str, str] | None:
    """Return which two factors a map is drawn over; None with fewer than two to choose from.

    The goal goes up where it is a setting; across goes the first other factor of the file.
    """
    free = [
        one.name
        for one in trial.varied
        if one.kind == "numeric" and one.name not in found.asked.fixed
    ]
    if len(free) < 2:
        return None
    aim = found.window.aim.best
    up = aim if aim in free else free[-1]
    return next(one for one in free if one != up), up


def settings_maps(
    trial: Trial, found: Optimum, across: str, up: str, *, many: int = ACROSS
) -> tuple[SettingsMap, ...]:
    """Return one map for every combination of categories, cut at its own best settings."""
    return tuple(_map(trial, found, pick, across, up, many) for pick in found.picks)


def _map(trial: Trial, found: Optimum, pick: Pick, across: str, up: str, many: int) -> SettingsMap:
    fitted, window = found.fitted, found.window
    shown = pick.best or pick.likeliest
    point = shown.choice.point
    one, two = trial.factor(across), trial.factor(up)
    axes = [axis_over(found, factor, many) for factor in (one, two)]
    places = places_at(
        fitted.seen.factors,
        [{**point, across: float(x), up: float(y)} for y in axes[1] for x in axes[0]],
    )
    shape = (len(axes[1]), len(axes[0]))
    seen = chances(fitted.joint, fitted.limits, places, held=window.held)
    allowed = fitted.seen.allowed(places, fitted.rules)
    outside = ~fitted.seen.inside(places)
    owners = [pick.levels.get(factor.slides_with or "", "") for factor in (one, two)]
    points = places.points()
    settings = shown.choice.settings
    return SettingsMap(
        levels=pick.levels,
        factors=(one, two),
        across=np.array([real(one, float(x), owners[0]) for x in axes[0]]),
        up=np.array([real(two, float(y), owners[1]) for y in axes[1]]),
        chance=seen.together.reshape(shape),
        own={name: seen.own[:, place].reshape(shape) for place, name in enumerate(seen.limits)},
        means={each.response: each.mean(points).reshape(shape) for each in fitted.surfaces},
        on_average=seen.on_average.reshape(shape),
        ruled_out=~allowed.reshape(shape),
        unseen=(outside & (not found.asked.beyond)).reshape(shape),
        beyond=(outside & found.asked.beyond).reshape(shape),
        keep=window.keep,
        fixed={
            name: float(value)
            for name, value in settings.items()
            if name not in (across, up) and not isinstance(value, str)
        },
        tried=_tried(fitted, point, pick.levels, one, two),
        chosen=None if pick.best is None else (float(settings[across]), float(settings[up])),
    )


def _tried(
    fitted: Fitted, point: Point, levels: Mapping[str, str], one: Factor, two: Factor
) -> tuple[Dot, ...]:
    return tuple(
        Dot(
            coupon.stamp,
            real_of(one, coupon, levels),
            real_of(two, coupon, levels),
            near=is_near(coupon, point, (one.name, two.name)),
        )
        for coupon in coupons_of(fitted, levels).values()
    )
