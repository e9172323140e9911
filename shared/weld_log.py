"""The weld log: what the welder wrote, coupon by coupon, checked against plan and trial."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from weldtrial.shared.blank_files import MEASURED_COLUMNS, seen_columns, weld_log_columns
from weldtrial.shared.csvtable import Row, Shape, Table, is_bare, plain_header, read_table
from weldtrial.shared.log_line import LogLine
from weldtrial.shared.overlay import overlay, same_text
from weldtrial.shared.plan import Plan, Run
from weldtrial.shared.problems import Problem, WeldtrialError
from weldtrial.shared.record import Correction
from weldtrial.shared.settings_seen import doubt, travel_settings
from weldtrial.shared.spares import check_spares
from weldtrial.shared.stamps_written import unknown_stamp
from weldtrial.shared.trial import Trial
from weldtrial.shared.units import KNOWN_UNITS, canonical, convert, parse_quantity, same_kind
from weldtrial.shared.weld import travel_speed
from weldtrial.shared.welded_order import Start, departures, parse_started

FILE = "weld_log.csv"
MOST_NAMED = 3
"""Odd numbers of one column that are each named."""
_MINUTES = re.compile(r"(\d{1,3}):([0-5]\d)")

MEASURED_UNITS = {
    "amps": "A",
    "arc_s": "s",
    "bead_mm": "mm",
    "throat_mm": "mm",
    "plate_temp_C": "°C",
}

USUAL = {
    "amps": (10.0, 1000.0),
    "arc_s": (0.5, 3600.0),
    "bead_mm": (2.0, 3000.0),
    "throat_mm": (0.5, 60.0),
    "plate_temp_C": (-30.0, 600.0),
}
"""What a bench meets, loosely (common practice, no source); outside it a slip is likelier."""


@dataclass(frozen=True, slots=True)
class WeldLog:
    """The log by stamp, its problems, and what is only worth noting."""

    lines: Mapping[str, LogLine] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()
    notes: tuple[str, ...] = ()
    table: Table = field(default_factory=lambda: Table(FILE))


def column_units(trial: Trial) -> dict[str, str]:
    """Return the unit of every column of numbers, by column."""
    settings = [one.unit or "1" for one in trial.factors if one.kind == "numeric"]
    units = settings + [one.unit for one in trial.held]
    names = [one.name for one in trial.factors if one.kind == "numeric"]
    names += [one.name for one in trial.held]
    by_name: dict[str, str] = {}
    for name, unit in zip(names, units, strict=True):
        by_name.setdefault(name, unit)
    seen = dict(zip(seen_columns(trial), by_name.values(), strict=True))
    return {**seen, **MEASURED_UNITS}


def setting_columns(trial: Trial) -> dict[str, str]:
    """Return the name of the factor or held setting for each column of settings as seen."""
    names = [one.name for one in trial.factors if one.kind == "numeric"]
    names += [one.name for one in trial.held]
    return dict(zip(seen_columns(trial), dict.fromkeys(names), strict=True))


def stem(column: str) -> str:
    """Return a column's name without its unit: ``voltage_seen``, ``bead``."""
    if column in MEASURED_UNITS:
        return column.partition("_")[0] if column != "plate_temp_C" else "plate_temp"
    return column[: column.index("_seen") + len("_seen")]


def unit_headers(name: str, unit: str) -> dict[str, str]:
    """Return every header that names a column with a unit of the same kind, and that unit."""
    kin = [one for one in KNOWN_UNITS if one.slug and same_kind(one.symbol, unit)]
    by_slug = {plain_header(f"{name}_{one.slug}"): one.symbol for one in kin}
    by_symbol = {plain_header(f"{name} ({one.symbol})"): one.symbol for one in kin}
    return {plain_header(name): canonical(unit), **by_symbol, **by_slug}


def cell_value(table: Table, column: str, text: str, unit: str) -> float | str:
    """Return a cell's number in `unit`, or in words what is wrong with it."""
    header = plain_header(table.headers.get(column, column))
    written = unit_headers(stem(column), unit).get(header, unit)
    clock = _MINUTES.fullmatch(text.strip())
    if clock is not None and unit == "s":
        seconds = 60 * int(clock[1]) + int(clock[2])
        return f"'{text}' is minutes and seconds. Write the seconds: {seconds}."
    try:
        return parse_quantity(
            f"{text} {written}" if is_bare(text) else text, unit, decimal=table.decimal
        )
    except WeldtrialError as error:
        plain = "plain number" in error.words
        return f"{error.words} Write it in {unit}, or leave it empty." if plain else error.words


def log_shape(trial: Trial) -> Shape:
    """Return what the weld log should hold."""
    units = column_units(trial)
    aliases = {
        header: column
        for column, unit in units.items()
        for header in unit_headers(stem(column), unit)
    }
    columns = weld_log_columns(trial)
    return Shape(columns, ("stamp",), frozenset(units), aliases=aliases)


def read_log(
    path: Path, trial: Trial, plan: Plan, corrections: Sequence[Correction] = ()
) -> WeldLog:
    """Read the weld log; a broken file gives no lines and problems."""
    return check_log(read_table(path, FILE, log_shape(trial)), trial, plan, corrections)


def check_log(
    table: Table, trial: Trial, plan: Plan, corrections: Sequence[Correction] = ()
) -> WeldLog:
    """Return the lines of a log that was read as a table, with every problem.

    Parameters
    ----------
    corrections
        Corrections of any file; those of this one are laid over it.
    """
    laid = overlay(table, corrections)
    reader = _Reader(table, trial, plan)
    for row in laid.rows:
        reader.take(row)
    reader.gather_unusual()
    spares = check_spares(reader.lines, plan)
    order = _order(reader.lines, plan)
    problems = [*table.problems, *laid.problems, *reader.problems]
    placed = [replace(one, file=table.name) if one.file is None else one for one in problems]
    placed += [replace(one, file=table.name) for one in (*spares, *order[0])]
    return WeldLog(reader.lines, tuple(placed), order[1], table)


def _order(lines: Mapping[str, LogLine], plan: Plan) -> tuple[list[Problem], tuple[str, ...]]:
    starts = []
    for run in plan.runs:
        line = lines.get(run.stamp)
        when = parse_started(line.started) if line else None
        if when is not None and run.run is not None:
            starts.append(Start(run.run, run.stamp, run.setup, when))
    found = departures(starts)
    problems = [
        Problem(
            one.words,
            row=lines[one.stamp].row,
            column="started",
            value=lines[one.stamp].started,
            warning=True,
        )
        for one in found
        if not one.harmless
    ]
    problems += _at_once(starts, lines)
    return problems, tuple(one.words for one in found if one.harmless)


def _at_once(starts: Sequence[Start], lines: Mapping[str, LogLine]) -> list[Problem]:
    """Find coupons that were started at one and the same minute."""
    first: dict[tuple[object, ...], Start] = {}
    problems = []
    for one in sorted(starts, key=lambda start: start.run):
        day = one.started.day
        # Without a date the same minute of two set-ups may be of two days.
        other = first.setdefault((day, one.started.minutes, None if day else one.setup), one)
        if other is not one:
            words = (
                f"{other.stamp} and {one.stamp} both started at {one.started.clock}. One welder "
                "starts one at a time: look at the paper sheet."
            )
            line = lines[one.stamp]
            at = Problem(words, row=line.row, column="started", value=line.started, warning=True)
            problems.append(at)
    return problems


class _Reader:
    """Turns rows into lines, collecting what is wrong."""

    def __init__(self, table: Table, trial: Trial, plan: Plan) -> None:
        self.table = table
        self.trial = trial
        self.runs = plan.by_stamp()
        self.units = column_units(trial)
        self.names = setting_columns(trial)
        self.lines: dict[str, LogLine] = {}
        self.problems: list[Problem] = []
        self.unusual: dict[str, list[tuple[int, str, str, str]]] = {}

    def say(self, row: Row, column: str | None, words: str, *, warning: bool = False) -> None:
        value = row[column] if column else None
        self.problems.append(
            Problem(words, row=row.number, column=column, value=value, warning=warning)
        )

    def take(self, row: Row) -> None:
        """Read one row."""
        stamp = row["stamp"].upper()
        run = self.runs.get(stamp)
        if run is None:
            if any(row.cells.values()):
                rows = {one.stamp: one.row for one in self.lines.values()}
                self.say(row, "stamp", unknown_stamp(row["stamp"], list(self.runs), rows))
            return
        if stamp in self.lines:
            first = self.lines[stamp].row
            self.say(row, "stamp", f"stamp {stamp} is on row {first} already. Keep one.")
            return
        line = LogLine(
            stamp,
            row.number,
            run=self._whole(row, "run", run.run),
            setup=self._whole(row, "setup", run.setup),
            started=self._started(row),
            as_run=self._as_run(row, run),
            measured=self._measured(row),
            welder=row["welder"],
            replaces=row["replaces"].upper(),
            went_wrong=row["went_wrong"],
        )
        self.lines[stamp] = self._with_travel(row, line, run)

    def _whole(self, row: Row, column: str, planned: int | None) -> int | None:
        text = row[column]
        if not text:
            return planned
        if not (text.isascii() and text.isdigit()):
            self.say(row, column, f"'{text}' is not a whole number. Put back what the plan has.")
            return planned
        if planned is not None and int(text) != planned:
            words = f"{column} {text} was changed: the plan has {planned} for {row['stamp']}."
            self.say(row, column, f"{words} Put it back; plan.csv is what was drawn.")
            return planned
        return int(text)

    def _started(self, row: Row) -> str:
        text = row["started"]
        if text and parse_started(text) is None:
            self.say(row, "started", f"'{text}' is not a time. Write 09:05, or 2026-06-14 09:05.")
        return text

    def _number(self, row: Row, column: str) -> float | None:
        if not row[column]:
            return None
        value = cell_value(self.table, column, row[column], self.units[column])
        if isinstance(value, str):
            self.say(row, column, value)
            return None
        return value

    def _measured(self, row: Row) -> dict[str, float]:
        found = {}
        for column in MEASURED_COLUMNS:
            value = self._number(row, column)
            if value is None:
                continue
            low, high = USUAL[column]
            if value <= 0 and column != "plate_temp_C":
                self.say(row, column, f"{row[column]} cannot be: it must be above 0.")
                continue
            if not low <= value <= high:
                at = (row.number, column, row[column], self._unusual(row, column, value))
                self.unusual.setdefault(column, []).append(at)
            found[column] = value
        return found

    def gather_unusual(self) -> None:
        """Say what is odd about numbers, once for a column in which many are."""
        for column, found in self.unusual.items():
            many = len(found) > MOST_NAMED
            for number, _, text, words in found[:1] if many else found:
                more = f" So do {len(found) - 1} more rows." if many else ""
                self.problems.append(
                    Problem(f"{words}{more}", None, None, number, column, text, warning=True)
                )

    def _unusual(self, row: Row, column: str, value: float) -> str:
        """Say what is odd about a number, as it was typed, and what may have been meant."""
        (low, high), unit = USUAL[column], MEASURED_UNITS[column]
        typed = self.table.headers.get(column, column)
        shown = f"{value:g}"
        if not same_text(row[column], shown):
            shown = f"{row[column]} under {typed} is {value:.4g} {unit}, which"
        words = f"{shown} is outside what a bench meets ({low:g} to {high:g})."
        inches = convert(value, "in", "mm") if unit == "mm" and is_bare(row[column]) else 0.0
        if low <= inches <= high:
            return f"{words} If it was read in inches write  {row[column]} in  ({inches:.3g} mm)."
        return f"{words} Check the sheet."

    def _as_run(self, row: Row, run: Run) -> dict[str, float]:
        found = {}
        for column, name in self.names.items():
            value = self._number(row, column)
            if value is None:
                continue
            doubted = doubt(name, value, self.trial, run)
            if doubted is not None:
                self.say(row, column, doubted.words, warning=doubted.warning)
            if doubted is None or doubted.warning:
                found[name] = value
        return found

    def _with_travel(self, row: Row, line: LogLine, run: Run) -> LogLine:
        """Work out travel from bead length and arc seconds, where it is measured so."""
        bead, seconds = line.measured.get("bead_mm"), line.measured.get("arc_s")
        if bead is None or seconds is None:
            return line
        speed = travel_speed(bead, seconds)
        worked_out = {
            name: convert(speed, "mm/min", unit)
            for name, unit in travel_settings(self.trial).items()
            if name not in line.as_run
        }
        for name, value in worked_out.items():
            doubted = doubt(name, value, self.trial, run)
            if doubted is not None:
                words = f"{doubted.words} Worked out from bead_mm and arc_s."
                self.say(row, "arc_s", words, warning=True)
        return replace(line, as_run={**line.as_run, **worked_out})
