"""``weldtrial sheets``: print the weld, reading, stamp and cutting sheets of a sealed trial."""

from __future__ import annotations

from typing import Any

import click

from weldtrial.cli.adopted_folder import refuse_adopted
from weldtrial.cli.gauge_folder import gauge_opened, sheets_gauge
from weldtrial.cli.opening import open_trial
from weldtrial.cli.options import Common, common_options
from weldtrial.cli.sealing import redraw
from weldtrial.cli.sheet_card import settings_card
from weldtrial.cli.sheet_parts import PAPERS, PaperName
from weldtrial.cli.sheets import write_sheets
from weldtrial.shared.folder import Folder, find_folder
from weldtrial.shared.plancsv import read_plan
from weldtrial.shared.problems import NotEnough, ProblemsFound, WrongUsage
from weldtrial.shared.seal import broken, check_seal
from weldtrial.shared.sealfile import seal_code
from weldtrial.shared.trialfile import load_trial


@click.command(short_help="Print the weld, reading, stamp and cutting sheets.")
@click.option(
    "--only",
    type=click.Choice(("weld", "read", "stamps", "cut", "card")),
    help="One kind of sheet; card: the settings card of a setting that is confirmed.",
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
    if said["only"] == "card":
        _card(common, said["paper"])
        return
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


def _card(common: Common, paper: PaperName) -> None:
    """Write the settings card of a trial that confirms a setting."""
    from weldtrial.analysis.confirmed import confirmation_of
    from weldtrial.analysis.confirmed_words import in_words

    opened = open_trial(common)
    trial, record = opened.trial, opened.record
    if trial.follows is None or trial.follows.adds != "confirm" or opened.sealed is None:
        raise NotEnough(
            "No setting was chosen here, so there is none to put on a card.",
            hint="Choose one, and weld it again to confirm it:  weldtrial next NAME --confirm 8 "
            "--at ...",
        )
    if record.errors:
        raise ProblemsFound(record.errors)
    found = confirmation_of(trial, record, codes_open=record.codes_open)
    # While the codes are closed a result beside the setting would open them.
    told = in_words(trial, found) if found is not None and record.codes_open else None
    card = settings_card(trial, told, seal_code(trial.follows.seal), PAPERS[paper])
    written = write_sheets(
        opened.folder, trial, opened.plan, opened.sealed.code, paper=paper, card=card
    )
    names = [Folder(opened.folder).name_of(path) for path in written]
    if common.json:
        common.console.json({"files": names})
        return
    for name in names:
        common.console.line(f"Wrote {name}")
    common.console.line(f"{card.state}: {card.said[0]}", hang=2)
    common.console.note(f"Open it in a browser and print on {paper}, at 100 %.")
    common.console.next("report", "for the page to show others")


def _one_thing_at_a_time(said: dict[str, Any]) -> None:
    only, reader, from_run = said["only"], said["reader"], said["from_run"]
    if reader is not None and (only not in (None, "read") or from_run is not None):
        raise WrongUsage("weldtrial sheets: --for prints reading sheets only.")
    if from_run is not None and only not in (None, "weld"):
        raise WrongUsage("weldtrial sheets: --from-run prints the weld sheet only.")
    if reader is not None and not reader.strip():
        raise WrongUsage("weldtrial sheets: --for needs a name.")
