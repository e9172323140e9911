"""What ``weldtrial optimise`` shows when asked: one setting, the surfaces, one number."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from weldtrial.cli import optimise_words as words
from weldtrial.cli.optimise_confirmed import close_line, plain_state, said_of
from weldtrial.cli.optimise_screen import CONFIRM, close_confirmed, show_place
from weldtrial.shared.goal import COST
from weldtrial.shared.rounding import brief, plain, spaced
from weldtrial.shared.said_settings import typed_settings
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.one_number import OneNumber
    from weldtrial.analysis.optimum_asked import Asked, Confirming, Fitted, Shown
    from weldtrial.analysis.surface_told import SurfaceTold
    from weldtrial.cli.console import Console


def show_at(
    console: Console,
    trial: Trial,
    fitted: Fitted,
    shown: Shown,
    asked: Asked,
    found: Confirming | None,
    seal: str,
) -> None:
    """Print the chances at one setting, and how far it is confirmed."""
    from weldtrial.analysis.next_coupon import held_of

    console.line(trial.title, style="bold")
    by_setups = any(one.df_setup is not None for one in fitted.surfaces)
    console.line(f"  {words.CHANCE_MEANS if by_setups else words.NO_SETUPS}", hang=2)
    for line in words.held_lines(trial, asked, held_of(trial.varied, asked.held, asked.exactly)):
        console.line(f"  welded  {line}", hang=8)
    console.line()
    show_place(console, trial, shown, "●")
    if shown.cost is not None:
        for line in words.cost_words(shown.cost):
            console.line(f"    A metre of weld: {line}" if line[0].isdigit() else f"    {line}")
    if found is not None and found.is_best:
        console.line(f"    {plain_state(found)}.", style="bold")
        for line in said_of(trial, found, seal):
            console.line(f"    {line}", hang=4)
    console.line()
    if found is not None and found.is_best:
        close_confirmed(console, trial, found)
        return
    if found is not None:
        console.line(close_line(trial, found))
    at = typed_settings(trial.varied, shown.choice.settings)
    console.next(f"next NAME --confirm {trial.budget.confirm or CONFIRM} --at {at}")


def show_surfaces(console: Console, trial: Trial, told: Sequence[SurfaceTold]) -> None:
    """Print what each surface has, response by response and gas by gas."""
    for one in told:
        response = trial.response(one.response)
        console.heading(f"{response.title}, {response.unit}")
        for level in one.levels:
            if level.levels:
                console.line(f"  {words.levels_words(level.levels)}")
            for line in level.words:
                console.line(f"  {'  ' if level.levels else ''}{line}", hang=4)
        for line in one.words:
            console.line(f"  {line}", hang=4)


def show_one_number(console: Console, trial: Trial, found: OneNumber) -> None:
    """Print the most desirable setting, with the ends it rests on and what it hides."""
    console.heading("One number, since you asked (desirability; Derringer & Suich 1980)")
    chance = found.choice.chance
    console.line(
        f"  {words.setting_words(trial, found.choice.settings)}: desirability {found.value:.2f} of "
        f"1 – and {words.reached(chance)} of new coupons would meet every limit there",
        hang=4,
    )
    rows = []
    for wish, worth, value in zip(found.wishes, found.worths, found.values, strict=True):
        unit = _unit(trial, wish.response)
        ends = []
        if wish.worthless_below is not None:
            ends.append(f"{brief(wish.worthless_below)} or less")
        if wish.worthless_above is not None:
            ends.append(f"{brief(wish.worthless_above)} or more")
        rows.append(
            (
                words.title_of(trial, wish.response) + (f", {unit}" if spaced(unit) else ""),
                " and ".join(ends),
                brief(wish.enough),
                brief(value),
                plain(round(worth, 2)),
            )
        )
    console.table(("wish", "worth nothing at", "everything at", "there", "worth"), rows)
    apart = [one.title for one in trial.responses if one.kind != "number"]
    if apart:
        console.line(
            f"  Left out: {', '.join(apart)}, not read in numbers. What passes or fails counts in "
            "the chance.",
            hang=2,
        )
    console.line(
        "  It blends responses into one score by ends that nobody measured: worth nothing at the "
        "limit, everything at the best of the map. It does not say how often a weld fails; the "
        "chance does.",
        hang=2,
    )


def _unit(trial: Trial, name: str) -> str | None:
    units = {one.name: one.unit for one in trial.factors}
    units |= {one.name: one.unit for one in trial.responses}
    if trial.prices is not None:
        units.setdefault(COST, f"{trial.prices.currency}/m")
    return units.get(name)
