"""Running ``weldtrial plan --choose``: the screen or JSON, and the picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from weldtrial.cli.choosing import Wanted, choice_of
from weldtrial.cli.choosing_screen import choice_json, show_choice

if TYPE_CHECKING:
    from weldtrial.cli.options import Common
    from weldtrial.cli.plan_figures import PlanFigures


def run_choice(
    common: Common, figures: PlanFigures, wanted: Wanted, picture: str | None, *, sealed: bool
) -> None:
    """Show the best plans for a budget, and draw them where a picture is asked for."""
    from weldtrial.cli.picture import refuse_others, save_picture

    path = None if picture is None else Path(picture)
    if path is not None:
        refuse_others(common, path)
    choice = choice_of(figures, wanted)
    if path is not None:
        save_picture(choice, path)
    if common.json:
        found = choice_json(choice)
        found["choose"]["picture"] = None if path is None else str(path)
        common.console.json(found)
        return
    show_choice(common.console, choice)
    if path is not None:
        common.console.line(f"Drawn in {path}.")
    common.console.line()
    if sealed:
        common.console.next("check", "(this trial is sealed; nothing here changes it)")
    elif choice.found.chosen is None:
        common.console.next("plan --choose", "with wider limits")
    elif choice.found.chosen.shape == choice.found.own.shape:
        common.console.next("seal")
    else:
        common.console.next("plan", "once trial.toml is changed; nothing was written to it")
