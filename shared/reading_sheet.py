"""One readings file: a sheet filled in by one reader, stamps only."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

from weldtrial.shared.another_unit import all_far
from weldtrial.shared.blank_files import GUESS, READING_COLUMNS
from weldtrial.shared.csvtable import Decimal, Row, Shape, Table, plain_header, read_table
from weldtrial.shared.factors import Factor
from weldtrial.shared.guesses import parse_guess
from weldtrial.shared.overlay import Overlaid, overlay
from weldtrial.shared.plan import Plan
from weldtrial.shared.problems import Problem
from weldtrial.shared.readings import (
    find_slip,
    odd_limit,
    odd_place,
    parse_failed_at,
    parse_reading,
    placed,
)
from weldtrial.shared.record import Correction, Reading
from weldtrial.shared.responses import Response
from weldtrial.shared.stamps_written import unknown_stamp
from weldtrial.shared.weld_log import unit_headers

AS_READ = "as read"
"""A note that begins so says that an odd reading was looked at and is right."""

_OTHER_WORDS = {
    "where": "failed_at",
    "broke_where": "failed_at",
    "broke_at": "failed_at",
    "remark": "note",
    "remarks": "note",
    "notes": "note",
    "comment": "note",
}

_ORDINAL = ("first", "second", "third", "fourth", "fifth", "sixth")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A readings file, read.

    Attributes
    ----------
    readings
        Readings by stamp in the order of the file, corrections laid over them.
    rows
        All rows of each stamp, empty ones too, as typed.
    laid
        The rows with corrections laid over them.
    slips
        Those of the problems (warnings) that doubt a reading.
    """

    response: Response
    table: Table
    readings: Mapping[str, tuple[Reading, ...]] = field(default_factory=dict)
    rows: Mapping[str, tuple[Row, ...]] = field(default_factory=dict)
    laid: Overlaid = field(default_factory=Overlaid)
    slips: tuple[Problem, ...] = ()
    problems: tuple[Problem, ...] = ()

    @property
    def numbers(self) -> tuple[float, ...]:
        """All readings that are plain numbers."""
        every = (one for readings in self.readings.values() for one in readings)
        return tuple(one.value for one in every if one.value is not None)


def file_of(response: str) -> str:
    """Return a readings file's name in messages and in ``corrections.csv``."""
    return f"readings/{response}.csv"


def sheet_shape(response: Response) -> Shape:
    """Return what a readings file of the response should hold."""
    stems = (response.name, "reading")
    aliases = {name: "reading" for stem in stems for name in unit_headers(stem, response.unit)}
    aliases |= _OTHER_WORDS
    columns = frozenset({"reading"})
    numbers = columns if response.kind == "number" else frozenset[str]()
    return Shape((*READING_COLUMNS, GUESS), ("stamp", "reading"), numbers, numbers, aliases)


def header_unit(table: Table, response: Response) -> str | None:
    """Return the unit that the header of the readings names, None for the response's own."""
    header = plain_header(table.headers.get("reading", ""))
    for stem in (response.name, "reading"):
        found = unit_headers(stem, response.unit).get(header)
        if found is not None:
            return found
    return None


def read_sheet(
    path: Path,
    response: Response,
    plan: Plan,
    corrections: Sequence[Correction] = (),
    *,
    blind: bool = False,
    guess: Factor | None = None,
    decimal: Decimal | None = None,
) -> Sheet:
    """Read a readings file; a broken file gives no readings and problems.

    See `check_sheet`.
    """
    table = read_table(path, file_of(response.name), sheet_shape(response), decimal)
    return check_sheet(table, response, plan, corrections, blind=blind, guess=guess)


def check_sheet(
    table: Table,
    response: Response,
    plan: Plan,
    corrections: Sequence[Correction] = (),
    *,
    blind: bool = False,
    guess: Factor | None = None,
    complete: bool = True,
    known: Sequence[float] = (),
    doubt_corrected: bool = False,
) -> Sheet:
    """Return the readings of a file that was read as a table, with every problem.

    Parameters
    ----------
    corrections
        Corrections of any file; those of this one are laid over it.
    blind
        Whether who reads must not know the gas, so that the reader should be named.
    guess
        The factor whose level the reader is asked to guess; without it the column is not read.
    complete
        False for a file that is to be entered and may hold some of the readings only.
    known
        Readings from elsewhere that tell what is usual.
    doubt_corrected
        Also doubt corrected readings, which somebody has looked at already.
    """
    laid = overlay(table, corrections)
    reader = _Reader(table, response, plan, laid, guess)
    for row in laid.rows:
        reader.take(row)
    found = reader.found
    slips = _slips(found, response, table.decimal, known, doubt_corrected)
    slips = [replace(one, file=table.name) for one in slips]
    values = [r.value for readings in found.values() for r in readings if r.value is not None]
    far = all_far(values, response)
    problems = [
        *reader.problems,
        *_too_many(found, response, complete),
        *slips,
        *([Problem(far, column="reading", value="", warning=True)] if far else ()),
        *(_missing_cuts(found, laid.rows, response) if complete else ()),
        *(_nameless_reader(found) if blind else ()),
    ]
    placed_here = (replace(one, file=one.file or table.name) for one in problems)
    return Sheet(
        response,
        table,
        {stamp: tuple(readings) for stamp, readings in found.items()},
        _by_stamp(table.rows),
        laid,
        tuple(slips),
        (*table.problems, *laid.problems, *placed_here),
    )


def _by_stamp(rows: Iterable[Row]) -> dict[str, tuple[Row, ...]]:
    found: dict[str, tuple[Row, ...]] = {}
    for row in rows:
        stamp = row["stamp"].upper()
        found[stamp] = (*found.get(stamp, ()), row)
    return found


class _Reader:
    """Turns rows into readings, collecting what is wrong."""

    def __init__(self, table: Table, response: Response, plan: Plan, laid: Overlaid,
                 guess: Factor | None = None) -> None:  # fmt: skip
        self.guess = guess
        self.table = table
        self.response = response
        self.laid = laid
        self.unit = header_unit(table, response)
        self.roles = {run.stamp: run.role for run in plan.runs}
        self.rows = {row["stamp"].upper(): row.number for row in reversed(table.rows)}
        self.found: dict[str, list[Reading]] = {}
        self.problems: list[Problem] = []

    def say(self, row: Row, column: str, words: str, *, warning: bool = False) -> None:
        self.problems.append(
            Problem(words, row=row.number, column=column, value=row[column], warning=warning)
        )

    def take(self, row: Row) -> None:
        """Read one row."""
        stamp = row["stamp"].upper()
        role = self.roles.get(stamp)
        if role is None:
            if any(row.cells.values()):
                self.say(row, "stamp", unknown_stamp(row["stamp"], self.roles, self.rows))
            return
        if role == "warm-up":
            self.say(row, "stamp", f"{stamp} is a warm-up and is never read. Take the row out.")
            return
        if not row["reading"]:
            self._without_reading(row)
            return
        reading = self._reading(row)
        if reading is not None:
            self.found.setdefault(stamp, []).append(reading)

    def _without_reading(self, row: Row) -> None:
        if self.laid.struck_out(row, "reading"):
            return
        if row["note"].casefold().startswith("lost"):
            self.say(row, "note", "the note says lost; write  lost  as the reading.", warning=True)
        elif row["failed_at"]:
            words = "says where it broke, but there is no reading. Type it in, or  lost."
            self.say(row, "failed_at", words, warning=True)

    def _reading(self, row: Row) -> Reading | None:
        reading = self._parsed(row, row["reading"], row["failed_at"])
        if isinstance(reading, Problem):
            self.problems.append(replace(reading, row=row.number))
            return None
        if reading.kind == "lost" and not reading.note:
            reading = replace(reading, note=self.laid.why.get((row.number, "reading"), ""))
        if reading.kind == "lost" and not reading.note:
            what = "slipped in the test" if reading.failed_at == "slipped" else "is lost"
            words = f"{row['stamp']} {what}, and no reason is given. Write why in note."
            self.say(row, "note", words, warning=True)
        for column, words in (
            ("failed_at", odd_place(reading, self.response)),
            ("reading", "" if row["note"] else odd_limit(reading, self.response)),
        ):
            if words:
                self.say(row, column, words, warning=True)
        if row["read_on"] and parse_day(row["read_on"]) is None:
            words = f"'{row['read_on']}' is not a date. Write it as 2026-06-14."
            self.say(row, "read_on", words, warning=True)
        if self.guess is not None:
            guess = parse_guess(row[GUESS], self.guess)
            if isinstance(guess, Problem):
                self.problems.append(replace(guess, row=row.number))
            else:
                reading = replace(reading, guess=guess)
        if not self._was_corrected(row):
            return reading
        return replace(reading, corrected=True, first=self._as_first_typed(row))

    def _parsed(self, row: Row, text: str, failed_at: str) -> Reading | Problem:
        reading = parse_reading(text, self.response, self.table.decimal, unit=self.unit)
        where = parse_failed_at(failed_at, self.response)
        if isinstance(reading, Problem):
            return reading
        if isinstance(where, Problem):
            return where
        return replace(
            placed(reading, where),
            reader=row["reader"],
            read_on=row["read_on"],
            note=row["note"],
            row=row.number,
        )

    def _was_corrected(self, row: Row) -> bool:
        return any((row.number, column) in self.laid.first for column in ("reading", "failed_at"))

    def _as_first_typed(self, row: Row) -> Reading | None:
        """Return what was typed first; None where that was no reading at all."""
        first = self.laid.first
        text = first.get((row.number, "reading"), row["reading"])
        failed_at = first.get((row.number, "failed_at"), row["failed_at"])
        reading = self._parsed(row, text, failed_at)
        return None if isinstance(reading, Problem) else reading


def parse_day(text: str) -> date | None:
    """Return the day that ``2026-06-14`` names, with or without a time; None for anything else."""
    try:
        return date.fromisoformat(re.split(r"[T ]", text)[0])
    except ValueError:
        return None


def _too_many(
    found: Mapping[str, Sequence[Reading]], response: Response, kept: bool
) -> list[Problem]:
    """Find coupons read more often than planned."""
    problems = []
    for stamp, readings in found.items():
        if len(readings) <= response.sections:
            continue
        listed = ", ".join(f"row {one.row}: {one.text}" for one in readings)
        what = response.name.replace("_", " ")
        if response.sections == 1:
            count = "two" if len(readings) == 2 else str(len(readings))
            words = f"{stamp} has {count} {what}s ({listed}). A coupon breaks once."
            if response.unit not in ("kN", "N", "lbf"):
                words = f"{stamp} has {count} readings of {what} ({listed}); one is planned."
        else:
            words = (
                f"{stamp} has {len(readings)} readings of {what} ({listed}); "
                f"{response.sections} cuts are planned."
            )
        words += (
            f" Keep one with  weldtrial record --correct {stamp}  and say why."
            if kept
            else " Leave in the file what was read."
        )
        last = readings[-1]
        problems.append(Problem(words, row=last.row, column="reading", value=last.text))
    return problems


def _slips(
    found: Mapping[str, Sequence[Reading]],
    response: Response,
    decimal: str,
    known: Sequence[float],
    doubt_corrected: bool,
) -> list[Problem]:
    """Doubt readings that look mistyped, unless the note says that they were looked at."""
    numbers = [one for readings in found.values() for one in readings if one.value is not None]
    problems = []
    for one in numbers:
        others = [other.value for other in numbers if other is not one and other.value is not None]
        slip = find_slip(one, response, [*known, *others], decimal)
        if one.corrected and not doubt_corrected:
            continue
        if slip is None or one.note.casefold().startswith(AS_READ):
            continue
        meant = f" Meant {slip.meant}?" if slip.meant else ""
        words = f"{slip.words}{meant} If it is right, begin the note with  {AS_READ}."
        problems.append(Problem(words, row=one.row, column="reading", value=one.text, warning=True))
    return problems


def _missing_cuts(
    found: Mapping[str, Sequence[Reading]], rows: Sequence[Row], response: Response
) -> list[Problem]:
    """Find coupons of which some cuts are read and others are not."""
    problems = []
    for stamp, readings in found.items():
        if not 0 < len(readings) < response.sections:
            continue
        cut = _ORDINAL[min(len(readings), len(_ORDINAL) - 1)]
        empty = [row for row in rows if row["stamp"].upper() == stamp and not row["reading"]]
        words = (
            f"{stamp} {cut} cut missing ({len(readings)} of {response.sections} read). Read it, "
            "or write  lost  with a reason in note."
        )
        number = empty[0].number if empty else readings[-1].row
        problems.append(Problem(words, row=number, column="reading", value="", warning=True))
    return problems


def _nameless_reader(found: Mapping[str, Sequence[Reading]]) -> list[Problem]:
    """Say once how many blind readings do not name their reader."""
    nameless = [one for readings in found.values() for one in readings if not one.reader]
    if not nameless:
        return []
    first = min(nameless, key=lambda one: one.row or 0)
    words = (
        f"{len(nameless)} readings do not say who read them, and the reader must not know the "
        "gas. Write the name in the column reader (or  weldtrial record --reader NAME)."
    )
    return [Problem(words, row=first.row, column="reader", value="", warning=True)]
