"""The readings files of a gauge study: laid out reading by reading, and read back."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from weldtrial.shared.csvtable import Row, Shape, Table, read_table
from weldtrial.shared.folder import Folder, atomic_write
from weldtrial.shared.gauge import GaugeOrder, Task
from weldtrial.shared.problems import Problem, nearest
from weldtrial.shared.reading_sheet import file_of, header_unit
from weldtrial.shared.readings import parse_reading
from weldtrial.shared.responses import Response
from weldtrial.shared.weld_log import unit_headers

COLUMNS = ("reader", "repeat", "order", "stamp", "reading", "read_on", "note")
_WORDS = {
    "operator": "reader", "appraiser": "reader", "sheet": "repeat", "trial": "repeat",
    "coupon": "stamp", "part": "stamp", "value": "reading", "notes": "note", "remarks": "note",
}  # fmt: skip

Key = tuple[str, int, str]
"""Reader, repeat and stamp: what names one reading."""


@dataclass(frozen=True, slots=True)
class GaugeSheet:
    """The readings of one response.

    Attributes
    ----------
    values
        Readings in the response's unit, by reader, repeat and stamp.
    missing
        What was not read yet, in the order it is to be read.
    cells
        The same as typed (with a decimal point), with the day and the note; a note may stand alone.
    own_columns
        Columns that somebody added: the file is then not laid out anew.
    problems
        What has to be mended.
    """

    response: Response
    values: Mapping[Key, float] = field(default_factory=dict)
    missing: tuple[Task, ...] = ()
    cells: Mapping[Key, tuple[str, str, str]] = field(default_factory=dict)
    own_columns: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()


def gauge_text(order: GaugeOrder, cells: Mapping[Key, tuple[str, ...]]) -> str:
    """Return a readings file in the drawn order, with what is known filled in."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for task in order.tasks:
        known = cells.get((task.reader, task.repeat, task.stamp), ("", "", ""))
        writer.writerow((task.reader, task.repeat, task.order, task.stamp, *known))
    return out.getvalue()


def lay_out_gauge(
    folder: Path, responses: Sequence[Response], order: GaugeOrder
) -> tuple[Path, ...]:
    """Write the readings files that are missing or lack a row of the order; return those written.

    What was typed is kept, in the place of the order; a file with anything that does not fit, or
    with columns of its own, is left alone.
    """
    files, written = Folder(folder), []
    for response in responses:
        path, text = files.readings(response.name), gauge_text(order, {})
        if path.exists():
            sheet = read_gauge_sheet(path, response, order)
            if sheet.problems or sheet.own_columns:
                continue
            text = gauge_text(order, sheet.cells)
            if len(path.read_text("utf-8", "replace").splitlines()) == len(text.splitlines()):
                continue
        atomic_write(path, text)
        written.append(path)
    return tuple(written)


def gauge_shape(response: Response) -> Shape:
    """Return what a readings file of a gauge study should hold."""
    stems = (response.name, "reading")
    aliases = {name: "reading" for stem in stems for name in unit_headers(stem, response.unit)}
    needed = ("reader", "repeat", "stamp", "reading")
    numbers = frozenset({"reading"})
    return Shape(COLUMNS, needed, numbers, numbers, {**_WORDS, **aliases})


def read_gauge_sheet(
    path: Path, response: Response, order: GaugeOrder, *, name: str | None = None
) -> GaugeSheet:
    """Read a readings file of a gauge study; what is wrong comes back as problems.

    Parameters
    ----------
    name
        How messages call the file; without it, that of the response.
    """
    file = name or file_of(response.name)
    table = read_table(path, file, gauge_shape(response))
    problems = list(table.problems)
    wanted = {(one.reader, one.repeat, one.stamp) for one in order.tasks}
    values: dict[Key, float] = {}
    cells: dict[Key, tuple[str, str, str]] = {}
    first: dict[Key, int] = {}
    for row in table.rows:
        if not any(row[name].strip() for name in ("reading", "read_on", "note")):
            continue  # laid out and not read yet, perhaps for another [gauge]
        key = _key(row, order, wanted)
        if isinstance(key, Problem):
            problems.append(replace(key, file=file, row=row.number))
        elif key in first:
            words = (
                f"{key[2]} by {key[0]}, reading {key[1]}, stands in row {first[key]} already. "
                "Keep one."
            )
            problems.append(Problem(words, file=file, row=row.number))
        else:
            first[key] = row.number
            cells[key] = (_pointed(row["reading"], table), row["read_on"], row["note"])
            found = _value(row, table, response)
            if isinstance(found, Problem):
                problems.append(replace(found, file=file, row=row.number))
            elif found is not None:
                values[key] = found
    missing = tuple(one for one in order.tasks if (one.reader, one.repeat, one.stamp) not in values)
    records = table.records[0] if table.records else ()
    own = tuple(
        name for place, name in enumerate(records)
        if name.strip() and place not in table.places.values()
    )  # fmt: skip
    return GaugeSheet(response, values, missing, cells, own, tuple(problems))


def _pointed(text: str, table: Table) -> str:
    return text.replace(",", ".") if table.decimal == "," else text


def _key(row: Row, order: GaugeOrder, wanted: set[Key]) -> Key | Problem:
    readers = list(dict.fromkeys(one.reader for one in order.tasks))
    reader = _one_of(row["reader"], readers, "reader")
    if isinstance(reader, Problem):
        return reader
    stamp = _one_of(row["stamp"], order.stamps, "stamp")
    if isinstance(stamp, Problem):
        return stamp
    text, most = row["repeat"].strip(), max(one.repeat for one in order.tasks)
    if not text.isdecimal() or not 1 <= int(text) <= most:
        words = f"'{text}' is not a repeat: write 1 to {most}."
        return Problem(words, column="repeat", value=text)
    key = (reader, int(text), stamp)
    if key not in wanted:
        words = f"{stamp} is not a coupon of {reader}'s: in this study each belongs to one reader."
        return Problem(words, column="stamp", value=stamp)
    return key


def _one_of(text: str, known: Sequence[str], column: str) -> str | Problem:
    plain = " ".join(text.split()).casefold()
    for one in known:
        if one.casefold() == plain:
            return one
    close = nearest(plain, [one.casefold() for one in known])
    meant = next((one for one in known if one.casefold() == close), None)
    hint = f" Did you mean '{meant}'?" if meant else f" There are {', '.join(known[:12])}."
    what = "a reader of this study" if column == "reader" else "a coupon of this study"
    return Problem(f"'{text}' is not {what}.{hint}", column=column, value=text)


def _value(row: Row, table: Table, response: Response) -> float | Problem | None:
    text = row["reading"]
    if not text.strip():
        return None
    unit = header_unit(table, response)
    found = parse_reading(text, response, table.decimal, unit=unit)
    if isinstance(found, Problem):
        return found
    if found.kind == "number" and found.value is not None:
        return found.value
    words = (
        f"'{text}' is no number. A gauge study needs one from every reading: read it again, or "
        "leave the coupon out of [gauge]."
    )
    return Problem(words, column="reading", value=text)
