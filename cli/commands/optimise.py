"""``weldtrial optimise``: where a new weld meets every limit, how often, and what is best there."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from weldtrial.cli.opening import Opened, open_trial
from weldtrial.cli.optimise_asked import Typed, over_of, read_asked, together
from weldtrial.cli.options import Common, common_options
from weldtrial.shared.look_state import look_at, of_look
from weldtrial.shared.problems import NotEnough, WrongUsage
from weldtrial.shared.record import Record

if TYPE_CHECKING:
    from weldtrial.analysis.one_number import OneNumber
    from weldtrial.analysis.optimum_asked import Asked, Optimum
    from weldtrial.analysis.surface_told import SurfaceTold


@click.command(short_help="Find where a new weld meets every limit, and what is best there.")
@click.option("--at", metavar="KEY=VALUE,...", help="The chances at one setting alone.")
@click.option("--slice", "slices", multiple=True, metavar="KEY=VALUE",
              help="Hold a factor at one setting: travel=45.")  # fmt: skip
@click.option("--gas", metavar="LEVEL", help="One gas (or another category) alone.")
@click.option("--keep", metavar="SHARE", help="Ask for another share: 0.9, 90 % or '9 in 10'.")
@click.option("--limit", "limits", multiple=True, metavar='"NAME >= X"',
              help="A limit that the file does not have; marked as such.")  # fmt: skip
@click.option("--hold", "holds", multiple=True, metavar="KEY=WITHIN",
              help="How well it is held: 95 coupons in 100 within this; or exactly.")  # fmt: skip
@click.option("--beyond", is_flag=True,
              help="Speak of settings outside what was welded too, marked everywhere.")  # fmt: skip
@click.option("--surface", is_flag=True,
              help="Tops, ridges and the steepest way of each response, in words.")  # fmt: skip
@click.option("--pruned", is_flag=True,
              help="With --surface: without terms that show nothing, hierarchy held.")  # fmt: skip
@click.option("--desirability", is_flag=True, help="Blend all responses into one number, too.")
@click.option("--picture", type=click.Path(path_type=Path, dir_okay=False),
              help="Draw the operating window into a .png or .svg file.")  # fmt: skip
@click.option("--over", metavar="A,B", help="With --picture: over these two settings.")
@common_options
def command(
    common: Common,
    *,
    at: str | None,
    slices: tuple[str, ...],
    gas: str | None,
    keep: str | None,
    limits: tuple[str, ...],
    holds: tuple[str, ...],
    beyond: bool,
    surface: bool,
    pruned: bool,
    desirability: bool,
    picture: Path | None,
    over: str | None,
) -> None:
    """Say where a new weld meets every limit, how often, and what each further step costs.

    Nothing is written, and nothing is said of settings outside what was welded unless --beyond.
    """
    together(
        {
            "--at": at is not None,
            "--surface": surface,
            "--slice": bool(slices),
            "--gas": gas is not None,
            "--keep": keep is not None,
            "--limit": bool(limits),
            "--hold": bool(holds),
            "--desirability": desirability,
            "--picture": picture is not None,
        }
    )
    opened = open_trial(common)
    typed = Typed(at, slices, gas, keep, limits, holds, beyond, picture, over)
    asked, place = read_asked(typed, opened.trial)
    if picture is not None:
        from weldtrial.cli.optimise_pictures import refuse

        refuse(common, picture)
    if pruned and not surface:
        raise WrongUsage(
            "weldtrial optimise: --pruned goes with --surface: chances rest on the whole model, "
            "since terms chosen on the same coupons make intervals too narrow."
        )
    record = _record(opened)
    if place:
        _at(common, opened, record, asked, place)
        return
    if surface:
        _surfaces(common, opened, record, asked, pruned=pruned)
        return
    found = _optimum(common, opened, record, asked)
    number = _one_number(opened, found) if desirability else None
    if common.json:
        _json(common, opened, found, number)
    else:
        _show(common, opened, found, number)
    if picture is not None:
        from weldtrial.cli.optimise_pictures import save_window

        pair = over_of(over, opened.trial, asked.fixed) if over else None
        save_window(opened.trial, found, picture, pair)
        common.console.note(f"Drawn: {picture}")


def _record(opened: Opened) -> Record:
    """Return what was welded and read, up to the look it stands at.

    Raises
    ------
    NotEnough
        While the codes are closed, or at a look that nobody planned.
    """
    if not opened.record.codes_open:
        raise NotEnough(
            "The codes are still closed: settings are not chosen while the reader must not know "
            "the gas.",
            hint="Open them once every reading is in:  weldtrial analyse --open",
        )
    look = look_at(opened.trial, opened.record)
    if look.state == "unplanned":
        raise NotEnough(
            "This is no planned look, so no settings are chosen from it yet.",
            hint="What is left to weld or read:  weldtrial check",
        )
    return of_look(opened.record, look)


def _optimum(common: Common, opened: Opened, record: Record, asked: Asked) -> Optimum:
    from weldtrial.analysis.optimum import STAGES, optimum

    with common.console.progress("Chances over the map", STAGES) as tick:
        return optimum(opened.trial, record, asked, tick=tick)


def _at(
    common: Common,
    opened: Opened,
    record: Record,
    asked: Asked,
    settings: dict[str, str | float],
) -> None:
    from weldtrial.analysis.fit_responses import fit_responses
    from weldtrial.analysis.optimum import confirming, show_at
    from weldtrial.cli import optimise_more
    from weldtrial.cli.optimise_confirmed import confirming_json
    from weldtrial.cli.optimise_json import shown_json

    trial, seal = opened.trial, record.seal
    fitted = fit_responses(trial, record, asked)
    shown = show_at(trial, fitted, asked, settings)
    found = confirming(trial, record, fitted, asked, shown)
    if common.json:
        common.console.json({
            "trial": trial.title,
            "at": shown_json(shown),
            "confirmed": found is not None and found.of_best,
            "confirmation": confirming_json(found, trial, seal),
        })  # fmt: skip
        return
    for warning in opened.warnings:
        common.console.warn(str(warning))
    optimise_more.show_at(common.console, trial, fitted, shown, asked, found, seal)


def _surfaces(
    common: Common, opened: Opened, record: Record, asked: Asked, *, pruned: bool
) -> None:
    from weldtrial.cli.optimise_json import surfaces_json
    from weldtrial.cli.optimise_more import show_surfaces

    told = _told(opened, record, asked, pruned=pruned)
    if common.json:
        common.console.json({"trial": opened.trial.title, "surfaces": surfaces_json(told)})
        return
    common.console.line(opened.trial.title, style="bold")
    show_surfaces(common.console, opened.trial, told)
    common.console.line()
    common.console.next("optimise", "for where every limit is met at once")


def _told(opened: Opened, record: Record, asked: Asked, *, pruned: bool) -> list[SurfaceTold]:
    from weldtrial.analysis.fit_responses import fit_responses
    from weldtrial.analysis.surface_told import tell_pruned, tell_surface

    trial = opened.trial
    fitted = fit_responses(trial, record, asked)
    tell = partial(tell_pruned, trial) if pruned else tell_surface
    return [
        tell(one, seen, toward=trial.response(one.response).better, beyond=asked.beyond)
        for one, seen in zip(fitted.surfaces, fitted.measured, strict=True)
    ]


def _one_number(opened: Opened, found: Optimum) -> OneNumber:
    from weldtrial.analysis.one_number import most_desirable

    return most_desirable(opened.trial, found)


def _json(common: Common, opened: Opened, found: Optimum, number: OneNumber | None) -> None:
    from weldtrial.cli.optimise_json import one_number_json, optimum_json

    value: dict[str, Any] = optimum_json(opened.trial, found, opened.record.seal)
    value["desirability"] = None if number is None else one_number_json(number)
    common.console.json(value)


def _show(common: Common, opened: Opened, found: Optimum, number: OneNumber | None) -> None:
    from weldtrial.cli.optimise_more import show_one_number
    from weldtrial.cli.optimise_screen import close, show_optimum

    for warning in opened.warnings:
        common.console.warn(str(warning))
    show_optimum(common.console, opened.trial, found, opened.record.seal)
    if number is not None:
        show_one_number(common.console, opened.trial, number)
    close(common.console, opened.trial, found)
