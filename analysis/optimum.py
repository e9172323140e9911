"""The best settings of a trial: where a new weld meets every limit, how often, and at what cost.

First of all comes the chance that a new weld meets every limit (`weldtrial.analysis.joint`); the
best settings push the goal as far as that chance allows (`weldtrial.analysis.window`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from math import isclose, nan

import numpy as np

from weldtrial.analysis.confirmed import confirmation_of
from weldtrial.analysis.confirmed_words import in_words
from weldtrial.analysis.fit_responses import aim_of, fit_responses
from weldtrial.analysis.inside import NEAR_EDGE
from weldtrial.analysis.joint import Held, chances
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.next_coupon import Ahead, held_of, look_ahead
from weldtrial.analysis.optimum_asked import (
    Asked,
    Confirming,
    Fitted,
    Optimum,
    Pick,
    Shown,
)
from weldtrial.analysis.own_best import duels_of
from weldtrial.analysis.settings_cost import costs_at, front_of, must_be_priced
from weldtrial.analysis.settings_grid import Places, places_at
from weldtrial.analysis.settings_region import MARGIN, Region, lay_region
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
from weldtrial.shared.goal import asked_share, is_cost
from weldtrial.shared.limit_box import keeps
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.record import Record
from weldtrial.shared.trial import Trial
from weldtrial.shared.weld_cost import cost_per_metre

Tick = Callable[[int], None]
STAGES = 6
"""How often `optimum` tells that it has gone on."""


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
    region = _region(trial, fitted, aim, wanted)
    share = wanted.keep if wanted.keep is not None else asked_share(trial.goal)
    costs = costs_at(trial, fitted, region.places)
    window = _window(trial, fitted, region.places, aim, share, wanted, costs)
    ahead = look_ahead(fitted.joint, window.held)
    tick(1)
    picks = tuple(_pick(trial, fitted, region, window, ahead, lost.levels) for lost in region.lost
                  if region.places.of(lost.levels).any())  # fmt: skip
    chosen = best(window)
    recommended = _shown(trial, fitted, region, window, ahead, chosen)
    tick(1)
    held = _exactly(fitted, window, recommended)
    moves = () if recommended is None else tolerances_at(fitted, window, recommended.choice)
    tick(1)
    duels = duels_of(trial, fitted, region, picks)
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
        on_average=_shown(trial, fitted, region, window, ahead, best_on_average(window)),
        steps=steps(window),
        tolerances=moves,
        held_chance=held,
        front=front_of(trial, window, costs),
        duels=duels,
        costs=costs,
        ahead=ahead,
        confirming=confirming(trial, record, fitted, wanted, recommended),
    )
    tick(1)
    return found


def confirming(
    trial: Trial, record: Record, fitted: Fitted, asked: Asked, best: Shown | None
) -> Confirming | None:
    """Return how far a setting is confirmed, in a trial whose own coupons do that.

    Parameters
    ----------
    record
        With the coupons that confirm: they took no part in the fit.
    best
        The setting to compare it with.
    """
    found = confirmation_of(trial, record, codes_open=True)
    if found is None:
        return None
    at = found.at
    try:
        there = show_at(trial, fitted, replace(asked, beyond=True, fixed={}, levels={}), at)
    except NotEstimable:
        there = None
    share = asked.keep if asked.keep is not None else asked_share(trial.goal)
    as_sealed = not asked.limits and (found.share is None or share <= found.share + 1e-9)
    is_best = best is not None and _alike(best, at)
    return Confirming(in_words(trial, found), there, is_best, as_sealed)


def _alike(shown: Shown, at: Mapping[str, str | float]) -> bool:
    return all(
        value == at.get(name)
        if isinstance(value, str)
        else isclose(value, float(at.get(name, nan)), rel_tol=1e-6, abs_tol=1e-9)
        for name, value in shown.choice.settings.items()
    )


def _region(trial: Trial, fitted: Fitted, aim: Aim, asked: Asked) -> Region:
    """Return the places of the map; refuse one on which nothing is left to speak of."""
    region = lay_region(
        fitted.seen,
        fitted.rules,
        goal=aim.best if any(one.name == aim.best for one in trial.varied) else "",
        fixed=asked.fixed,
        levels=asked.levels,
        beyond=asked.beyond,
    )
    if len(region.places):
        return region
    ruled_out = sum(one.ruled_out for one in region.lost)
    unseen = sum(one.unseen for one in region.lost)
    why = [
        words
        for count, words in (
            (ruled_out, f"{ruled_out} are ruled out by the trial"),
            (unseen, f"{unseen} lie outside what was welded"),
        )
        if count
    ]
    raise NotEstimable(
        f"no settings are left to speak of: of those on the grid {' and '.join(why)}",
        hint="To extrapolate all the same, marked wherever it is shown, add  --beyond"
        if unseen and not asked.beyond
        else None,
    )


def _window(
    trial: Trial,
    fitted: Fitted,
    places: Places,
    aim: Aim,
    share: float,
    asked: Asked,
    costs: Floats | None,
) -> Window:
    return operating_window(
        fitted.joint,
        fitted.limits,
        aim,
        places,
        keep=share,
        tried=fitted.seen.points,
        held=held_of(trial.varied, asked.held, asked.exactly),
        goal=must_be_priced(trial, costs) if is_cost(trial, aim.best) else None,
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
    whole = found.seen.whole(settings)
    if not keeps(found.rules, whole):
        broken = next(one for one in found.rules if not one.holds(whole))
        raise NotEstimable(f"the trial rules that setting out: {broken.text}")
    beyond = not bool(found.seen.inside(places)[0])
    if beyond and not asked.beyond:
        raise NotEstimable(
            "that setting lies outside what was welded, so nothing is said of it",
            hint="To extrapolate all the same, marked wherever it is shown, add  --beyond",
        )
    share = asked.keep if asked.keep is not None else asked_share(trial.goal)
    costs = costs_at(trial, found, places)
    window = _window(trial, found, places, aim_of(trial)[0], share, asked, costs)
    region = Region(places, np.array([beyond]), ())
    ahead = look_ahead(found.joint, window.held)
    shown = _shown(trial, found, region, window, ahead, choice_at(window, 0))
    assert shown is not None
    return shown


def _shown(
    trial: Trial,
    fitted: Fitted,
    region: Region,
    window: Window,
    ahead: Ahead,
    choice: Choice | None,
) -> Shown | None:
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
        expected_at(window, choice.place, ahead),
        bool(region.beyond[choice.place]),
        len(mine),
        len(set(mine.values())) if by_setups else None,
        cost_per_metre(trial, fitted.seen.whole(choice.settings)),
        _outside(fitted, choice, levels),
        fitted.seen.depth(choice.point) <= NEAR_EDGE,
        _strays(fitted, choice, levels, window.held),
    )


def _outside(fitted: Fitted, choice: Choice, levels: Mapping[str, str]) -> tuple[str, ...]:
    """Return the factors whose setting lies past every one welded at these levels."""
    welded = fitted.seen.coded(levels)
    if not len(welded):
        return ()
    return tuple(
        one.name
        for place, one in enumerate(fitted.seen.numeric)
        if not welded[:, place].min() - MARGIN
        <= float(choice.point[one.name])
        <= welded[:, place].max() + MARGIN
    )


def _strays(
    fitted: Fitted, choice: Choice, levels: Mapping[str, str], held: Sequence[Held]
) -> tuple[str, ...]:
    """Return the factors that stray past every setting welded at these levels."""
    welded, within = fitted.seen.coded(levels), {one.factor: one.within for one in held}
    if not len(welded):
        return ()
    found = []
    for place, one in enumerate(fitted.seen.numeric):
        unit = 1.0 if one.used_as_is else one.half_range(levels.get(one.slides_with or "", ""))
        off, at = within.get(one.name, 0.0) / (unit or 1.0), float(choice.point[one.name])
        ends = welded[:, place].min() - MARGIN, welded[:, place].max() + MARGIN
        if off > 0 and not (ends[0] <= at - off and at + off <= ends[1]):
            found.append(one.name)
    return tuple(found)


def _pick(
    trial: Trial,
    fitted: Fitted,
    region: Region,
    window: Window,
    ahead: Ahead,
    levels: Mapping[str, str],
) -> Pick:
    among = window.places.of(levels)
    top = _shown(trial, fitted, region, window, ahead, likeliest(window, among=among))
    assert top is not None
    return Pick(
        levels,
        _shown(trial, fitted, region, window, ahead, best_on_average(window, among=among)),
        _shown(trial, fitted, region, window, ahead, best(window, among=among)),
        top,
        steps(window, among=among),
    )


def _exactly(fitted: Fitted, window: Window, chosen: Shown | None) -> float | None:
    """Return the chance at the chosen place with every setting held exactly."""
    if chosen is None or not window.held:
        return None
    one = window.places.at([chosen.choice.place])
    return float(chances(fitted.joint, fitted.limits, one).together[0])
