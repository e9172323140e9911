"""CSV files as people and their spreadsheets really write them.

Commas, semicolons or tabs; decimal points or commas; with or without a byte-order mark; UTF-8
or a Western Windows code page; quoted cells, blank lines, blank columns at the end.  Whatever
is found comes back as cells with the row numbers a spreadsheet shows, and as problems; nothing
here raises on a bad file.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

from weldtrial.shared.decimal_commas import NumberColumns, fitted, width_of
from weldtrial.shared.problems import Problem, nearest

Decimal = Literal[".", ","]

DELIMITERS = (",", ";", "\t")
_NAMES = {",": "comma", ";": "semicolon", "\t": "tab"}
_BLANKS = re.compile("[\u00a0\u2007\u202f\u2009\ufeff\u200b\t ]+")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_POINT = re.compile(r"\d\.\d|^[<>+\-]?\.\d")
_COMMA = re.compile(r"\d,\d|^[<>+\-]?,\d")


@dataclass(frozen=True, slots=True)
class Shape:
    """What a file should hold.

    Attributes
    ----------
    columns
        Known columns.
    required
        Those without which the file means nothing.
    numeric
        Those that hold numbers: the decimal sign is looked for there and nowhere else.
    alone
        Those of them after which bare digits cannot be meant, except as the tail of a number
        that a decimal comma split.
    aliases
        Other spellings of a header, in lower case, with the column each stands for.
    """

    columns: tuple[str, ...]
    required: tuple[str, ...] = ()
    numeric: frozenset[str] = frozenset()
    alone: frozenset[str] = frozenset()
    aliases: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number as a spreadsheet shows it (the header is usually 1), and its cells."""

    number: int
    cells: Mapping[str, str]

    def __getitem__(self, column: str) -> str:
        """Return a cell, empty where the file has no such column."""
        return self.cells.get(column, "")


@dataclass(frozen=True, slots=True)
class Table:
    """A file that was read.

    Attributes
    ----------
    name
        File name for messages.
    headers
        The header as typed, by the column it stands for.
    rows
        Rows with anything in them.
    decimal, delimiter
        As found, or as told.
    records
        Every row as it stands in the file, the header and blank rows included.
    places
        Index of each column within a record.
    line_end, mark
        How lines end, and whether a byte-order mark leads when the file is written again.
    problems
        What is wrong with the file as a table.
    """

    name: str
    headers: Mapping[str, str] = field(default_factory=dict)
    rows: tuple[Row, ...] = ()
    decimal: Decimal = "."
    delimiter: str = ","
    records: tuple[tuple[str, ...], ...] = ()
    places: Mapping[str, int] = field(default_factory=dict)
    line_end: str = "\n"
    mark: bool = False
    problems: tuple[Problem, ...] = ()


def clean(cell: str) -> str:
    """Return a cell with odd blanks made plain and none at its ends."""
    return _BLANKS.sub(" ", cell).strip()


def plain_header(text: str) -> str:
    """Return a header as aliases are looked up: ``Break load (kN)`` is ``break_load_kn``."""
    spelt = re.sub(r"[()\[\],;:]", " ", text).replace("/", "_per_")
    return re.sub(r"[ _]+", "_", spelt).strip("_").casefold()


def is_bare(cell: str) -> bool:
    """Tell whether a cell holds no unit: no letter, and no sign that stands for one."""
    return not any(letter.isalpha() or letter in "%°\"'" for letter in cell)


def read_table(path: Path, name: str, shape: Shape, decimal: Decimal | None = None) -> Table:
    """Read a file; see `parse_table`.  A file that cannot be opened is a problem too."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        words = "the file is missing. Put it back, or let  weldtrial seal  lay it out anew."
        return Table(name, problems=(Problem(words, file=name),))
    except OSError as error:
        words = f"cannot be read ({error.strerror or error}). Check the file."
        return Table(name, problems=(Problem(words, file=name),))
    return parse_table(data, name, shape, decimal)


def parse_table(data: bytes, name: str, shape: Shape, decimal: Decimal | None = None) -> Table:
    """Return the table in `data`, with every problem it has as a table.

    Parameters
    ----------
    name
        File name for messages.
    decimal
        The decimal sign if the user said it; it also lets a comma-separated file with decimal
        commas be put together again, where that can be done in one way only.
    """
    text = _decode(data)
    if isinstance(text, Problem):
        return Table(name, problems=(replace(text, file=name),))
    line_end = "\r\n" if "\r\n" in text else "\n"
    blank = Table(name, line_end=line_end, mark=_wants_mark(data))
    if not text.strip(" \t\r\n,;"):
        words = f"the file is empty. The header is  {','.join(shape.columns)}"
        return replace(blank, problems=(Problem(words, file=name),))
    top, delimiter = _delimiter(text, shape)
    records = _records(text, delimiter)
    if isinstance(records, Problem):
        return replace(blank, problems=(replace(records, file=name),))
    top = next((at for at in range(top, len(records)) if any(records[at])), top)
    columns, problems = _header(records[top], shape, delimiter, top + 1)
    table = replace(blank, delimiter=delimiter, records=records)
    if any(not problem.warning for problem in problems):
        return replace(table, problems=tuple(replace(one, file=name) for one in problems))
    return _body(table, top, columns, shape, decimal, problems)


# ------------------------------------------------------------------ bytes to records


def _decode(data: bytes) -> str | Problem:
    if data.startswith(b"PK\x03\x04") or data.startswith(b"\xd0\xcf\x11\xe0"):
        return Problem("this is a spreadsheet, not a CSV file. Save it as CSV first.")
    encodings = ("utf-8-sig", "cp1252")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = ("utf-16", "utf-16")
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        found = _CONTROL.search(text)
        if found is None:
            return text
        row = text.count("\n", 0, found.start()) + 1
        what = "a NUL byte" if found[0] == "\0" else f"the control character {found[0]!r}"
        return Problem(f"{what} is no text. Save the file as plain CSV again.", row=row)
    return Problem("this is not a text file. Save it as CSV (UTF-8).")


def _wants_mark(data: bytes) -> bool:
    """Tell whether a byte-order mark must lead when the file is written again, as UTF-8.

    It had one; or it was in a code page, and only the mark tells its spreadsheet of the change.
    """
    if data.startswith(b"\xef\xbb\xbf"):
        return True
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return True
    return False


def _delimiter(text: str, shape: Shape) -> tuple[int, str]:
    """Return where the header may begin, and the sign that parts the most known columns."""
    lines = text.splitlines()
    told = re.fullmatch(r"sep=([,;\t])", lines[0].strip(" ")) if lines else None
    if told:
        return 1, told[1]
    first = next((line for line in lines if line.strip(" \t,;")), "")

    def known(sign: str) -> tuple[int, int]:
        cells = first.split(sign)
        return sum(_column(clean(cell.strip('"')), shape) is not None for cell in cells), len(cells)

    return 0, max(DELIMITERS, key=known)


def _records(text: str, delimiter: str) -> tuple[tuple[str, ...], ...] | Problem:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    records: list[tuple[str, ...]] = []
    try:
        records.extend(tuple(clean(cell) for cell in record) for record in reader)
    except csv.Error as error:
        words = (
            'a quote opens and is not closed properly. Look at the quote signs (") in this row.'
            if "end of data" in str(error) or "expected after" in str(error)
            else f"the row cannot be read as CSV ({error})."
        )
        return Problem(words, row=len(records) + 1)
    return tuple(records)


# ------------------------------------------------------------------ header


def _column(header: str, shape: Shape) -> str | None:
    plain = plain_header(header)
    if plain in shape.aliases:
        return shape.aliases[plain]
    return next((known for known in shape.columns if known.casefold() == plain), None)


def _header(
    cells: Sequence[str], shape: Shape, delimiter: str, number: int
) -> tuple[list[str | None], list[Problem]]:
    """Return the column that each cell of the header stands for, and what is wrong."""
    columns = [_column(cell, shape) for cell in cells]
    problems = []
    missing = [name for name in shape.required if name not in columns]
    for cell, column in zip(cells, columns, strict=True):
        if column is None and cell:
            problems.append(_unknown_column(cell, shape, columns, number))
        elif column is not None and columns.count(column) > 1:
            problems.append(
                Problem(
                    f"column '{column}' stands in the header twice. Keep one.",
                    row=number,
                    column=cell,
                )
            )
    if missing:
        words = (
            f"the header lacks {_listed(missing)} (read as {_NAMES[delimiter]}-separated: "
            f"{', '.join(cell or '–' for cell in cells[:8])}). "
            f"It should be  {','.join(shape.columns)}"
        )
        problems.append(Problem(words, row=number))
    return columns, problems


def _unknown_column(cell: str, shape: Shape, columns: Sequence[str | None], number: int) -> Problem:
    free = [name for name in shape.columns if name not in columns]
    close = nearest(cell.casefold(), free)
    if close is None:
        words = f"column '{cell}' is not one that is used here; what it holds is left alone."
    else:
        words = f"column '{cell}' is not known here. Did you mean '{close}'?"
    return Problem(words, row=number, column=cell, value=cell, warning=close is None)


def _listed(names: Sequence[str]) -> str:
    return " and ".join(f"'{name}'" for name in names)


# ------------------------------------------------------------------ body


def _body(
    table: Table,
    top: int,
    columns: Sequence[str | None],
    shape: Shape,
    decimal: Decimal | None,
    problems: list[Problem],
) -> Table:
    numbers = NumberColumns(
        tuple(column in shape.numeric for column in columns),
        tuple(column in shape.alone for column in columns),
    )
    header = table.records[top]
    records, misfits = list(table.records), []
    for index in range(top + 1, len(records)):
        record = records[index]
        whole = fitted(record, numbers, table.delimiter, mend=decimal == ",")
        if whole is None:
            misfits.append((index + 1, width_of(record)))
        else:
            records[index] = whole
            problems.extend(_nameless(whole, header, index + 1))
    problems.extend(_misfit(misfits, width_of(header), table, told=decimal == ","))
    wrong = {number for number, _ in misfits}
    rows = tuple(
        Row(number, {name: cell for name, cell in zip(columns, record, strict=False) if name})
        for number, record in enumerate(records[top + 1 :], top + 2)
        if any(record) and number not in wrong
    )
    return replace(
        table,
        headers={name: cell for name, cell in zip(columns, header, strict=True) if name},
        rows=rows,
        decimal=decimal or _decimal_sign(rows, shape),
        records=tuple(records),
        places={name: place for place, name in enumerate(columns) if name},
        problems=tuple(replace(problem, file=table.name) for problem in problems),
    )


def _misfit(
    misfits: Sequence[tuple[int, int]], width: int, table: Table, *, told: bool
) -> list[Problem]:
    """Say once, at the first row that does not fit, what is wrong with all of them."""
    if not misfits:
        return []
    number, cells = misfits[0]
    count = (
        f"the row has {cells} columns, the header has {width}"
        if cells > width
        else "digits follow a number"
    )
    if len(misfits) > 1:
        count += f" (and so in {len(misfits) - 1} more, the last being row {misfits[-1][0]})"
    if table.delimiter != ",":
        words = f"{count}. Look for a {_NAMES[table.delimiter]} too many."
    elif told:
        words = (
            f"{count}, and which digits belong together cannot be told. Save the file with "
            "semicolons."
        )
    else:
        words = (
            f"{count} – looks like decimal commas in a comma-separated file. Save with "
            f"semicolons, or run  weldtrial record --from {table.name} --decimal ,  "
            "and check the preview."
        )
    return [Problem(words, row=number)]


def _nameless(record: Sequence[str], header: Sequence[str], number: int) -> list[Problem]:
    return [
        Problem(
            f"column {place} has no name in the header. Name it, or take out what stands there.",
            row=number,
            value=cell,
        )
        for place, (cell, name) in enumerate(zip(record, header, strict=True), 1)
        if cell and not name
    ]


def _decimal_sign(rows: Sequence[Row], shape: Shape) -> Decimal:
    """Return the sign that most numbers of the file use; a point where none has one."""
    cells = [row[column] for row in rows for column in sorted(shape.numeric)]

    def count(sign: Callable[[str], object]) -> int:
        return sum(sign(cell) is not None for cell in cells)

    return "," if count(_COMMA.search) > count(_POINT.search) else "."
