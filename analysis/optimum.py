"""The best settings of a trial: where a new weld meets every limit, how often, and at what cost.

First of all comes the chance that a new weld meets every limit (`weldtrial.analysis.joint`); the
best settings push the goal as far as that chance allows (`weldtrial.analysis.window`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from weldtrial.analysis.chosen_best import compare_bests, fewest_to_settle, settling
from weldtrial.analysis.fitted import Passing
from weldtrial.analysis.joint import Limit, chances
from weldtrial.analysis.observations import Observation, observe
from weldtrial.analysis.optimum_asked import (
    Asked,
    Duel,
    Fitted,
    Optimum,
    Pick,
    Shown,
    Tolerance,
)
from weldtrial.analysis.pareto import not_beaten
from weldtrial.analysis.settings_grid import Places, places_at, real
from weldtrial.analysis.settings_region import Region, Seen, lay_region
from weldtrial.analysis.surface import Surface, surface_of
from weldtrial.analysis.together import joint_of
from weldtrial.analysis.tolerances import tolerances_at
from weldtrial.analysis.window import (
    Aim,
    Choice,
    Window,
    best,
    best_on_average,
    choice_at,
    counts,
    expected_at,
    likeliest,
    operating_window,
    steps,
)
from weldtrial.shared.factors import Factor
from weldtrial.shared.goal import asked_share
from weldtrial.shared.limit_box import keeps, rules_of
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.record import Record, without_confirming
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Trial

Tick = Callable[[int], None]
STAGES = 6
"""How often `optimum` tells that it has gone on."""
FRONT = 12
"""Places of the trade-off that are listed."""


def fit_responses(trial: Trial, record: Record, asked: Asked | None = None) -> Fitted:
    """Fit every response that is read in numbers, and count those that pass or fail.

    Coupons that only confirm a setting take no part: they judge the map, they do not draw it.

    Raises
    ------
    NotEstimable
        When no response can be fitted.
    """
    wanted = asked or Asked()
    kept = without_confirming(record)
    surfaces: list[Surface] = []
    measured: list[tuple[Observation, ...]] = []
    passing, skipped = [], []
    for response in sorted(trial.responses, key=lambda one: one.rank):
        seen = observe(trial, kept, response).observations
        if response.kind == "pass-fail" and seen:
            passing.append(_passing(trial, response, seen))
            continue
        try:
            _must_be_number(response, seen)
            surfaces.append(surface_of(trial, seen, response))
        except NotEstimable as error:
            skipped.append((response.name, error.words))
        else:
            measured.append(seen)
    if not surfaces:
        raise NotEstimable(
            "no response can be drawn as a map of the settings: "
            + "; ".join(f"{name}: {why}" for name, why in skipped),
        )
    limits, afterwards = _limits(trial, wanted.limits, {one.response for one in surfaces})
    welded = tuple(dict.fromkeys(one.stamp for seen in measured for one in seen))
    points = {one.stamp: one.point for seen in measured for one in seen}
    return Fitted(
        tuple(surfaces),
        tuple(measured),
        joint_of(surfaces, measured, passing),
        limits,
        Seen(trial.varied, tuple(points[stamp] for stamp in welded)),
        rules_of(trial),
        tuple(skipped),
        afterwards,
    )


def _must_be_number(response: Response, seen: Sequence[Observation]) -> None:
    if not seen:
        raise NotEstimable("not read yet")
    if response.kind != "number":
        raise NotEstimable(f"read as {response.kind}, and a map is drawn of numbers")


def _passing(trial: Trial, response: Response, seen: Sequence[Observation]) -> Passing:
    """Count passes, by the category that ends a set-up where there is one."""
    groups = [one for one in trial.varied if one.kind == "category"]
    group = next((one for one in groups if one.hard_to_change), groups[0] if groups else None)
    levels = group.levels if group is not None else ("",)
    counted = []
    for level in levels:
        mine = [one for one in seen if group is None or one.levels[group.name] == level]
        counted.append((level, (sum(one.value > 0.5 for one in mine), len(mine))))
    return Passing(response.name, tuple(counted), group.name if group is not None else "")


def _limits(
    trial: Trial, extra: Sequence[Limit], fitted: set[str]
) -> tuple[tuple[Limit, ...], tuple[str, ...]]:
    """Return the limits that hold, and which of them the sealed question does not have."""
    own = {
        one.name: Limit(one.name, one.at_least, one.at_most)
        for one in trial.responses
        if one.name in fitted and (one.at_least is not None or one.at_most is not None)
    }
    given = {one.response: one for one in extra}
    lost = [name for name in given if name not in fitted]
    if lost:
        raise NotEstimable(f"no map was drawn of {', '.join(lost)}, so it cannot have a limit")
    return tuple({**own, **given}.values()), tuple(given)


def aim_of(trial: Trial) -> tuple[Aim, bool]:
    """Return the goal, and whether the file has none: then the deciding response is pushed."""
    if trial.goal is not None:
        return Aim(trial.goal.best, trial.goal.toward), False
    return Aim(trial.deciding.name, trial.deciding.better), True


def optimum(
    trial: Trial,
    record: Record,
    asked: Asked | None = None,
    *,
    tick: Tick = lambda stages: None,
) -> Optimum:
    """Find where a new weld meets every limit, and what is best there.

    Parameters
    ----------
    tick
        Called with 1 each time another of `STAGES` is done.

    Raises
    ------
    NotEstimable
        When no response can be fitted, none has a limit, nothing shows how set-ups scatter, or no
        settings are left.
    """
    wanted = asked or Asked()
    fitted = fit_responses(trial, record, wanted)
    tick(1)
    if not fitted.limits and not fitted.joint.passing:
        raise NotEstimable(
            "no response has a limit, so there is nothing that a new weld must meet",
            hint="Give a response  must_be = { at_least = ... }  in trial.toml, or ask now:  "
            f'weldtrial optimise --limit "{fitted.surfaces[0].response} >= ..."',
        )
    aim, aimless = aim_of(trial)
    goal = aim.best if any(one.name == aim.best for one in trial.varied) else ""
    region = lay_region(
        fitted.seen,
        fitted.rules,
        goal=goal,
        fixed=wanted.fixed,
        levels=wanted.levels,
        beyond=wanted.beyond,
    )
    share = wanted.keep if wanted.keep is not None else asked_share(trial.goal)
    window = _window(fitted, region.places, aim, share, wanted)
    tick(1)
    picks = tuple(_pick(fitted, region, window, lost.levels) for lost in region.lost
                  if region.places.of(lost.levels).any())  # fmt: skip
    chosen = best(window)
    recommended = _shown(fitted, region, window, chosen)
    tick(1)
    held = _exactly(fitted, window, recommended, wanted)
    moves = () if recommended is None else tolerances_at(fitted, window, recommended.choice)
    tick(1)
    duels = _duels(trial, fitted, region, picks)
    tick(1)
    found = Optimum(
        asked=wanted,
        fitted=fitted,
        region=region,
        window=window,
        aimless=aimless,
        counts=tuple(one for one in counts(window) if one.allowed),
        picks=picks,
        recommended=recommended,
        on_average=_shown(fitted, region, window, best_on_average(window)),
        steps=steps(window),
        tolerances=moves,
        held_chance=held,
        front=_front(window),
        duels=duels,
    )
    tick(1)
    return found


def _window(fitted: Fitted, places: Places, aim: Aim, share: float, asked: Asked) -> Window:
    return operating_window(
        fitted.joint,
        fitted.limits,
        aim,
        places,
        keep=share,
        tried=fitted.seen.points,
        held=asked.held,
    )


def show_at(
    trial: Trial, found: Fitted, asked: Asked, settings: Mapping[str, str | float]
) -> Shown:
    """Return what is said of one setting.

    Parameters
    ----------
    settings
        A level for every category and a number, in its unit, for every numeric factor.

    Raises
    ------
    NotEstimable
        When the rules forbid it, or it lies outside what was welded and that was not asked for.
    """
    point = {
        one.name: settings[one.name]
        if one.kind == "category"
        else one.coded(float(settings[one.name]), str(settings.get(one.slides_with or "", "")))
        for one in found.seen.factors
    }
    places = places_at(found.seen.factors, [point])
    if not keeps(found.rules, settings):
        broken = next(one for one in found.rules if not one.holds(settings))
        raise NotEstimable(f"the trial rules that setting out: {broken.text}")
    beyond = not bool(found.seen.inside(places)[0])
    if beyond and not asked.beyond:
        raise NotEstimable(
            "that setting lies outside what was welded, so nothing is said of it",
            hint="To extrapolate all the same, marked wherever it is shown, add  --beyond",
        )
    share = asked.keep if asked.keep is not None else asked_share(trial.goal)
    window = _window(found, places, aim_of(trial)[0], share, asked)
    region = Region(places, np.array([beyond]), ())
    shown = _shown(found, region, window, choice_at(window, 0))
    assert shown is not None
    return shown


def _shown(fitted: Fitted, region: Region, window: Window, choice: Choice | None) -> Shown | None:
    if choice is None:
        return None
    levels = window.places.levels[int(window.places.which[choice.place])]
    mine = {
        one.stamp: one.setup
        for seen in fitted.measured
        for one in seen
        if all(one.levels[name] == at for name, at in levels.items())
    }
    by_setups = any(one.df_setup is not None for one in fitted.surfaces)
    return Shown(
        choice,
        expected_at(window, choice.place),
        bool(region.beyond[choice.place]),
        len(mine),
        len(set(mine.values())) if by_setups else None,
    )


def _pick(fitted: Fitted, region: Region, window: Window, levels: Mapping[str, str]) -> Pick:
    among = window.places.of(levels)
    top = _shown(fitted, region, window, likeliest(window, among=among))
    assert top is not None
    return Pick(
        levels,
        _shown(fitted, region, window, best_on_average(window, among=among)),
        _shown(fitted, region, window, best(window, among=among)),
        top,
        steps(window, among=among),
    )


def _exactly(fitted: Fitted, window: Window, chosen: Shown | None, asked: Asked) -> float | None:
    """Return the chance at the chosen place with every setting held exactly."""
    if chosen is None or not asked.held:
        return None
    one = window.places.at([chosen.choice.place])
    return float(chances(fitted.joint, fitted.limits, one).together[0])


def _front(window: Window) -> tuple[Choice, ...]:
    """Return places that none beats in goal and chance, thinned to `FRONT`, best goal first."""
    values = np.column_stack([window.goal, np.round(window.chances.together, 3)])
    places = not_beaten(values, (window.aim.toward == "higher", True))
    # One setting for each pair of goal and chance: the others are its equals.
    _, first = np.unique(values[places], axis=0, return_index=True)
    kept = places[np.sort(first)]
    if len(kept) > FRONT:
        kept = kept[np.unique(np.linspace(0, len(kept) - 1, FRONT).astype(int))]
    return tuple(choice_at(window, int(one)) for one in kept)


def _duels(trial: Trial, fitted: Fitted, region: Region, picks: Sequence[Pick]) -> tuple[Duel, ...]:
    """Compare every level of each category with its reference, each at its own best."""
    groups = [one for one in trial.varied if one.kind == "category"]
    found = []
    for group in groups[:1]:
        chosen = {}
        for level in group.levels:
            mine = [
                one.best or one.likeliest for one in picks if one.levels.get(group.name) == level
            ]
            if mine:
                top = max(mine, key=lambda one: (one.choice.chance, one.choice.value))
                chosen[level] = top.choice.point
        if group.reference not in chosen:
            continue
        for level in (one for one in chosen if one != group.reference):
            found += [_duel(trial, one, region, group, level, chosen) for one in fitted.surfaces]
    return tuple(one for one in found if one is not None)


def _duel(
    trial: Trial,
    surface: Surface,
    region: Region,
    group: Factor,
    level: str,
    chosen: Mapping[str, Mapping[str, str | float]],
) -> Duel | None:
    response = trial.response(surface.response)
    try:
        gap = compare_bests(
            surface,
            region.places,
            group.name,
            level,
            group.reference,
            toward=response.better,
            chosen=chosen,
        )
    except NotEstimable:
        return None
    margin = response.margin
    size = None
    if margin is not None:
        size = margin.in_units(gap.reference.mean)
    rows = settling(surface, per_setup=4)
    return Duel(gap, size, None if size is None else fewest_to_settle(rows, size))


__all__ = [
    "STAGES", "Asked", "Duel", "Fitted", "Optimum", "Pick", "Shown", "Tolerance", "aim_of",
    "fit_responses", "optimum", "real", "show_at",
]  # fmt: skip
