"""Corrections planned: which cell, what it was, what it becomes, and whether that may be.

A correction never touches the file it corrects; it is one line of ``corrections.csv``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from weldtrial.shared.bench import Bench
from weldtrial.shared.chain import CORRECTION_FIELDS, append
from weldtrial.shared.clock import now_text
from weldtrial.shared.csvtable import Row, Table
from weldtrial.shared.folder import Folder
from weldtrial.shared.overlay import overlay, same_text
from weldtrial.shared.plan import Plan
from weldtrial.shared.problems import Problem, ProblemsFound, WrongUsage, nearest
from weldtrial.shared.reading_sheet import Sheet, check_sheet, file_of
from weldtrial.shared.record import Correction
from weldtrial.shared.stamps_written import nearest_stamp
from weldtrial.shared.trial import Trial
from weldtrial.shared.weld_log import FILE as LOG_FILE
from weldtrial.shared.weld_log import check_log

LOG = "weld_log"
"""What the weld log is called where a response could be named."""

_FIXED = ("stamp", "run", "setup")


@dataclass(frozen=True, slots=True)
class Wanted:
    """A correction as asked for; None where it was not said.

    Attributes
    ----------
    where
        A response, or ``weld_log``.
    to
        The new text; empty strikes a surplus reading out.
    was
        Which of several readings is meant.
    """

    stamp: str
    to: str
    why: str
    where: str | None = None
    was: str | None = None
    column: str | None = None
    who: str = ""


def plan_correction(
    wanted: Wanted, bench: Bench, trial: Trial, plan: Plan, codes_open: bool
) -> tuple[Correction, ...]:
    """Return the lines to add to ``corrections.csv``; none when the cell reads so already.

    Raises
    ------
    WrongUsage
        When it does not say which cell is meant, or why.
    ProblemsFound
        When there is no such stamp or reading, or the new text cannot stand there.
    """
    if not wanted.why.strip():
        raise WrongUsage("A correction needs its reason:  --why WHY. It is kept for good.")
    stamp = wanted.stamp.upper()
    if stamp not in plan.by_stamp():
        close = nearest_stamp(stamp, plan.by_stamp())
        hint = f" Nearest {close}." if close else ""
        words = f"stamp '{wanted.stamp}' is not in this trial.{hint} Look at the plate."
        raise ProblemsFound([Problem(words)])
    where = wanted.where or _only_place(stamp, bench)
    table = bench.log.table if where == LOG else bench.sheets[where].table
    unreadable = [one for one in table.problems if not one.warning]
    if unreadable:
        raise ProblemsFound(unreadable, hint="Mend the file first; nothing was written.")
    if where == LOG:
        lines = _in_log(stamp, wanted, bench)
    else:
        lines = _in_sheet(stamp, wanted, bench.sheets[where])
    corrections = tuple(
        Correction(
            now_text(), wanted.who, file, stamp, column, was, now, wanted.why, codes_open, ""
        )
        for file, column, was, now in lines
        if was != now
    )
    _must_stand(corrections, where, bench, trial, plan)
    return corrections


def append_corrections(folder: Folder, corrections: Sequence[Correction]) -> None:
    """Add corrections to the folder's file; raises as `chain.append`."""
    for one in corrections:
        row = {name: str(getattr(one, name)) for name in CORRECTION_FIELDS}
        row["codes_open"] = "yes" if one.codes_open else "no"
        append(folder.corrections, CORRECTION_FIELDS, row)


Line = tuple[str, str, str, str]
"""File, column, was, now."""


def _only_place(stamp: str, bench: Bench) -> str:
    """Return the one response that has a reading of the stamp."""
    places = [name for name, sheet in bench.sheets.items() if _rows_with(stamp, sheet, "reading")]
    if len(places) == 1:
        return places[0]
    if not places:
        broken = [one for sheet in bench.sheets.values() for one in sheet.table.problems]
        if any(not one.warning for one in broken):
            raise ProblemsFound(broken, hint="Mend the file first; nothing was written.")
        words = f"{stamp} has no reading yet, so there is nothing to correct. Enter it:"
        raise ProblemsFound([Problem(f"{words}  weldtrial record")])
    listed = " and ".join(places)
    raise WrongUsage(
        f"{stamp} has readings of {listed}. Say which:  "
        f"weldtrial record {places[0]} --correct {stamp} …"
    )


def _rows_with(stamp: str, sheet: Sheet, column: str) -> list[Row]:
    """Return the rows of a stamp, corrections laid over them, that hold a reading."""
    return [
        row
        for row in sheet.laid.rows
        if row["stamp"].upper() == stamp and row["reading"] and (column in row.cells)
    ]


def _in_sheet(stamp: str, wanted: Wanted, sheet: Sheet) -> list[Line]:
    column = wanted.column or "reading"
    file = file_of(sheet.response.name)
    _known_column(column, sheet.table, file)
    rows = _rows_with(stamp, sheet, column)
    if not rows:
        words = f"{stamp} has no reading of {sheet.response.name} yet. Enter it:"
        command = f"weldtrial record {sheet.response.name}"
        raise ProblemsFound([Problem(f"{words}  {command}", file=file)])
    now = wanted.to.strip()
    if column == "reading":
        now = re.sub(r"(?<=\d),(?=\d)", ".", now)
    surplus = len(rows) > sheet.response.sections
    if wanted.was is None and surplus and sheet.response.sections == 1 and column == "reading":
        if not now:
            raise WrongUsage(f"Say which reading of {stamp} holds:  --to VALUE")
        return [(file, column, text, new) for text, new in _keep_one(rows, now)]
    row = _the_row(rows, column, wanted, stamp)
    if not now and column == "reading" and not surplus:
        raise WrongUsage(f"{stamp}: a reading cannot be taken away; write  --to lost  and why.")
    return [(file, column, row[column], now)]


def _keep_one(rows: Sequence[Row], now: str) -> list[tuple[str, str]]:
    """Strike out all duplicates but the first, and let the first read `now`."""
    struck = [(row["reading"], "") for row in rows[1:]]
    return [*struck, (rows[0]["reading"], now)]


def _the_row(rows: Sequence[Row], column: str, wanted: Wanted, stamp: str) -> Row:
    """Return the row meant, which `was` names where there are several."""
    if wanted.was is not None:
        of = "reading" if column == "reading" else column
        found = [row for row in rows if same_text(row[of], wanted.was)]
        if found:
            return found[0]
        listed = ", ".join(row[of] for row in rows)
        words = f"{stamp} has no {of} '{wanted.was}'; it has {listed}."
        raise ProblemsFound([Problem(words)])
    if len(rows) > 1:
        listed = ", ".join(row[column] for row in rows)
        raise WrongUsage(
            f"{stamp} has {len(rows)} of them ({listed}). Say which:  --was {rows[0][column]}"
        )
    return rows[0]


def _in_log(stamp: str, wanted: Wanted, bench: Bench) -> list[Line]:
    column = wanted.column
    if column is None:
        raise WrongUsage("Which column of the weld log?  --column went_wrong")
    if column in _FIXED:
        raise WrongUsage(f"{column} was laid out from the plan; put it back in {LOG_FILE} itself.")
    _known_column(column, bench.log.table, LOG_FILE)
    rows = [
        row
        for row in overlay(bench.log.table, bench.corrections).rows
        if row["stamp"].upper() == stamp
    ]
    if not rows or not rows[0][column]:
        words = f"{column} of {stamp} is empty; write it into {LOG_FILE} itself."
        raise ProblemsFound([Problem(words, file=LOG_FILE, column=column)])
    row = _the_row(rows, column, wanted, stamp)
    return [(LOG_FILE, column, row[column], wanted.to.strip())]


def _known_column(column: str, table: Table, file: str) -> None:
    if column in _FIXED or column not in table.places:
        close = nearest(column, table.places)
        hint = f" Did you mean {close} ?" if close and close not in _FIXED else ""
        raise WrongUsage(f"{file} has no column '{column}' that could be corrected.{hint}")


def _must_stand(
    corrections: Sequence[Correction], where: str, bench: Bench, trial: Trial, plan: Plan
) -> None:
    """Refuse corrections that would leave the file with a problem it has not now."""
    every = (*bench.corrections, *corrections)
    if where == LOG:
        before = bench.log.problems
        after = check_log(bench.log.table, trial, plan, every).problems
    else:
        sheet = bench.sheets[where]
        before = sheet.problems
        after = check_sheet(sheet.table, sheet.response, plan, every).problems
    known = {one.words for one in before}
    found = [one for one in after if not one.warning and one.words not in known]
    if found:
        raise ProblemsFound(found)
