"""Every level of a category against its reference, each at its own best settings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from weldtrial.analysis.chosen_best import compare_bests, fewest_to_settle, settling
from weldtrial.analysis.optimum_asked import Duel, Fitted, Pick
from weldtrial.analysis.settings_region import Region
from weldtrial.analysis.surface import Surface
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.trial import Trial

PER_SETUP = 4
"""Coupons in each fresh set-up that is to settle it."""
HARDLY = 0.005
"""Where no setting passes even this often there is no best to compare."""


def duels_of(
    trial: Trial, fitted: Fitted, region: Region, picks: Sequence[Pick]
) -> tuple[Duel, ...]:
    """Compare every level of each category with its reference, each at its own best."""
    groups = [one for one in trial.varied if one.kind == "category"]
    found = []
    for group in groups[:1]:
        chosen = {}
        for level in group.levels:
            mine = [
                one.best or one.likeliest
                for one in picks
                if one.levels.get(group.name) == level and one.likeliest.choice.chance >= HARDLY
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
    rows = settling(surface, per_setup=1 if surface.df_setup is None else PER_SETUP)
    return Duel(
        gap,
        size,
        None if size is None else fewest_to_settle(rows, size),
        surface.df_setup is not None,
    )
