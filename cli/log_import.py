"""Importing a weld log from another file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldtrial.cli.bench_folder import OpenTrial, singular
from weldtrial.cli.options import Common
from weldtrial.shared.bench import Bench
from weldtrial.shared.csvtable import Decimal, parse_table
from weldtrial.shared.entry import EntryPlan, edited_text
from weldtrial.shared.folder import atomic_write
from weldtrial.shared.log_entry import plan_log
from weldtrial.shared.problems import ExitCode, ProblemsFound
from weldtrial.shared.weld_log import FILE, check_log, log_shape

if TYPE_CHECKING:
    from weldtrial.cli.importing import Source

_NOTHING = "Nothing was written."


def import_log(
    common: Common,
    opened: OpenTrial,
    bench: Bench,
    source: Source,
    decimal: Decimal | None,
    yes: bool,
) -> int:
    """Fill the weld log's empty cells from `source`, or refuse the whole file."""
    broken = [one for one in bench.log.table.problems if not one.warning]
    if broken:
        raise ProblemsFound(broken, hint=_NOTHING)
    incoming = parse_table(source.data, source.name, log_shape(opened.trial), decimal)
    entry = plan_log(bench.log, incoming, opened.trial, opened.plan, bench.corrections)
    if entry.problems:
        raise ProblemsFound(entry.problems, hint=f"{_NOTHING} Mend the file, then run this again.")
    _preview(common, entry)
    count = singular(len(entry.filled), "coupon")
    asks = common.console.may_ask and not yes and bool(entry.edits)
    if asks and not common.console.confirm(f"Write the log of {count} to {FILE}?", True):
        common.console.line(_NOTHING)
        return int(ExitCode.FINE)
    if entry.edits:
        atomic_write(opened.folder.weld_log, edited_text(bench.log.table, entry.edits))
    if common.json:
        common.console.json(
            {
                "file": FILE,
                "written": len(entry.filled),
                "already": entry.already,
                "cells": [
                    {"stamp": one.stamp, "column": one.column, "text": one.text}
                    for one in entry.edits
                ],
            }
        )
    elif entry.edits:
        common.console.line(f"Saved the log of {count} to {FILE}.")
        common.console.next("check")
    else:
        already = singular(entry.already, "coupon")
        common.console.line(f"Nothing new: {already} in {FILE} already. Nothing was changed.")
        common.console.next("check")
    return int(ExitCode.FINE)


def save_log_again(
    common: Common, opened: OpenTrial, source: Source, decimal: Decimal | None
) -> int:
    """Mend the folder's own weld log, its decimal commas put together again."""
    from weldtrial.cli.importing import save_again

    table = parse_table(source.data, FILE, log_shape(opened.trial), decimal)
    checked = check_log(table, opened.trial, opened.plan)
    if any(not problem.warning for problem in checked.problems):
        raise ProblemsFound(checked.problems, hint=_NOTHING)
    welded = sum(line.welded for line in checked.lines.values())
    count = singular(welded, "welded coupon")
    return save_again(common, table, source, opened.folder.weld_log, count)


def _preview(common: Common, entry: EntryPlan) -> None:
    if common.quiet or not entry.edits:
        return
    by_stamp: dict[str, list[str]] = {}
    for one in entry.edits:
        by_stamp.setdefault(one.stamp, []).append(f"{one.column} {one.text}")
    common.console.line("Understood, weld log:")
    common.console.table(
        ("stamp", "to be filled in"),
        [(stamp, ", ".join(cells)) for stamp, cells in by_stamp.items()],
    )
