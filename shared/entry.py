"""Planning what to write into the files that people own: empty cells only, or nothing at all."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from weldtrial.shared.csvtable import Row, Table, is_bare
from weldtrial.shared.overlay import same_text
from weldtrial.shared.problems import Problem
from weldtrial.shared.reading_sheet import Sheet, header_unit
from weldtrial.shared.readings import parse_failed_at, parse_reading, same_reading
from weldtrial.shared.record import Reading
from weldtrial.shared.units import canonical

BESIDE = ("failed_at", "reader", "read_on", "note", "guess")
"""Columns that stand beside a reading."""

_POINT = re.compile(r"(?<!\.)\.(?=\d)")


@dataclass(frozen=True, slots=True)
class Edit:
    """One empty cell to fill; `row` is the number a spreadsheet shows, None for a new row."""

    row: int | None
    column: str
    text: str
    stamp: str = ""


@dataclass(frozen=True, slots=True)
class EntryPlan:
    """What an entry would do.

    Attributes
    ----------
    edits
        Cells to fill.
    filled
        Readings (or weld log rows) that are new, by stamp in the order of the entry.
    already
        How many were there before, saying the same.
    problems
        Why nothing may be written.
    """

    edits: tuple[Edit, ...] = ()
    filled: tuple[tuple[str, Reading | None], ...] = ()
    already: int = 0
    problems: tuple[Problem, ...] = ()


def edited_text(table: Table, edits: Sequence[Edit]) -> str:
    """Return the file's text with the edits made, in the dialect that it had.

    Columns that the file lacks are added at its end; new rows go to the bottom.
    """
    records = [list(record) for record in table.records]
    places = dict(table.places)
    header = _header_row(table)
    added: dict[str, list[Edit]] = {}
    for edit in edits:
        if edit.column not in places:
            places[edit.column] = len(records[header])
            records[header].append(edit.column)
        if edit.row is None:
            added.setdefault(edit.stamp, []).append(edit)
        else:
            _put(records[edit.row - 1], places[edit.column], edit.text)
    for stamp, cells in added.items():
        record = [""] * len(records[header])
        _put(record, places["stamp"], stamp)
        for edit in cells:
            _put(record, places[edit.column], edit.text)
        records.append(record)
    return _written(records, table)


def _header_row(table: Table) -> int:
    typed = set(table.headers.values())
    return next(at for at, record in enumerate(table.records) if typed <= set(record))


def _put(record: list[str], place: int, text: str) -> None:
    record.extend([""] * (place + 1 - len(record)))
    record[place] = text


def _written(records: Iterable[Sequence[str]], table: Table) -> str:
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=table.delimiter, lineterminator=table.line_end)
    for record in records:
        # csv writes an empty row as nothing at all, which is what it was.
        writer.writerow(record)
    return ("\ufeff" if table.mark else "") + out.getvalue()


def in_dialect(text: str, decimal: str, table: Table) -> str:
    """Return a reading's text with the decimal sign of the file it goes into."""
    if decimal == table.decimal:
        return text
    if decimal == ".":
        return _POINT.sub(",", text)
    return text.replace(",", ".")


def spelt_for(sheet: Sheet, text: str, decimal: str, unit: str | None) -> str:
    """Return a reading's text as it must stand in the sheet.

    Parameters
    ----------
    unit
        The unit of a bare number in `text`; None for the response's own.
    """
    spelt = in_dialect(text, decimal, sheet.table)
    if sheet.response.kind != "number" or not any(letter.isdigit() for letter in text):
        return spelt
    own = canonical(unit or sheet.response.unit)
    wanted = canonical(header_unit(sheet.table, sheet.response) or sheet.response.unit)
    return f"{spelt} {own}" if is_bare(text) and own != wanted else spelt


# ------------------------------------------------------------------ readings


def plan_readings(
    sheet: Sheet, incoming: Sheet, beside: Mapping[str, str] | None = None
) -> EntryPlan:
    """Plan the entry of a file of readings into a readings file.

    A reading that is there already, as first typed or as corrected, is left alone; others go
    into empty cells of their stamp; one too many is a problem, never an overwriting.

    Parameters
    ----------
    beside
        Reader and date for new readings that do not say them.
    """
    planner = _Planner(sheet, incoming, beside or {})
    for stamp, rows in incoming.rows.items():
        planner.take(stamp, [row for row in rows if row["reading"]])
    return EntryPlan(
        tuple(planner.edits), tuple(planner.filled), planner.already, tuple(planner.problems)
    )


@dataclass(frozen=True, slots=True)
class _Cell:
    """A row of the sheet that holds a reading: as typed, as it counts now, and its cells."""

    row: Row
    typed: Reading | None
    now: Reading | None
    cells: Mapping[str, str]


class _Planner:
    def __init__(self, sheet: Sheet, incoming: Sheet, beside: Mapping[str, str]) -> None:
        self.sheet = sheet
        self.incoming = incoming
        self.beside = beside
        self.unit = header_unit(incoming.table, incoming.response)
        self.edits: list[Edit] = []
        self.filled: list[tuple[str, Reading | None]] = []
        self.already = 0
        self.problems: list[Problem] = []
        self.now = {row.number: row for row in sheet.laid.rows}

    def take(self, stamp: str, rows: Sequence[Row]) -> None:
        """Place all incoming readings of one stamp."""
        here = self.sheet.rows.get(stamp, ())
        taken = [self._cell(row) for row in here if row["reading"]]
        empty = [row for row in here if not row["reading"]]
        fresh = []
        for row in rows:
            reading = self._read(row["reading"], self.incoming.table.decimal, self.unit)
            if reading is None:
                continue
            match = next((one for one in taken if self._same(one, reading)), None)
            if match is None:
                fresh.append((row, reading))
                continue
            taken.remove(match)
            self.already += 1
            self._fill_beside(row, match)
        room = self.sheet.response.sections - len(here)
        for row, reading in fresh:
            if empty:
                self._fill(stamp, row, reading, empty.pop(0).number)
            elif room > 0:
                self._fill(stamp, row, reading, None)
                room -= 1
            else:
                self._no_room(stamp, row, taken)

    def _read(self, text: str, decimal: str, unit: str | None) -> Reading | None:
        reading = parse_reading(text, self.sheet.response, decimal, unit=unit)
        return None if isinstance(reading, Problem) else reading

    def _cell(self, row: Row) -> _Cell:
        now = self.now.get(row.number, row)
        decimal = self.sheet.table.decimal
        unit = header_unit(self.sheet.table, self.sheet.response)
        typed = self._read(row["reading"], decimal, unit)
        return _Cell(row, typed, self._read(now["reading"], decimal, unit), now.cells)

    @staticmethod
    def _same(cell: _Cell, reading: Reading) -> bool:
        return any(one is not None and same_reading(one, reading) for one in (cell.typed, cell.now))

    def _fill(self, stamp: str, row: Row, reading: Reading, number: int | None) -> None:
        decimal = self.incoming.table.decimal
        text = spelt_for(self.sheet, reading.text, decimal, self.unit)
        self.edits.append(Edit(number, "reading", text, stamp))
        here = next((one for one in self.sheet.table.rows if one.number == number), None)
        for column in BESIDE:
            typed = self._spelt(column, row[column] or self.beside.get(column, ""))
            kept = here[column] if here is not None else ""
            if typed and not kept:
                self.edits.append(Edit(number, column, typed, stamp))
            elif row[column] and not same_text(kept, row[column]):
                self._differs(row, column, kept)
        self.filled.append((stamp, replace(reading, failed_at=row["failed_at"])))

    def _fill_beside(self, row: Row, cell: _Cell) -> None:
        """Fill what stands empty beside a reading that is there already."""
        for column in BESIDE:
            kept, now = cell.row[column], cell.cells.get(column, "")
            if row[column] and not kept:
                text = self._spelt(column, row[column])
                self.edits.append(Edit(cell.row.number, column, text, row["stamp"].upper()))
            elif row[column] and not (same_text(kept, row[column]) or same_text(now, row[column])):
                self._differs(row, column, kept)

    def _spelt(self, column: str, text: str) -> str:
        """Spell where it broke as the list does."""
        if column != "failed_at":
            return text
        found = parse_failed_at(text, self.sheet.response)
        return found if isinstance(found, str) else text

    def _differs(self, row: Row, column: str, kept: str) -> None:
        words = (
            f"{column} of {row['stamp']} is '{kept}' already, here it is '{row[column]}'. To "
            f"change it:  weldtrial record {self.sheet.response.name} --correct {row['stamp']} "
            f"--column {column}"
        )
        self._say(row, column, words)

    def _no_room(self, stamp: str, row: Row, taken: Sequence[_Cell]) -> None:
        name = self.sheet.response.name
        kept = (
            ", ".join(f"{one.cells.get('reading', '')} on row {one.row.number}" for one in taken)
            or "all its cuts"
        )
        words = (
            f"{stamp} has {kept} already, here it is {row['reading']}. Nothing typed is "
            f"overwritten; to change it:  weldtrial record {name} --correct {stamp}"
        )
        self._say(row, "reading", words)

    def _say(self, row: Row, column: str, words: str) -> None:
        self.problems.append(
            Problem(
                words,
                file=self.incoming.table.name,
                row=row.number,
                column=column,
                value=row[column],
            )
        )
