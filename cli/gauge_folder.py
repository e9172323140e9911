"""Gauge studies: the folder opened, and what each command does with one."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from weldtrial.shared.folder import Folder, find_folder
from weldtrial.shared.gauge import Gauge, GaugeOrder
from weldtrial.shared.gauge_files import GaugeSheet, lay_out_gauge, read_gauge_sheet
from weldtrial.shared.problems import (
    ExitCode,
    NotEnough,
    NotEstimable,
    Problem,
    ProblemsFound,
    WrongUsage,
)
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.gauge_answer import GaugeFindings
    from weldtrial.cli.options import Common
    from weldtrial.cli.sheet_parts import PaperName

_PURPOSE = re.compile(rb"^[ \t]*purpose[ \t]*=[ \t]*[\"']gauge[\"']", re.MULTILINE)
UNSEALED = "not sealed, as nothing is compared here; the order is drawn from [gauge]"


@dataclass(frozen=True, slots=True)
class GaugeOpened:
    """A gauge study: its file read and its order drawn.

    Attributes
    ----------
    warnings
        What the trial file has to say that stops nothing.
    """

    files: Folder
    trial: Trial
    gauge: Gauge
    order: GaugeOrder
    warnings: tuple[Problem, ...]

    def sheets(self) -> tuple[GaugeSheet, ...]:
        """Read the readings files as they stand; one that is not laid out yet holds nothing."""
        return tuple(
            read_gauge_sheet(self.files.readings(one.name), one, self.order)
            if self.files.readings(one.name).exists()
            else GaugeSheet(one, missing=self.order.tasks)
            for one in self.trial.responses
        )


def is_gauge(folder: Path) -> bool:
    """Whether the trial file of a folder says that it is a gauge study."""
    path = Folder(folder).trial_file
    return path.is_file() and _PURPOSE.search(path.read_bytes()) is not None


def gauge_opened(common: Common) -> GaugeOpened | None:
    """Return the gauge study in the folder of the command line, None where it is a trial.

    Raises
    ------
    ProblemsFound
        When its file cannot be used.
    """
    folder = find_folder(common.folder)
    if not is_gauge(folder):
        return None
    from weldtrial.doe.gauge_order import gauge_order
    from weldtrial.shared.trialfile import read_trial

    trial, problems = read_trial(Folder(folder).trial_file)
    if trial is None:
        raise ProblemsFound(problems)
    if trial.gauge is None:  # the words stand elsewhere in the file, in a remark or a text
        return None
    order = gauge_order(trial.gauge)
    return GaugeOpened(Folder(folder), trial, trial.gauge, order, problems)


def refuse_gauge(folder: Path, so: str, then: str) -> None:
    """End a command that has no sense for a gauge study.

    Parameters
    ----------
    so
        Why, to end the sentence.
    then
        The command to run instead.

    Raises
    ------
    WrongUsage
        When the folder holds a gauge study.
    """
    if is_gauge(folder):
        raise WrongUsage(f"This folder holds a gauge study: {so}.", hint=f"Instead:  {then}")


def plan_gauge(common: Common, opened: GaugeOpened) -> None:
    """Show what the study can tell."""
    from weldtrial.analysis.gauge_answer import gauge_ahead
    from weldtrial.cli.gauge_screen import show_ahead

    ahead = gauge_ahead(opened.gauge)
    if common.json:
        common.console.json(
            {
                "trial": opened.trial.title,
                "purpose": "gauge",
                "sealed": False,
                "gauge": opened.gauge,
                "readings": len(opened.order.tasks),
                "order": opened.order.code,
                "known": list(ahead),
            }
        )
        return
    common.console.problems(opened.warnings)
    show_ahead(common.console, opened, ahead)


def sheets_gauge(common: Common, opened: GaugeOpened, paper: PaperName) -> None:
    """Lay out the readings files where they hold nothing, and print the reading sheets."""
    from weldtrial.cli.gauge_sheets import write_gauge_sheets

    laid = lay_out_gauge(opened.files.path, opened.trial.responses, opened.order)
    printed = write_gauge_sheets(opened, paper)
    names = [opened.files.name_of(path) for path in (*laid, *printed)]
    if common.json:
        common.console.json({"files": names})
        return
    for name in names:
        common.console.line(f"Wrote {name}")
    if not opened.gauge.names:
        common.console.note(f"Mark the coupons, in any order: {', '.join(opened.order.stamps)}")
    common.console.note(
        "One sheet for each reader and each time he reads, in an order of its own: hand them out "
        "one at a time and take each away before the next."
    )
    common.console.note(
        "Type what was read into the column reading of readings/*.csv; the rows stand as the "
        "sheets do."
    )
    common.console.next("check", "for what is left to read")


def record_gauge(common: Common, opened: GaugeOpened, where: str | None, source: str | None) -> int:
    """Enter the readings of a file into the readings file of a response, over nothing typed."""
    from weldtrial.shared.folder import atomic_write
    from weldtrial.shared.gauge_files import gauge_text

    if source is None:
        raise WrongUsage(
            "weldtrial record: readings of a gauge study are typed into readings/*.csv, one row "
            "each, or come from a file.",
            hint="weldtrial record RESPONSE --from FILE   (columns reader, repeat, stamp, reading)",
        )
    names = [one.name for one in opened.trial.responses]
    if where is None and len(names) > 1:
        raise WrongUsage(f"Say which response FILE holds: {', '.join(names)}.")
    name = where or names[0]
    if name not in names:
        raise WrongUsage(f"There is no response '{name}' (there are {', '.join(names)}).")
    response = opened.trial.response(name)
    path = Path(source)
    if not path.is_file():
        raise WrongUsage(f"There is no file '{source}'.")
    new = read_gauge_sheet(path, response, opened.order, name=path.name)
    old = next(one for one in opened.sheets() if one.response.name == name)
    clashes = [
        Problem(
            f"{key[2]} by {key[0]}, reading {key[1]}: {new.cells[key][0]} here, "
            f"{old.cells[key][0]} in readings/{name}.csv. Look at the paper sheet.",
            file=path.name,
        )
        for key in new.values
        if key in old.values and old.values[key] != new.values[key]
    ]
    if old.own_columns:
        words = f"has columns of its own ({', '.join(old.own_columns)}). Type the readings into it."
        clashes.append(Problem(words, file=f"readings/{name}.csv"))
    problems = (*old.problems, *new.problems, *clashes)
    if problems:
        raise ProblemsFound(problems, hint="Nothing was entered.")
    entered = len(new.values.keys() - old.values.keys())
    blank = ("", "", "")
    cells = {
        key: tuple(
            here or there
            for here, there in zip(
                old.cells.get(key, blank), new.cells.get(key, blank), strict=True
            )
        )
        for key in {**old.cells, **new.cells}
    }
    atomic_write(opened.files.readings(name), gauge_text(opened.order, cells))
    left = len({(t.reader, t.repeat, t.stamp) for t in new.missing} - old.values.keys())
    if common.json:
        common.console.json({"response": name, "entered": entered, "missing": left})
        return int(ExitCode.FINE)
    common.console.line(f"Entered {entered} readings of {response.title}; {left} left to read.")
    common.console.next("check" if left else "analyse")
    return int(ExitCode.FINE)


def check_gauge_folder(common: Common, opened: GaugeOpened, *, strict: bool) -> int:
    """Say what is missing and what is wrong; return the exit code."""
    from weldtrial.cli.gauge_screen import show_missing

    sheets = opened.sheets()
    found = [*opened.warnings, *(one for sheet in sheets for one in sheet.problems)]
    mend = [one for one in found if strict or not one.warning]
    code = ExitCode.FIX_FILE if mend else ExitCode.FINE
    if common.json:
        common.console.json(
            {
                "exit": int(code),
                "trial": opened.trial.title,
                "purpose": "gauge",
                "sealed": "none",
                "order": opened.order.code,
                "read": {
                    one.response.name: {
                        "read": len(one.values),
                        "wanted": len(opened.order.tasks),
                        "missing": list(one.missing),
                    }
                    for one in sheets
                },
                "problems": found,
            }
        )
        return int(code)
    show_missing(common.console, opened, sheets)
    common.console.problems(found)
    done = not any(one.missing for one in sheets)
    laid = all(opened.files.readings(one.response.name).exists() for one in sheets)
    if done or not laid:
        common.console.next("analyse" if done else "sheets")
    else:
        common.console.next("check", "once more is read")
    return int(code)


def findings_of(opened: GaugeOpened) -> tuple[GaugeFindings, ...]:
    """Analyse every response.

    Raises
    ------
    ProblemsFound
        When a readings file has to be mended.
    NotEnough
        When readings are missing; they are named.
    """
    from weldtrial.analysis.gauge_answer import gauge_answer
    from weldtrial.cli.gauge_screen import missing_words

    sheets = opened.sheets()
    problems = [one for sheet in sheets for one in sheet.problems]
    if problems:
        raise ProblemsFound(problems)
    short = [one for one in sheets if one.missing]
    if short:
        told = " ".join(missing_words(one) for one in short)
        raise NotEnough(
            f"Every coupon must be read equally often, and readings are missing. {told}",
            hint="Take them. Or leave a coupon or a reader out: name those that stay under "
            "[gauge], and move the rows of the others to a file elsewhere.",
        )
    found = []
    for sheet in sheets:
        keys = list(sheet.values)
        try:
            found.append(
                gauge_answer(
                    sheet.response,
                    opened.gauge,
                    [sheet.values[key] for key in keys],
                    [key[2] for key in keys],
                    [key[0] for key in keys],
                )
            )
        except NotEstimable as error:
            hint = None if error.hint is None else f"{error.hint[:1].upper()}{error.hint[1:]}."
            raise NotEnough(f"{sheet.response.title}: {error.words}.", hint=hint) from error
    return tuple(found)


def analyse_gauge(common: Common, opened: GaugeOpened, refused: Sequence[str]) -> None:
    """Say whether the gauge is good enough."""
    from weldtrial.cli.gauge_screen import gauge_json, show_findings

    if refused:
        raise WrongUsage(
            f"weldtrial analyse: {', '.join(refused)} means nothing for a gauge study: it has no "
            "codes, no looks and no verdict."
        )
    found = findings_of(opened)
    if common.json:
        common.console.json(gauge_json(opened, found))
        return
    common.console.problems(opened.warnings)
    show_findings(common.console, opened, found)


def report_gauge(common: Common, opened: GaugeOpened, out: Path | None) -> None:
    """Write the study as a page."""
    from weldtrial.cli.gauge_page import gauge_page
    from weldtrial.shared.clock import now_text
    from weldtrial.shared.folder import atomic_write

    page: Any = gauge_page(opened, findings_of(opened), written=now_text())
    path = out or opened.files.report
    atomic_write(path, page)
    if common.json:
        common.console.json({"file": str(path)})
        return
    common.console.line(f"Wrote {opened.files.name_of(path)}")
    common.console.note("It needs nothing else: open it in a browser, print it, send it on.")
