"""``weldtrial power``: what a plan can show, and how many set-ups and coupons a chance needs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from weldtrial.cli.adopted_folder import refuse_adopted
from weldtrial.cli.gauge_folder import refuse_gauge
from weldtrial.cli.grouped_help import GroupedCommand
from weldtrial.cli.options import Common, common_options
from weldtrial.cli.power_asked import OPTIONS
from weldtrial.cli.power_passing import NAMES
from weldtrial.cli.pretending import Wanted, loss_options, take_wanted
from weldtrial.shared.problems import ExitCode, WrongUsage

if TYPE_CHECKING:
    from weldtrial.cli.pilot import Taken
    from weldtrial.cli.power_figures import PowerFigures
    from weldtrial.cli.simulated import SimulatedPlan

_GROUPS = {
    "Scatter, in units or in percent of the mean": ("mean", "sd", "sd_setup", "sd_reading"),
    "What the scatter came from": ("pilot_coupons", "pilot_setups", "pilot_folder"),
    "Plan": ("setups", "coupons", "rounds", "readings"),
    "Question": ("loss", "width", "reads_to", "chance"),
    "Best of several gases": ("gases", "against"),
    "Coupons that pass or fail": NAMES,
}


@click.command(
    cls=GroupedCommand,
    groups=_GROUPS,
    short_help="Work out how many coupons and set-ups a question needs.",
)
@click.option("--mean", type=float, help="Expected mean of today's gas.")
@click.option("--sd", metavar="4|5%", help="Scatter between coupons of one set-up (one sd).")
@click.option("--sd-setup", metavar="2|2.5%", help="Scatter between set-ups (without it, 0).")
@click.option("--sd-reading", metavar="1|1%", help="Scatter between readings of one coupon.")
@click.option("--readings", type=int, help="Readings on each coupon (1); they are averaged.")
@click.option("--loss", metavar="5%|4", help="The loss to be shown: in percent, or in units.")
@click.option(
    "--setups",
    metavar="N|N,N",
    help="Set-ups per gas, or of the new and today's; without it every coupon is set up anew.",
)
@click.option(
    "--coupons",
    metavar="N|N,N",
    help="Coupons per set-up; without --setups, per gas, or of the new and today's.",
)
@click.option(
    "--rounds",
    is_flag=False,
    flag_value="",
    metavar="",
    help="Every round holds one set-up of each gas (set-ups are paired).",
)
@click.option("--width", metavar="5%|4", help="Half-width that the 95 % interval should keep to.")
@click.option("--reads-to", metavar="0.5", help="Smallest step of the gauge.")
@click.option("--pilot-coupons", type=int, help="Coupons that --sd came from.")
@click.option("--pilot-setups", type=int, help="Set-ups that --sd-setup came from.")
@click.option(
    "--pilot",
    "pilot_folder",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="In a trial folder: take the scatter from the results of an earlier trial.",
)
@click.option(
    "--chance",
    type=float,
    default=0.8,
    show_default=True,
    help="The chance to aim for, above 0.05 and below 1.",
)
@click.option("--gases", type=int, help="How many gases (2), read together.")
@click.option(
    "--against",
    type=click.Choice(["today", "all"]),
    help="Each with today's (Dunnett; so without it), or all pairs (Tukey-Kramer).",
)
@click.option("--passing", metavar="90%", help="Share of today's coupons that pass.")
@click.option("--falls-to", metavar="70%", help="Chance to show a fall to this share.")
@click.option("--no-worse-by", metavar="10%", help="Chance to show no worse by so many points.")
@click.option("--in-a-row", metavar="90%", help="How many passes in a row show this share.")
@loss_options("simulate", 10_000, "Play so many pretend trials through the analysis (10000).")
@common_options
def command(common: Common, chance: float, pilot_folder: Path | None, **said: Any) -> int:
    """Work out what a plan can show, and what a chosen chance would need.

    In a trial folder it takes the plan of trial.toml.  Anywhere it takes two gases and the
    numbers given:  --sd 4 --sd-setup 2 --mean 78 --loss 5% --setups 6 --coupons 3.  All questions,
    with a command for each:  weldtrial help power.
    """
    from weldtrial.cli.pilot import show_taken, taken_json
    from weldtrial.cli.power_figures import from_options
    from weldtrial.cli.power_json import as_json
    from weldtrial.cli.power_tables import show_power
    from weldtrial.cli.simulated import show_simulated, with_simulated

    if not 0.05 < chance < 1:
        raise WrongUsage(
            f"weldtrial power: --chance {chance:g} cannot be: use more than 0.05 and less than 1, "
            "such as 0.8 for four times in five."
        )
    wanted = take_wanted("power", "simulate", said)
    if any(said[name] is not None for name in NAMES):
        _passing(common, said, chance)
        return int(ExitCode.FINE)
    bare = any(said[name] is not None for name in OPTIONS)
    if bare and pilot_folder is not None:
        raise WrongUsage(
            "weldtrial power: --pilot plans a trial folder with the scatter of another; with "
            "figures on the command line say --pilot-coupons and --pilot-setups."
        )
    taken: tuple[Taken, ...] = ()
    if bare:
        figures = from_options(said, chance)
    else:
        figures, taken = _of_folder(common, chance, pilot_folder)
    simulated = _simulated(common, figures, said if bare else None, wanted)
    if common.json:
        found = as_json(figures, chance)
        if pilot_folder is not None:
            found["pilot"] = taken_json(pilot_folder, taken)
        common.console.json(found if simulated is None else with_simulated(found, simulated))
    else:
        show_power(common.console, figures, chance)
        if pilot_folder is not None:
            show_taken(common.console, pilot_folder, taken)
            common.console.line()
        if simulated is not None:
            show_simulated(common.console, simulated)
        common.console.next("new NAME" if bare else "plan")
    return int(ExitCode.FINE)


def _passing(common: Common, said: dict[str, Any], chance: float) -> None:
    from weldtrial.cli.power_passing import from_passing_options, passing_json, show_passing

    found = from_passing_options(said, chance)
    if common.json:
        common.console.json(passing_json(found))
    else:
        show_passing(common.console, found)
        common.console.next("new NAME")


def _of_folder(
    common: Common, chance: float, pilot: Path | None
) -> tuple[tuple[PowerFigures, ...], tuple[Taken, ...]]:
    from weldtrial.cli.pilot import with_pilot
    from weldtrial.cli.plan_figures import with_chances
    from weldtrial.cli.power_figures import from_folder
    from weldtrial.doe.refusals import CannotShareOut
    from weldtrial.shared.folder import Folder, find_folder
    from weldtrial.shared.trialfile import load_trial

    try:
        folder = Folder(find_folder(common.folder))
    except WrongUsage as error:
        raise WrongUsage(
            error.words,
            hint="Without a trial:  weldtrial power --mean 78 --sd 4 --sd-setup 2 --loss 5% "
            "--setups 6 --coupons 3",
        ) from None
    refuse_adopted(folder.path, "say the scatter on the command line, with --mean, --sd and so on")
    refuse_gauge(folder.path, "it compares nothing", "weldtrial plan")
    trial = load_trial(folder.trial_file)
    taken: tuple[Taken, ...] = ()
    if pilot is not None:
        trial, taken = with_pilot(common, trial, pilot)
    try:
        return from_folder(trial, chance), taken
    except CannotShareOut as refused:
        raise with_chances(trial, refused) from None


def _simulated(
    common: Common,
    figures: tuple[PowerFigures, ...],
    said: dict[str, Any] | None,
    wanted: Wanted,
) -> SimulatedPlan | None:
    """Return the simulation that was asked for; a loss named asks for one too."""
    if wanted.trials is None and not wanted.losses:
        return None
    from weldtrial.cli.simulated import simulate_folder, simulate_two
    from weldtrial.shared.folder import Folder, find_folder
    from weldtrial.shared.trialfile import load_trial

    if said is not None:
        return simulate_two(common, figures[0], said, wanted)
    folder = Folder(find_folder(common.folder))
    trial = load_trial(folder.trial_file)
    decides = next(one for one in figures if one.response.name == trial.deciding.name)
    return simulate_folder(common, folder, trial, decides.by_formula, wanted)
