"""A data file that was not laid out here: any header, any columns, every problem named."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass

from weldtrial.shared.problems import Problem

MISSING = frozenset(["", "NA", "N/A", "NaN", "nan", "null", "None", "-"])
"""Cells that stand for no reading."""

_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x19\x1b-\x1f\x7f]")
"""Signs that no text holds; a line break and an old end-of-file mark are not among them."""


@dataclass(frozen=True, slots=True)
class DataFile:
    """The cells of a data file.

    Attributes
    ----------
    header
        Column names, in order.
    rows
        Cells by column, one entry a row.
    places
        The row of the file that each of them stands on, as a spreadsheet counts them.
    decimal
        Decimal sign of its numbers.
    problems
        What is wrong with the file as a table.
    """

    name: str
    header: tuple[str, ...] = ()
    rows: tuple[Mapping[str, str], ...] = ()
    places: tuple[int, ...] = ()
    decimal: str = "."
    problems: tuple[Problem, ...] = ()

    def number(self, text: str) -> float | None:
        """Return the number a cell holds, at full precision, or None when it is no number.

        A point in a file of decimal commas marks thousands, or is a slip: nobody can say which.
        """
        plain = text.replace("\u2212", "-")
        if self.decimal == ",":
            plain = "?" if "." in plain else plain.replace(",", ".")
        try:
            value = float(plain)
        except ValueError:
            return None
        return value if math.isfinite(value) and "_" not in text else None


def read_data(data: bytes, name: str, decimal: str = ".") -> DataFile:
    """Return the cells of a comma, semicolon or tab separated file.

    Parameters
    ----------
    data
        Bytes of the file, UTF-8 or a Western Windows code page, with or without a byte-order
        mark.
    name
        File name for messages.
    decimal
        ``.`` or ``,``.
    """
    if b"\0" in data:
        return DataFile(name, problems=(Problem("is no text file. Save it as CSV.", file=name),))
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    if _CONTROL.search(text):
        return DataFile(name, problems=(Problem("is no text file. Save it as CSV.", file=name),))
    first = text.split("\n", 1)[0]
    marks = (";", "\t") if decimal == "," else (",", ";", "\t")
    delimiter = max(marks, key=first.count)
    try:
        # Strict: a quote that never closes would swallow the rows after it without a word.
        table = list(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True))
    except csv.Error as error:
        return DataFile(name, problems=(_unreadable(str(error), name),))
    if not table or not any(cell.strip() for cell in table[0]):
        return DataFile(
            name, problems=(Problem("is empty. Its first row must name the columns.", file=name),)
        )
    header = tuple(cell.strip() for cell in table[0])
    problems = _header_problems(header, name)
    rows: list[Mapping[str, str]] = []
    places: list[int] = []
    for number, cells in enumerate(table[1:], 2):
        if not any(cell.strip() for cell in cells):
            continue
        if len(cells) != len(header):
            words = (
                f"has {len(cells)} cells, the header {len(header)}. Decimal commas in a comma "
                "separated file do this: save it with semicolons, and say  --decimal ,"
            )
            problems.append(Problem(words, file=name, row=number))
            continue
        places.append(number)
        rows.append(dict(zip(header, (cell.strip() for cell in cells), strict=True)))
    if not rows and not problems:
        problems.append(Problem("has a header and no rows.", file=name))
    return DataFile(name, header, tuple(rows), tuple(places), decimal, tuple(problems))


def _unreadable(said: str, name: str) -> Problem:
    if "end of data" in said or "expected after" in said:
        return Problem('holds a quote sign (") that is not closed properly. Mend it.', file=name)
    return Problem(f"cannot be read as CSV: {said}.", file=name)


def _header_problems(header: tuple[str, ...], name: str) -> list[Problem]:
    problems = []
    for place, cell in enumerate(header, 1):
        if not cell:
            problems.append(Problem(f"column {place} has no name. Name it.", file=name, row=1))
        elif header.index(cell) != place - 1:
            problems.append(
                Problem(f"two columns are called '{cell}'. Rename one.", file=name, row=1)
            )
        elif not cell.isprintable():
            words = f"the name of column {place} holds a line break or a control character."
            problems.append(Problem(f"{words} Type it again.", file=name, row=1))
    return problems
