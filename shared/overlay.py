"""Corrections laid over a table: what counts now, and what was typed first."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from weldtrial.shared.csvtable import Row, Table, clean
from weldtrial.shared.problems import Problem
from weldtrial.shared.record import Correction

_POINT = re.compile(r"(?<!\.)\.(?=\d)")
_NUMBERS = re.compile(r"[<>]? *[+-]?[\d.]*\d( *[^\d.,\-:]+.*)?")


@dataclass(frozen=True, slots=True)
class Overlaid:
    """Rows as they count now.

    Attributes
    ----------
    first, why
        What was typed first, and why it last became something else, for each (row number,
        column) that was corrected.
    """

    rows: tuple[Row, ...] = ()
    first: dict[tuple[int, str], str] = field(default_factory=dict)
    why: dict[tuple[int, str], str] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()

    def struck_out(self, row: Row, column: str) -> bool:
        """Tell whether a correction emptied the cell."""
        return (row.number, column) in self.first and not row[column]


def same_text(first: str, second: str) -> bool:
    """Tell whether two cells say the same: as text, or as a number whatever its decimal sign."""
    one, other = (clean(text).casefold().replace(",", ".") for text in (first, second))
    if one == other:
        return True
    try:
        return float(one) == float(other)
    except ValueError:
        return False


def overlay(table: Table, corrections: Sequence[Correction]) -> Overlaid:
    """Lay the corrections of this file over its rows, in the order they were made.

    A correction replaces the first cell of its stamp and column that reads `was`; one that
    empties a cell (a duplicate struck out) the last such cell.  One that finds no such cell is
    a problem: somebody has changed the file itself.
    """
    cells = {row.number: dict(row.cells) for row in table.rows}
    first: dict[tuple[int, str], str] = {}
    why: dict[tuple[int, str], str] = {}
    problems = []
    for number, correction in enumerate(corrections, start=2):
        if correction.file != table.name:
            continue
        row = _target(table.rows, cells, correction)
        if row is None:
            problems.append(_no_such_cell(number, correction))
            continue
        first.setdefault((row, correction.column), cells[row].get(correction.column, ""))
        cells[row][correction.column] = _in_file(correction.now, table)
        why[row, correction.column] = correction.why
    rows = tuple(Row(row.number, cells[row.number]) for row in table.rows)
    # A file that could not be read has its own problem; that nothing is found there is no news.
    return Overlaid(rows, first, why, tuple(problems) if table.rows else ())


def _in_file(now: str, table: Table) -> str:
    """Give a number the decimal sign of its file: corrections.csv always has points."""
    return _POINT.sub(",", now) if table.decimal == "," and _NUMBERS.fullmatch(now) else now


def _target(
    rows: Iterable[Row], cells: dict[int, dict[str, str]], correction: Correction
) -> int | None:
    numbers = [
        row.number
        for row in rows
        if row["stamp"].upper() == correction.stamp.upper()
        and same_text(cells[row.number].get(correction.column, ""), correction.was)
    ]
    if not numbers:
        return None
    return numbers[0] if correction.now else numbers[-1]


def _no_such_cell(number: int, correction: Correction) -> Problem:
    words = (
        f"it corrects {correction.stamp} from '{correction.was}', and {correction.file} has no "
        f"such {correction.column} any more. Put the old value back in {correction.file}: the "
        "file keeps what was first typed, corrections.csv what it became."
    )
    return Problem(
        words, file="corrections.csv", row=number, column=correction.column, value=correction.was
    )
