"""``weldtrial plan``: what the budget can buy, and what the design can and cannot tell."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from weldtrial.cli.adopted_folder import refuse_adopted
from weldtrial.cli.choosing_options import choose_options, wanted
from weldtrial.cli.gauge_folder import gauge_opened, plan_gauge, refuse_gauge
from weldtrial.cli.options import Common, common_options
from weldtrial.cli.pretending import Wanted, loss_options, take_wanted
from weldtrial.cli.telling_options import asked_to_tell, tells_options
from weldtrial.shared.folder import Folder, find_folder
from weldtrial.shared.problems import WrongUsage
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.cli.pilot import Taken
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
@click.option(
    "--pilot",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="Take the scatter from the results of an earlier trial, in mind only.",
)
@click.option("--fair", is_flag=True, help="What is equal between the gases, and what differs.")
@click.option("--why", is_flag=True, help="Show the working, with its sources.")
@tells_options
@choose_options
@loss_options("rehearse", 1000, "Play so many pretend trials of this plan (1000).")
@common_options
def command(
    common: Common,
    ifs: tuple[str, ...],
    tries: tuple[str, ...],
    why: bool,
    fair: bool,
    pilot: Path | None,
    **said: Any,
) -> None:
    """Show what the budget can buy, and what the plan can and cannot tell.

    Works before and after sealing, and never writes anything but a picture you ask for.
    """
    pretend = take_wanted("plan", "rehearse", said)
    if pretend.trials is not None or pretend.losses:
        _rehearse(common, ifs, pretend, pilot, table=_own_table(said, tries, why or fair))
        return
    from weldtrial.cli.fair_screen import show_fair_whole
    from weldtrial.cli.pilot import with_pilot
    from weldtrial.cli.telling_command import run_telling

    choose = wanted(said)
    others = {"--try": tries, "--why": why, "--choose": choose, "--fair": fair}
    tell = asked_to_tell(said, others)
    _goes_with(choose, tries=tries, why=why, fair=fair)
    folder = Folder(find_folder(common.folder))
    refuse_adopted(folder.path, "there is nothing left to plan")
    if (study := gauge_opened(common)) is not None:
        if ifs or tries or why or fair or pilot is not None or choose is not None or tell:
            raise WrongUsage("weldtrial plan: a gauge study has no such options; change [gauge] "
                             "in trial.toml and plan again.")  # fmt: skip
        plan_gauge(common, study)
        return
    trial = _read(common, folder)
    taken: tuple[Taken, ...] = ()
    if pilot is not None:
        trial, taken = with_pilot(common, trial, pilot)
    sealed = folder.seal.exists()
    if tell:
        run_telling(common, trial, ifs, said["compare"], sealed=sealed)
        return
    with common.console.waiting("working out the plan"):
        figures = _figures(trial, ifs, tries)
    if choose is not None:
        from weldtrial.cli.choosing_command import run_choice

        run_choice(common, figures, choose, said["picture"], sealed=sealed)
        return
    if fair and not common.json:
        show_fair_whole(common.console, figures)
        return
    _show(common, figures, taken, pilot, why=why, sealed=sealed)


def _show(
    common: Common,
    figures: PlanFigures,
    taken: tuple[Taken, ...],
    pilot: Path | None,
    *,
    why: bool,
    sealed: bool,
) -> None:
    from weldtrial.cli.pilot import show_taken, taken_json
    from weldtrial.cli.plan_json import as_json
    from weldtrial.cli.plan_tables import show_plan

    if common.json:
        found = as_json(figures, sealed=sealed)
        if pilot is not None:
            found["pilot"] = taken_json(pilot, taken)
        common.console.json(found)
        return
    show_plan(common.console, figures, why=why)
    if figures.trial.follows is not None and not sealed:
        from weldtrial.cli.confirm_plan import warn_of_altered

        warn_of_altered(common, figures.trial)
    if pilot is not None:
        show_taken(common.console, pilot, taken)
    common.console.line()
    if sealed:
        common.console.next("check", "(this trial is sealed; nothing here changes it)")
    elif figures.changes or taken:
        common.console.next("plan", "after changing trial.toml by hand; nothing was written")
    else:
        common.console.note("Nothing is fixed yet.")
        common.console.next("seal")


def _own_table(said: dict[str, Any], tries: tuple[str, ...], why: bool) -> bool:
    """Tell whether a table was asked for that a rehearsal has not."""
    return bool(tries or why or said["tells"] or said["compare"] or wanted(said) is not None)


def _goes_with(choose: object, *, tries: tuple[str, ...], why: bool, fair: bool) -> None:
    if choose is not None and (tries or why or fair):
        raise WrongUsage(
            "weldtrial plan: --try, --why and --fair do not go with --choose. Leave them out."
        )


def _rehearse(
    common: Common, ifs: tuple[str, ...], pretend: Wanted, pilot: Path | None, *, table: bool
) -> None:
    from weldtrial.cli.pilot import with_pilot
    from weldtrial.cli.plan_figures import with_chances
    from weldtrial.cli.rehearsal import rehearse_plan
    from weldtrial.cli.what_if import changed
    from weldtrial.doe.refusals import CannotShareOut

    if pretend.trials is None:
        raise WrongUsage(
            "weldtrial plan: --scrap, --short and --missing say what a rehearsal loses. Add "
            "--rehearse."
        )
    if table:
        raise WrongUsage(
            "weldtrial plan: --tells, --compare, --try, --why, --fair and --choose have tables of "
            "their own; a rehearsal has none of them. "
            "Change the plan in mind with --if, such as  --if design.rounds=9 --rehearse"
        )
    folder = Folder(find_folder(common.folder))
    refuse_adopted(folder.path, "there is nothing left to rehearse")
    refuse_gauge(folder.path, "there is no trial to rehearse", "weldtrial plan")
    trial = _read(common, folder)
    if pilot is not None:
        trial, _ = with_pilot(common, trial, pilot)
    trial, changes = changed(trial, ifs)
    try:
        rehearse_plan(common, trial, pretend, changed=bool(changes))
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
