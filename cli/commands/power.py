"""``weldtrial power``: what a plan can show, and how many set-ups and coupons a chance needs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from weldtrial.cli.adopted_folder import refuse_adopted
from weldtrial.cli.options import Common, common_options
from weldtrial.cli.pretending import Wanted, loss_options, take_wanted
from weldtrial.shared.problems import ExitCode, WrongUsage

if TYPE_CHECKING:
    from weldtrial.cli.power_figures import PowerFigures
    from weldtrial.cli.simulated import SimulatedPlan

_BARE = ("mean", "sd", "sd_setup", "loss", "setups", "coupons", "rounds")


@click.command(short_help="Work out how many coupons and set-ups a question needs.")
@click.option("--mean", type=float, help="Expected mean of today's gas.")
@click.option("--sd", type=float, help="Scatter between coupons of one set-up (one sd).")
@click.option("--sd-setup", type=float, help="Scatter between set-ups (one sd; without it, 0).")
@click.option("--loss", metavar="5%|4", help="The loss to be shown: in percent, or in units.")
@click.option("--setups", type=int, help="Set-ups per gas; without it every coupon is set up anew.")
@click.option("--coupons", type=int, help="Coupons per set-up; without --setups, per gas.")
@click.option(
    "--rounds",
    is_flag=False,
    flag_value="",
    metavar="",
    help="Every round holds one set-up of each gas (set-ups are paired).",
)
@click.option(
    "--chance",
    type=float,
    default=0.8,
    show_default=True,
    help="The chance to aim for, above 0.05 and below 1.",
)
@loss_options("simulate", 10_000, "Play so many pretend trials through the analysis (10000).")
@common_options
def command(common: Common, chance: float, **said: Any) -> int:
    """Work out what a plan can show, and what a chosen chance would need.

    In a trial folder it takes the plan of trial.toml.  Anywhere it takes two gases and the
    numbers given:  --sd 4 --sd-setup 2 --mean 78 --loss 5% --setups 6 --coupons 3.
    """
    from weldtrial.cli.power_figures import from_options
    from weldtrial.cli.power_tables import as_json, show_power
    from weldtrial.cli.simulated import show_simulated, with_simulated

    if not 0.05 < chance < 1:
        raise WrongUsage(
            f"weldtrial power: --chance {chance:g} cannot be: use more than 0.05 and less than 1, "
            "such as 0.8 for four times in five."
        )
    wanted = take_wanted("power", "simulate", said)
    bare = any(said[name] is not None for name in _BARE)
    figures = from_options(said, chance) if bare else _of_folder(common, chance)
    simulated = _simulated(common, figures, said if bare else None, wanted)
    if common.json:
        plain = as_json(figures, chance)
        common.console.json(plain if simulated is None else with_simulated(plain, simulated))
    else:
        show_power(common.console, figures, chance)
        if simulated is not None:
            show_simulated(common.console, simulated)
        common.console.next("new NAME" if bare else "plan")
    return int(ExitCode.FINE)


def _of_folder(common: Common, chance: float) -> tuple[PowerFigures, ...]:
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
    trial = load_trial(folder.trial_file)
    try:
        return from_folder(trial, chance)
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
    needs = next(one.needs for one in figures if one.response.name == trial.deciding.name)
    return simulate_folder(common, folder, trial, needs, wanted)
