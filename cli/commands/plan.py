"""``weldtrial plan``: what the budget can buy, and what the design can and cannot tell."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from weldtrial.cli.adopted_folder import refuse_adopted
from weldtrial.cli.options import Common, common_options
from weldtrial.cli.pretending import Wanted, loss_options, take_wanted
from weldtrial.shared.folder import Folder, find_folder
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.cli.plan_figures import PlanFigures


@click.command(short_help="Show what the budget can buy; writes nothing.")
@click.option(
    "--if",
    "ifs",
    metavar="KEY=VALUE",
    multiple=True,
    help="Another value, in mind only: sd_setup=3, margin=4, budget.coupons=52. Repeatable.",
)
@click.option(
    "--try",
    "tries",
    metavar="KEY=N,...",
    multiple=True,
    help="Add a row: rounds=9,coupons=40. Repeatable.",
)
@click.option("--why", is_flag=True, help="Show the working, with its sources.")
@loss_options("rehearse", 1000, "Play so many pretend trials of this plan (1000).")
@common_options
def command(
    common: Common, ifs: tuple[str, ...], tries: tuple[str, ...], why: bool, **said: Any
) -> None:
    """Show what the budget can buy, and what the plan can and cannot tell.

    Works before and after sealing, and never writes anything.
    """
    wanted = take_wanted("plan", "rehearse", said)
    if wanted.trials is not None or wanted.losses:
        _rehearse(common, ifs, wanted, table=bool(tries) or why)
        return
    from weldtrial.cli.plan_json import as_json
    from weldtrial.cli.plan_tables import show_plan

    folder = Folder(find_folder(common.folder))
    refuse_adopted(folder.path, "there is nothing left to plan")
    figures = _figures(_read(common, folder), ifs, tries)
    sealed = folder.seal.exists()
    if common.json:
        common.console.json(as_json(figures, sealed=sealed))
        return
    show_plan(common.console, figures, why=why)
    common.console.line()
    if sealed:
        common.console.next("check", "(this trial is sealed; nothing here changes it)")
    elif figures.changes:
        common.console.next("plan", "after changing trial.toml by hand; nothing was written")
    else:
        common.console.note("Nothing is fixed yet.")
        common.console.next("seal")


def _rehearse(common: Common, ifs: tuple[str, ...], wanted: Wanted, *, table: bool) -> None:
    from weldtrial.cli.plan_figures import with_chances
    from weldtrial.cli.rehearsal import rehearse_plan
    from weldtrial.cli.what_if import changed
    from weldtrial.doe.refusals import CannotShareOut
    from weldtrial.shared.problems import WrongUsage

    if wanted.trials is None:
        raise WrongUsage(
            "weldtrial plan: --scrap, --short and --missing say what a rehearsal loses. Add "
            "--rehearse."
        )
    if table:
        raise WrongUsage(
            "weldtrial plan: --try and --why belong to the plan's own table; a rehearsal has none. "
            "Change the plan in mind with --if, such as  --if design.rounds=9 --rehearse"
        )
    folder = Folder(find_folder(common.folder))
    refuse_adopted(folder.path, "there is nothing left to rehearse")
    trial, changes = changed(_read(common, folder), ifs)
    try:
        rehearse_plan(common, trial, wanted, changed=bool(changes))
    except CannotShareOut as refused:
        raise with_chances(trial, refused) from None


def _read(common: Common, folder: Folder) -> Trial:
    from weldtrial.shared.problems import ProblemsFound
    from weldtrial.shared.trialfile import read_trial

    trial, problems = read_trial(folder.trial_file)
    if trial is None:
        raise ProblemsFound(problems)
    common.console.problems(problems)
    return trial


def _figures(trial: Trial, ifs: tuple[str, ...], tries: tuple[str, ...]) -> PlanFigures:
    from weldtrial.cli.plan_figures import plan_figures, with_chances
    from weldtrial.cli.what_if import changed, tried
    from weldtrial.doe.refusals import CannotShareOut

    trial, changes = changed(trial, ifs)
    at = trial
    try:
        return plan_figures(trial, changes, [at := tried(trial, said) for said in tries])
    except CannotShareOut as refused:
        raise with_chances(at, refused) from None
