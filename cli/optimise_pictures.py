"""The pictures of ``weldtrial optimise``: in a file of their own, and in the report."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from weldtrial.shared.goal import COST
from weldtrial.shared.problems import WrongUsage
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from weldtrial.analysis.figures import FigureText
    from weldtrial.analysis.optimum_asked import Optimum
    from weldtrial.cli.options import Common

MADE_BY = "weldtrial optimise"
"""Stands in every picture made here, so that only those are written over unasked."""
Drawn = tuple[str, "Figure", "FigureText"]
"""A key, a figure and its words."""


def refuse(common: Common, path: Path) -> None:
    """Stop before writing over a file that this command did not make; raises as `refuse_others`."""
    from weldtrial.cli.picture import refuse_others

    refuse_others(common, path, MADE_BY)


def save_window(
    trial: Trial, found: Optimum, path: Path, over: tuple[str, str] | None = None
) -> None:
    """Write the operating window to a file; of one setting alone, the curve of what decides.

    Raises
    ------
    WrongUsage
        When there is no setting with a number to draw along.
    """
    from weldtrial.cli.picture import write_figure

    drawn = window_picture(trial, found, over)
    if drawn is None:
        drawn = next(curve_pictures(trial, found), None)
    if drawn is None:
        raise WrongUsage("--picture: no setting with a number is free, so there is nothing to draw")
    _, figure, text = drawn
    write_figure(figure, path, trial.title, text.alt, MADE_BY)


def window_picture(
    trial: Trial, found: Optimum, over: tuple[str, str] | None = None
) -> Drawn | None:
    """Return the operating window of each gas; None with fewer than two settings to draw over."""
    return next(map_pictures(trial, found, over), None)


def map_pictures(
    trial: Trial,
    found: Optimum,
    over: tuple[str, str] | None = None,
    responses: Sequence[str] = (),
) -> Iterator[Drawn]:
    """Yield the operating window, then the contours of some responses over the same settings."""
    from weldtrial.analysis.figures import pass_map, response_map
    from weldtrial.analysis.settings_maps import settings_maps, usual_axes

    axes = over or usual_axes(trial, found)
    if axes is None:
        return
    maps = settings_maps(trial, found, *axes)
    figure = pass_map.draw(maps, trial.varied, beyond=found.asked.beyond)
    yield "window", figure, pass_map.describe(maps, trial.varied)
    limits = {one.response: one for one in found.fitted.limits}
    for name in responses:
        said = (maps, trial.varied, name, found.fitted.surface(name).unit, limits.get(name))
        yield f"map-{name}", response_map.draw(*said), response_map.describe(*said)


def curve_pictures(trial: Trial, found: Optimum) -> Iterator[Drawn]:
    """Yield every response that has a limit along the goal, or along the first free setting."""
    from weldtrial.analysis.figures import setting_curve
    from weldtrial.analysis.settings_curves import setting_curves

    free = [
        one.name
        for one in trial.varied
        if one.kind == "numeric" and one.name not in found.asked.fixed
    ]
    if not free:
        return
    aim = found.window.aim.best
    along = aim if aim in free else free[0]
    limits = {one.response: one for one in found.fitted.limits}
    for one in found.fitted.surfaces:
        limit = limits.get(one.response)
        curves = setting_curves(trial, found, one.response, along)
        figure = setting_curve.draw(curves, limit)
        yield f"curve-{one.response}", figure, setting_curve.describe(curves, trial.varied, limit)


def pair_pictures(trial: Trial, found: Optimum) -> Iterator[Drawn]:
    """Yield how every pair in the model works together on the response that decides."""
    from weldtrial.analysis.figures import interaction
    from weldtrial.analysis.settings_curves import interaction_of

    surface = found.fitted.surfaces[0]
    for term in surface.terms:
        names = [name for name, power in term.powers if power == 1]
        if len(names) != 2 or len(term.powers) != 2:
            continue
        if all(trial.factor(name).kind == "category" for name in names):
            continue
        made = interaction_of(trial, found.fitted, surface.response, names)
        key = f"pair-{'-'.join(names)}".replace("_", "-")
        yield key, interaction.draw(made), interaction.describe(made)


def trade_off_pictures(trial: Trial, found: Optimum) -> Iterator[Drawn]:
    """Yield what certainty costs, and the front of the first two responses."""
    from weldtrial.analysis.figures import certainty_price, trade_off
    from weldtrial.analysis.settings_trade_offs import price_of_certainty, trade_offs

    aim, keep = found.window.aim.best, found.window.keep
    units = {one.name: one.unit or "" for one in trial.varied}
    units |= {one.name: one.unit for one in trial.responses}
    if trial.prices is not None:
        units.setdefault(COST, f"{trial.prices.currency}/m")
    prices = price_of_certainty(found)
    unit = units.get(aim, "")
    yield (
        "certainty",
        certainty_price.draw(prices, aim, unit, keep),
        certainty_price.describe(prices, aim, unit, keep),
    )
    surfaces = found.fitted.surfaces
    if len(surfaces) < 2:
        return
    limits = {one.response: one for one in found.fitted.limits}
    first, second = surfaces[0], surfaces[1]
    fronts = trade_offs(trial, found, first.response, second.response)
    named = ((first.response, first.unit), (second.response, second.unit))
    held = (limits.get(first.response), limits.get(second.response))
    yield (
        "trade-off",
        trade_off.draw(fronts, *named, held),
        trade_off.describe(fronts, *named, held),
    )
