"""``weldtrial next``: what to weld after a trial, as a folder that keeps its coupons."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from weldtrial.cli.next_advice import show_advice
from weldtrial.cli.next_asked import NextAsked, added_of
from weldtrial.cli.next_folder import sealed_trial, write_next
from weldtrial.cli.options import Common, common_options
from weldtrial.shared.folder import Folder, find_folder
from weldtrial.shared.problems import WrongUsage

if TYPE_CHECKING:
    from weldtrial.cli.next_confirm import Foreseen


@click.command(short_help="Plan what to weld next; the coupons there are stay.")
@click.argument("name", required=False)
@click.option(
    "--fold-over",
    is_flag=False,
    flag_value="all",
    metavar="[FACTOR]",
    help="The same coupons with all signs turned, or that of one factor.",
)
@click.option("--star", is_flag=True, help="Star points, to see where a bend comes from.")
@click.option(
    "--outside", is_flag=True, help="With --star: beyond what the file calls low and high."
)
@click.option(
    "--more",
    is_flag=False,
    flag_value=0,
    type=click.IntRange(min=0, max=1000),
    metavar="[ROUNDS]",
    help="The same again, so many rounds of it.",
)
@click.option(
    "--separate",
    metavar="TERMS",
    help="Coupons that tell these terms apart: voltage:wire_feed,travel^2.",
)
@click.option("--confirm", type=click.IntRange(min=1, max=1000), metavar="N",
              help="N coupons at one setting, in fresh set-ups.")  # fmt: skip
@click.option("--at", metavar="KEY=VALUE,...", help="With --confirm: gas=co2,voltage=28.5.")
@click.option("--beyond", is_flag=True,
              help="With --confirm: a setting beyond what was welded, all the same.")  # fmt: skip
@click.option("--coupons", type=click.IntRange(min=1, max=10000), metavar="N",
              help="With --separate: how many new coupons.")  # fmt: skip
@click.option("--set-ups", type=click.IntRange(min=1, max=10000), metavar="N",
              help="Over how many fresh set-ups.")  # fmt: skip
@common_options
def command(
    common: Common,
    name: str | None,
    fold_over: str | None,
    star: bool,
    outside: bool,
    more: int | None,
    separate: str | None,
    confirm: int | None,
    at: str | None,
    coupons: int | None,
    set_ups: int | None,
    beyond: bool,
) -> None:
    """Plan what to weld next: NAME is a new folder that keeps the coupons of this trial.

    Without anything it says what could come next, and writes nothing.
    """
    folder = find_folder(common.folder)
    trial, sealed = sealed_trial(folder)
    asked = NextAsked(
        fold_over, star, outside, more, separate, confirm, at, coupons, set_ups, beyond
    )
    if name is None:
        if asked.ways or asked.details:
            raise WrongUsage(
                "weldtrial next: name the new folder, such as  weldtrial next part2 --more"
            )
        show_advice(common, folder, trial)
        return
    added = added_of(asked, trial)
    foreseen: Foreseen | None = None
    if confirm is not None:
        from weldtrial.cli.next_confirm import with_prediction

        added, foreseen = with_prediction(common, sealed, added)
    made = write_next(name, None, Folder(folder).path, sealed, added)
    if common.json:
        told = {} if foreseen is None else {"prediction": foreseen.json}
        common.console.json(
            {"folder": str(made), "adds": added.adds, "follows": sealed.code, "words": added.words}
            | told
        )
        return
    common.console.line(f"Made {made} – {added.words}.")
    if foreseen is not None:
        foreseen.show(common.console)
    common.console.line(
        f"The trial before ({sealed.code}) lies in {made}/earlier with everything that was welded "
        "and read: its coupons count, and what is welded now is a block of its own. Nothing in "
        "this folder was changed."
    )
    common.console.line()
    common.console.next(f"-C {made} plan", "then seal it and weld")
