"""Append-only files: each line ends with a link made from the line before it.

The link of a line is the SHA-256 of the canonical list ``[link of the previous line, its own
cells in column order]``; the first line follows the empty text.  So a line that is edited,
moved or removed no longer fits its neighbours.  What a chain cannot show is that lines are
missing at its very end, nor that somebody wrote the whole file anew.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from weldtrial.shared.canonical import fingerprint
from weldtrial.shared.folder import atomic_write, locked
from weldtrial.shared.problems import Problem, ProblemsFound

LINK = "link"
CORRECTION_FIELDS = (
    "when",
    "who",
    "file",
    "stamp",
    "column",
    "was",
    "now",
    "why",
    "codes_open",
)
JOURNAL_FIELDS = ("when", "who", "event", "details")
_KNOWN = {"corrections.csv": CORRECTION_FIELDS, "journal.csv": JOURNAL_FIELDS}

Row = dict[str, str]


def link_of(previous: str, cells: Sequence[str]) -> str:
    """Return the link of a line with `cells` that follows a line whose link is `previous`."""
    return fingerprint([previous, *cells])


def append(path: Path, fields: Sequence[str], row: Mapping[str, str]) -> Row:
    """Add one line to an append-only file, under the folder's lock, and return it with its link.

    Parameters
    ----------
    path
        ``corrections.csv`` or ``journal.csv`` of a trial folder; made where it is missing.
    fields
        Column names without ``link``.
    row
        One text for every field; a field left out is empty, line breaks become spaces.

    Raises
    ------
    ProblemsFound
        When the file's header is not the one it was begun with: nothing is written.
    WeldtrialError
        When the file cannot be written, or another weldtrial holds the folder.
    """
    with locked(path.parent):
        rows, problems = read_chain(path, fields)
        unreadable = [problem for problem in problems if problem.row in (None, 1)]
        if unreadable:
            raise ProblemsFound(unreadable)
        cells = [" ".join(row.get(field, "").split("\n")).replace("\r", "") for field in fields]
        link = link_of(rows[-1][LINK] if rows else "", cells)
        added = dict(zip((*fields, LINK), (*cells, link), strict=True))
        atomic_write(path, _as_text(fields, [*rows, added]))
    return added


def read_chain(
    path: Path, fields: Sequence[str] | None = None
) -> tuple[tuple[Row, ...], tuple[Problem, ...]]:
    """Return the lines of an append-only file, and every place where its chain is broken.

    A file that does not exist has no lines and no problems.  A spreadsheet's byte order mark,
    semicolons and line ends are read as if they were not there.

    Parameters
    ----------
    fields
        Column names without ``link``; may be left out for the two files of a trial.
    """
    name = path.name
    fields = tuple(fields or _KNOWN[name])
    if not path.exists():
        return (), ()
    try:
        text = path.read_bytes().decode("utf-8-sig")
        table = _table(text, (*fields, LINK))
    except (UnicodeDecodeError, csv.Error):
        return (), (Problem("this is not plain UTF-8 text any more. Put back a copy.", file=name),)
    except OSError as error:
        return (), (Problem(f"cannot be read ({error.strerror or error}).", file=name),)
    if table is None:
        header = ", ".join((*fields, LINK))
        words = f"the header must read  {header}. Lines are only ever added; put back a copy."
        return (), (Problem(words, file=name, row=1),)
    return _checked(name, fields, table)


def _table(text: str, header: tuple[str, ...]) -> list[tuple[int, list[str]]] | None:
    """Return (row number, cells) below the header, or None where the header is another."""
    first = text.partition("\n")[0].strip().replace('"', "")
    delimiter = next((mark for mark in ",;\t" if first == mark.join(header)), None)
    if delimiter is None:
        return None
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    return [(number, cells) for number, cells in enumerate(lines, start=1) if cells][1:]


def _checked(
    name: str, fields: tuple[str, ...], table: Iterable[tuple[int, list[str]]]
) -> tuple[tuple[Row, ...], tuple[Problem, ...]]:
    rows: list[Row] = []
    problems: list[Problem] = []
    previous = ""
    for number, cells in table:
        if len(cells) != len(fields) + 1:
            words = f"has {len(cells)} cells, the header has {len(fields) + 1}. {_REMEDY}"
            problems.append(Problem(words, file=name, row=number))
            cells = (cells + [""] * (len(fields) + 1))[: len(fields) + 1]
        elif cells[-1] != link_of(previous, cells[:-1]):
            where = f"row {number - 1}" if rows else "the header"
            words = (
                f"does not follow from {where}: a line was changed, moved or taken out here "
                f"after it was written. {_REMEDY}"
            )
            problems.append(Problem(words, file=name, row=number, column=LINK, value=cells[-1]))
        rows.append(dict(zip((*fields, LINK), cells, strict=True)))
        previous = cells[-1]
    return tuple(rows), tuple(problems)


_REMEDY = "Lines are only ever added; put back a copy from before, or leave it and say so."


def _as_text(fields: Sequence[str], rows: Iterable[Row]) -> str:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, (*fields, LINK), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
