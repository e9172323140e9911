"""Every response of a trial as a surface, with its limits: what a window is made from."""

from __future__ import annotations

from collections.abc import Sequence

from weldtrial.analysis.fitted import Passing
from weldtrial.analysis.joint import Limit
from weldtrial.analysis.observations import Observation, observe
from weldtrial.analysis.optimum_asked import Asked, Fitted
from weldtrial.analysis.settings_region import Seen
from weldtrial.analysis.surface import Surface, surface_of
from weldtrial.analysis.together import joint_of
from weldtrial.analysis.window import Aim
from weldtrial.shared.limit_box import rules_of
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.record import Record, without_confirming
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Trial


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
        Seen(
            trial.varied,
            tuple(points[stamp] for stamp in welded),
            tuple(one for one in trial.factors if not one.varied),
        ),
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
