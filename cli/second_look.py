"""A second entry of the same sheet: compared, shown, journalled; nothing else is written."""

from __future__ import annotations

from weldtrial.cli.bench_folder import OpenTrial, singular
from weldtrial.cli.options import Common
from weldtrial.shared.journal import note
from weldtrial.shared.problems import ExitCode, ProblemsFound
from weldtrial.shared.reading_sheet import Sheet
from weldtrial.shared.second_entry import compare


def look_twice(common: Common, opened: OpenTrial, first: Sheet, second: Sheet) -> int:
    """Compare a second entry with the readings file; exit 3 where they differ."""
    name = first.response.name
    problems = [one for one in (*first.table.problems, *second.problems) if not one.warning]
    if problems:
        raise ProblemsFound(problems, hint="Nothing was compared.")
    found = compare(first, second)
    differ = len(found.differences)
    agree = singular(found.agree, "reading agrees", "readings agree")
    counts = f"{agree}, {singular(differ, 'cell differs', 'cells differ')}"
    note(
        opened.folder.path,
        "second-entry",
        f"{name}: {counts} ({second.table.name})",
    )
    if common.json:
        common.console.json(
            {"response": name, "agree": found.agree, "differences": found.differences}
        )
    else:
        common.console.line(f"Second entry of {name}: {counts}.")
        if differ:
            rows = [
                (one.stamp, one.column, one.here or "(nothing)", one.second or "(nothing)")
                for one in found.differences
            ]
            common.console.table(("stamp", "column", "in the folder", "second entry"), rows)
            common.console.line("Look at the paper sheet; neither entry is taken for right.")
            stamp = found.differences[0].stamp
            command = f"record {name} --correct {stamp} --to VALUE --why WHY"
            common.console.next(command, "where the folder is wrong")
        else:
            common.console.next("check")
    return int(ExitCode.FIX_FILE if differ else ExitCode.FINE)
