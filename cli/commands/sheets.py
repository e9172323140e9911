"""``weldtrial sheets``: print the weld, reading, stamp and cutting sheets of a sealed trial."""

from __future__ import annotations

from typing import Any

import click

from weldtrial.cli.adopted_folder import refuse_adopted
from weldtrial.cli.gauge_folder import gauge_opened, sheets_gauge
from weldtrial.cli.options import Common, common_options
from weldtrial.cli.sealing import redraw
from weldtrial.cli.sheets import write_sheets
from weldtrial.shared.folder import Folder, find_folder
from weldtrial.shared.plancsv import read_plan
from weldtrial.shared.problems import NotEnough, WrongUsage
from weldtrial.shared.seal import broken, check_seal
from weldtrial.shared.trialfile import load_trial


@click.command(short_help="Print the weld, reading, stamp and cutting sheets.")
@click.option(
    "--only", type=click.Choice(("weld", "read", "stamps", "cut")), help="One kind of sheet."
)
@click.option("--for", "reader", metavar="READER", help="Reading sheets with this name on them.")
@click.option(
    "--paper",
    type=click.Choice(("A4", "letter"), case_sensitive=False),
    default="A4",
    show_default=True,
    help="Paper to print on.",
)
@click.option("--from-run", type=int, metavar="N", help="The weld sheet again, from run N on.")
@common_options
def command(common: Common, **said: Any) -> None:
    """Write the sheets as HTML pages to print, into the folder's sheets/.

    Reading sheets carry stamps only: no run, no gas, no settings.
    """
    _one_thing_at_a_time(said)
    if (study := gauge_opened(common)) is not None:
        if said["only"] not in (None, "read") or said["reader"] or said["from_run"] is not None:
            raise WrongUsage("weldtrial sheets: a gauge study has reading sheets only, for all "
                             "its readers.")  # fmt: skip
        sheets_gauge(common, study, said["paper"])
        return
    folder = find_folder(common.folder)
    refuse_adopted(folder, "there is nothing left to weld or read")
    files = Folder(folder)
    trial = load_trial(files.trial_file)
    sealed, problems = check_seal(folder, trial, redraw)
    if any(not problem.warning for problem in problems):
        raise broken(problems)
    if sealed is None:
        raise NotEnough(
            "This trial is not sealed yet, so there is no order to print and no stamp to punch.",
            hint="Seal it:  weldtrial seal",
        )
    written = write_sheets(
        folder,
        trial,
        read_plan(files.plan, trial),
        sealed.code,
        paper=said["paper"],
        only=said["only"],
        from_run=said["from_run"],
        for_reader=said["reader"],
    )
    names = [files.name_of(path) for path in written]
    if common.json:
        common.console.json({"files": names})
        return
    for name in names:
        common.console.line(f"Wrote {name}")
    common.console.note(f"Open them in a browser and print on {said['paper']}, at 100 %.")
    common.console.next("record", "once something is read")


def _one_thing_at_a_time(said: dict[str, Any]) -> None:
    only, reader, from_run = said["only"], said["reader"], said["from_run"]
    if reader is not None and (only not in (None, "read") or from_run is not None):
        raise WrongUsage("weldtrial sheets: --for prints reading sheets only.")
    if from_run is not None and only not in (None, "weld"):
        raise WrongUsage("weldtrial sheets: --from-run prints the weld sheet only.")
    if reader is not None and not reader.strip():
        raise WrongUsage("weldtrial sheets: --for needs a name.")
