"""The operating window: where a new weld meets every limit, and the best settings inside it.

A window is a map of chances (`weldtrial.analysis.joint`), never one score.  The best settings are
those that push the goal farthest while the chance stays at what was asked for; what the fitted
averages alone would have chosen stands beside it, because averages hide how often a weld fails.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from weldtrial.analysis.joint import (
    DRAWS,
    Chances,
    FittedSurface,
    Held,
    Joint,
    Limit,
    chances,
)
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.next_coupon import Ahead, next_coupon
from weldtrial.analysis.settings_grid import Mask, Places, real
from weldtrial.shared.coding import Point
from weldtrial.shared.problems import NotEstimable

TEN = 10
KEEP = 0.8
"""What is asked where nothing else is: 8 coupons in 10."""
STEPS = (0.7, 0.8, 0.9)
ON_EDGE = 1e-9


@dataclass(frozen=True, slots=True)
class Aim:
    """What best means: a numeric factor or a response, and which way."""

    best: str
    toward: Literal["higher", "lower"] = "higher"


@dataclass(frozen=True, slots=True)
class Edge:
    """A best setting at the end of what was tried.

    Attributes
    ----------
    side
        ``highest`` or ``lowest``.
    owner
        Level whose range it is, where the settings slide with a category; else empty.
    """

    factor: str
    side: Literal["highest", "lowest"]
    setting: float
    unit: str
    owner: str = ""


@dataclass(frozen=True, slots=True)
class Expected:
    """What the next coupon should read: mean and 95 % prediction interval, response unit."""

    response: str
    unit: str
    mean: float
    low: float
    high: float
    limit: Limit | None
    chance: float | None


@dataclass(frozen=True, slots=True)
class Choice:
    """One place chosen.

    Attributes
    ----------
    settings
        In real units.
    value
        Of the goal there.
    chance
        That a new weld meets every limit.
    own
        The chance of each limit, by response.
    weakest
        The limit least likely to be met.
    edges
        Where the choice lies at the end of what was tried.
    """

    place: int
    point: Point
    settings: Mapping[str, str | float]
    value: float
    chance: float
    own: Mapping[str, float]
    weakest: str
    edges: tuple[Edge, ...]


@dataclass(frozen=True, slots=True)
class Step:
    """The best that can be had at one asked chance; None where no place reaches it."""

    chance: float
    choice: Choice | None


@dataclass(frozen=True, slots=True)
class Count:
    """Places of one combination of categories: allowed, good on average, good enough."""

    levels: Mapping[str, str]
    allowed: int
    on_average: int
    enough: int


@dataclass(frozen=True, slots=True, eq=False)
class Window:
    """The map.

    Attributes
    ----------
    places
        Allowed places only.
    chances
        At those places.
    goal
        Shape (m,): the goal there, in its own unit; the fitted mean of a response.
    keep
        The chance asked for.
    tried
        Coded points welded.
    """

    joint: Joint
    limits: tuple[Limit, ...]
    aim: Aim
    keep: float
    places: Places
    chances: Chances
    goal: Floats
    tried: tuple[Point, ...]
    held: tuple[Held, ...] = ()

    @property
    def enough(self) -> Mask:
        """Which places reach the asked chance, shape (m,)."""
        return np.asarray(self.chances.together >= self.keep - 1e-12)


def operating_window(
    joint: Joint,
    limits: Sequence[Limit],
    aim: Aim,
    places: Places,
    *,
    keep: float = KEEP,
    tried: Sequence[Point] = (),
    held: Sequence[Held] = (),
    goal: Floats | None = None,
    draws: int = DRAWS,
    seed: int = 1,
) -> Window:
    """Work out the window over allowed places (see `lay_grid`).

    Parameters
    ----------
    goal
        Shape (m,): what `aim` names, where that is no setting and no response.
    keep
        Chance that every limit is met, between 0 and 1.
    tried
        Coded points that were welded, for the edges; none means -1 to +1.
    """
    if not 0 < keep < 1:
        raise ValueError(f"keep is a chance between 0 and 1, got {keep!r}")
    if not len(places):
        raise NotEstimable("no settings are left: every place of the grid is ruled out")
    found = chances(joint, limits, places, held=held, draws=draws, seed=seed)
    if goal is None:
        goal = goal_of(joint.surfaces, aim, places)
    return Window(joint, tuple(limits), aim, keep, places, found, goal, tuple(tried), tuple(held))


def goal_of(surfaces: Sequence[FittedSurface], aim: Aim, places: Places) -> Floats:
    """Return the goal at every place: a setting in real units, or a fitted mean."""
    numeric = {one.name: one for one in places.numeric}
    if aim.best in numeric:
        column, factor = places.column(aim.best), numeric[aim.best]
        owners = [one.get(factor.slides_with or "", "") for one in places.levels]
        return np.array([
            real(factor, float(coded), owners[int(which)])
            for coded, which in zip(places.coded[:, column], places.which, strict=True)
        ])  # fmt: skip
    surface = next((one for one in surfaces if one.response == aim.best), None)
    if surface is None:
        raise NotEstimable(
            f"the goal is {aim.best}, which is neither a numeric factor nor a fitted response"
        )
    return surface.mean(places.points())


def best(window: Window, *, keep: float | None = None, among: Mask | None = None) -> Choice | None:
    """Return the best place whose chance is at least `keep`; None where there is none.

    Parameters
    ----------
    keep
        None for what the window was asked for.
    among
        Places to choose from, shape (m,); None for all.  See `Places.of` for one gas.
    """
    asked = window.keep if keep is None else keep
    return _farthest(window, window.chances.together >= asked - 1e-12, among)


def best_on_average(window: Window, *, among: Mask | None = None) -> Choice | None:
    """Return what the fitted averages alone would choose, for contrast."""
    return _farthest(window, window.chances.on_average, among)


def likeliest(window: Window, *, among: Mask | None = None) -> Choice:
    """Return the place with the highest chance, whatever the goal reads there."""
    chance = window.chances.together
    masked = chance if among is None else np.where(among, chance, -1.0)
    return choice_at(window, int(np.argmax(masked)))


def steps(
    window: Window, shares: Sequence[float] = STEPS, *, among: Mask | None = None
) -> tuple[Step, ...]:
    """Return what each further step costs: the best at each asked chance."""
    return tuple(Step(share, best(window, keep=share, among=among)) for share in shares)


def counts(window: Window) -> tuple[Count, ...]:
    """Count places by category: allowed, good on average, good enough."""
    found = []
    for which, levels in enumerate(window.places.levels):
        mine = window.places.which == which
        found.append(
            Count(
                levels,
                int(mine.sum()),
                int((mine & window.chances.on_average).sum()),
                int((mine & window.enough).sum()),
            )
        )
    return tuple(found)


def choice_at(window: Window, place: int) -> Choice:
    """Return everything said of one place."""
    own = dict(zip(window.chances.limits, window.chances.own[place].tolist(), strict=True))
    return Choice(
        place,
        window.places.point(place),
        window.places.settings(place),
        float(window.goal[place]),
        float(window.chances.together[place]),
        own,
        window.chances.weakest(place),
        edges_at(window, place),
    )


def _farthest(window: Window, good: Mask, among: Mask | None) -> Choice | None:
    kept = np.flatnonzero(good if among is None else good & among)
    if not len(kept):
        return None
    sign = 1.0 if window.aim.toward == "higher" else -1.0
    # Of places alike in the goal, the one most likely to meet the limits.
    order = np.lexsort((window.chances.together[kept], np.round(sign * window.goal[kept], 9)))
    return choice_at(window, int(kept[order[-1]]))


def edges_at(window: Window, place: int) -> tuple[Edge, ...]:
    """Return which settings of a place lie at, or beyond, the end of what was tried there."""
    places, found = window.places, []
    levels = places.levels[int(places.which[place])]
    mine = [one for one in window.tried if all(one.get(k) == v for k, v in levels.items())]
    for column, factor in enumerate(places.numeric):
        coded = float(places.coded[place, column])
        seen = [float(one[factor.name]) for one in mine] or [-1.0, 1.0]
        owner = levels.get(factor.slides_with or "", "")
        sides: tuple[tuple[Literal["highest", "lowest"], bool], ...] = (
            ("highest", coded >= max(seen) - ON_EDGE),
            ("lowest", coded <= min(seen) + ON_EDGE),
        )
        setting = real(factor, coded, owner)
        found += [
            Edge(factor.name, side, setting, factor.unit or "", owner) for side, on in sides if on
        ]
    return tuple(found)


def expected_at(window: Window, place: int, ahead: Ahead) -> tuple[Expected, ...]:
    """Return what the next coupon in a fresh set-up should read, response by response.

    Parameters
    ----------
    ahead
        Draws of the window's own responses, held as it holds settings
        (`weldtrial.analysis.next_coupon.look_ahead`): the same behind every place, and behind the
        prediction that ``weldtrial next --confirm`` seals.
    """
    here = window.places.at([place])
    limits = {one.response: one for one in window.limits}
    own = dict(zip(window.chances.limits, window.chances.own[place].tolist(), strict=True))
    found = []
    for r, one in enumerate(window.joint.surfaces):
        low, high = (float(end[0]) for end in next_coupon(ahead, here, r))
        found.append(
            Expected(
                one.response,
                one.unit,
                float(one.mean(here.points())[0]),
                low,
                high,
                limits.get(one.response),
                own.get(one.response),
            )
        )
    return tuple(found)
