"""Planning the entry of a weld log from another file: empty cells only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from weldtrial.shared.csvtable import Row, Table, is_bare, parse_table, plain_header
from weldtrial.shared.entry import Edit, EntryPlan, edited_text, in_dialect
from weldtrial.shared.overlay import same_text
from weldtrial.shared.plan import Plan
from weldtrial.shared.problems import Problem
from weldtrial.shared.record import Correction
from weldtrial.shared.trial import Trial
from weldtrial.shared.units import canonical
from weldtrial.shared.weld_log import (
    FILE,
    WeldLog,
    cell_value,
    check_log,
    column_units,
    log_shape,
    stem,
    unit_headers,
)

_LAID_OUT = ("run", "stamp", "setup")


def plan_log(
    log: WeldLog,
    incoming: Table,
    trial: Trial,
    plan: Plan,
    corrections: Sequence[Correction] = (),
) -> EntryPlan:
    """Plan the entry of a weld log's cells into the folder's own.

    Cells that say the same are left alone, empty ones are filled, and one that says something
    else is a problem.  The log as it would then stand is checked too.
    """
    checked = check_log(incoming, trial, plan)
    problems = [one for one in checked.problems if not one.warning]
    edits: list[Edit] = []
    filled: list[tuple[str, None]] = []
    already = 0
    here = {row["stamp"].upper(): row for row in log.table.rows}
    for row in incoming.rows:
        stamp = row["stamp"].upper()
        if stamp not in checked.lines:
            continue
        new, clashes = _row(log.table, here.get(stamp), incoming, row, trial)
        problems += clashes
        edits += new
        if new:
            filled.append((stamp, None))
        elif any(text for column, text in row.cells.items() if column not in _LAID_OUT):
            already += 1
    if not problems:
        problems += _new_problems(log, edits, trial, plan, corrections)
    return EntryPlan(tuple(edits), tuple(filled), already, tuple(problems))


def _row(
    table: Table, here: Row | None, incoming: Table, row: Row, trial: Trial
) -> tuple[list[Edit], list[Problem]]:
    edits, problems = [], []
    for column, text in row.cells.items():
        kept = here[column] if here is not None else ""
        if not text or column == "stamp":
            continue
        if not kept:
            spelt = _spelt(table, incoming, column, text, trial)
            edits.append(Edit(here.number if here else None, column, spelt, row["stamp"].upper()))
        elif not _same(table, kept, incoming, text, column, trial):
            words = (
                f"{column} of {row['stamp']} is '{kept}' already, here it is '{text}'. To change "
                f"it:  weldtrial record weld_log --correct {row['stamp']} --column {column}"
            )
            problems.append(Problem(words, incoming.name, None, row.number, column, text))
    return edits, problems


def _same(table: Table, kept: str, incoming: Table, text: str, column: str, trial: Trial) -> bool:
    units = column_units(trial)
    if column not in units:
        return same_text(kept, text)
    first = cell_value(table, column, kept, units[column])
    second = cell_value(incoming, column, text, units[column])
    return first == second and not isinstance(first, str)


def _spelt(table: Table, incoming: Table, column: str, text: str, trial: Trial) -> str:
    """Return a cell's text with the decimal sign, and if need be the unit, of the log."""
    units = column_units(trial)
    if column not in units:
        return text
    spelt = in_dialect(text, incoming.decimal, table)

    def unit_in(one: Table) -> str:
        header = plain_header(one.headers.get(column, column))
        return unit_headers(stem(column), units[column]).get(header, canonical(units[column]))

    written, wanted = unit_in(incoming), unit_in(table)
    return f"{spelt} {written}" if is_bare(text) and written != wanted else spelt


def _new_problems(
    log: WeldLog,
    edits: Sequence[Edit],
    trial: Trial,
    plan: Plan,
    corrections: Sequence[Correction],
) -> list[Problem]:
    """Return what would be wrong with the log that is not wrong now."""
    text = edited_text(log.table, edits)
    table = parse_table(text.encode(), FILE, log_shape(trial), log.table.decimal)
    before = {(one.words, one.column) for one in log.problems}
    after = check_log(table, trial, plan, corrections).problems
    return [
        replace(one, words=f"as it would then stand: {one.words}")
        for one in after
        if not one.warning and (one.words, one.column) not in before
    ]
