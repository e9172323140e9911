"""Somebody's raw figures, read for a review: columns guessed and said, readings of one weld folded.

Every problem of the file is found at once.  The figures are weighed through the same records as an
adopted folder (`weldtrial.shared.adopted`), so that a review says what ``adopt`` would say.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from weldtrial.shared.adopted import make_trial, record_of
from weldtrial.shared.data_file import MISSING, DataFile, read_data
from weldtrial.shared.problems import Problem
from weldtrial.shared.record import Reading, Record
from weldtrial.shared.review_cells import measure, minute, reading
from weldtrial.shared.review_columns import Columns, Role, find_columns, unit_in
from weldtrial.shared.review_yes_no import yes_no
from weldtrial.shared.trial import Trial

_POINT_COMMA = re.compile(r"^[<>+\-\u2212]?\s*\d+,\d+$")
_POINT = re.compile(r"^[<>+\-\u2212]?\s*\d+\.\d+$")


@dataclass(frozen=True, slots=True)
class ReviewRow:
    """One row as a reviewer reads it.

    Attributes
    ----------
    place
        Row of the file as a spreadsheet numbers it, the header being row 1.
    number
        Row counted from the first below the header.
    value
        The reading, None where there is none; of one past a limit the limit itself.
    text
        The reading as typed.
    beyond
        ``above`` or ``below`` where the reading went past a limit.
    order
        Place in the order of welding, where a column says so.
    minute
        When it was welded or read, in minutes from an arbitrary start, where a column says so.
    labels, measures
        Further columns: texts, and numbers (settings, bead sizes), by name.
    """

    place: int
    number: int
    value: float | None
    text: str
    group: str
    beyond: str = ""
    coupon: str = ""
    setup: str = ""
    day: str = ""
    order: float | None = None
    minute: float | None = None
    reader: str = ""
    plate: str = ""
    labels: Mapping[str, str] = field(default_factory=dict)
    measures: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Theirs:
    """Somebody's data.

    Attributes
    ----------
    unit
        Unit that the header of the reading names, ``1`` where it names none.
    rows
        Every row that could be read.
    coupons
        How many coupons they are, once readings of one coupon are folded.
    folded
        What was folded, in words; empty where every row is a coupon.
    problems
        Everything that is wrong; where any is no warning, `rows` is empty.
    """

    name: str
    columns: Columns
    unit: str = "1"
    rows: tuple[ReviewRow, ...] = ()
    coupons: int = 0
    folded: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()
    cells: DataFile | None = None

    @property
    def groups(self) -> tuple[str, ...]:
        """The sides, in the order of the file."""
        return tuple(dict.fromkeys(row.group for row in self.rows))


def read_theirs(data: bytes, name: str, asked: Mapping[Role, str], decimal: str = "") -> Theirs:
    """Read somebody's spreadsheet.

    Parameters
    ----------
    data
        Bytes of a comma, semicolon or tab separated file.
    name
        File name for messages.
    asked
        Columns named by the user, by what they stand for.
    decimal
        ``.`` or ``,``; found out where empty.
    """
    cells = read_data(data, name, decimal or decimal_sign(data))
    if cells.problems:
        return Theirs(name, Columns({}), problems=cells.problems)
    if (counted := yes_no(cells, asked)) is not None:
        return Theirs(name, Columns({}), problems=(counted,))
    columns, problems = find_columns(cells, asked)
    if problems:
        return Theirs(name, columns, problems=problems)
    rows, problems = _rows(cells, columns)
    sides = dict.fromkeys(row.group for row in rows)
    if len(sides) < 2 and not problems:
        words = f"has one side, {', '.join(sides)}, so there is nothing to compare."
        problems = (Problem(words, file=name, column=columns.of("group")),)
    if any(not one.warning for one in problems):
        return Theirs(name, columns, problems=problems)
    coupons, folded = _folded(rows)
    columns = replace(columns, taken=(*columns.taken, *_on_both_sides(rows, columns)))
    unit = unit_in(columns.of("value")) or "1"
    return Theirs(name, columns, unit, rows, coupons, folded, problems, cells)


def decimal_sign(data: bytes) -> str:
    """Return the decimal sign of a file: a comma where semicolons or tabs part the cells."""
    text = data.decode("utf-8-sig", errors="replace")
    lines = text.splitlines()
    first = lines[0] if lines else ""
    mark = max((",", ";", "\t"), key=first.count)
    if mark == ",":
        return "."
    cells = [cell.strip().strip('"') for line in lines[1:] for cell in line.split(mark)]
    commas = sum(_POINT_COMMA.match(cell) is not None for cell in cells)
    points = sum(_POINT.match(cell) is not None for cell in cells)
    return "," if commas > points else "."


def _rows(cells: DataFile, columns: Columns) -> tuple[tuple[ReviewRow, ...], tuple[Problem, ...]]:
    rows: list[ReviewRow] = []
    problems: list[Problem] = []
    numeric = [
        name
        for name in cells.header
        if name not in columns.spare
        and all(
            c in MISSING or measure(cells, c) is not None for c in (r[name] for r in cells.rows)
        )
    ]
    for number, (place, row) in enumerate(zip(cells.places, cells.rows, strict=True), 1):
        group = row[columns.of("group")]
        if group in MISSING:
            words = "has no side here, so nobody can say what it belongs to. Fill it in."
            problems.append(Problem(words, file=cells.name, row=place, column=columns.of("group")))
        value, beyond, wrong = reading(row[columns.of("value")], cells)
        if wrong:
            column = columns.of("value")
            text = row[column]
            problems.append(Problem(wrong, file=cells.name, row=place, column=column, value=text))
        rows.append(
            ReviewRow(
                place=place,
                number=number,
                value=value,
                text=row[columns.of("value")],
                group=group,
                beyond=beyond,
                coupon=row.get(columns.of("coupon"), ""),
                setup=row.get(columns.of("setup"), ""),
                day=row.get(columns.of("day"), ""),
                order=measure(cells, row.get(columns.of("order"), "")),
                minute=minute(row, columns),
                reader=row.get(columns.of("reader"), ""),
                plate=row.get(columns.of("plate"), ""),
                labels={
                    name: row[name]
                    for name in cells.header
                    if name not in columns.spare and name not in numeric
                },
                measures={
                    name: found
                    for name in numeric
                    if (found := measure(cells, row[name])) is not None
                },
            )
        )
    problems += _twins(rows, cells.name, columns)
    if not any(row.value is not None for row in rows):
        words = f"holds no reading in {columns.of('value')}. Name the column of readings:  --value"
        problems.append(Problem(words, file=cells.name))
    return tuple(rows), tuple(problems)


def _twins(rows: Sequence[ReviewRow], name: str, columns: Columns) -> list[Problem]:
    """Find a side spelt in two ways: one slip would make a third side of it."""
    first: dict[str, str] = {}
    found: dict[str, Problem] = {}
    for row in rows:
        known = first.setdefault(row.group.casefold(), row.group)
        if known != row.group and row.group not in found:
            words = f"'{row.group}' and '{known}' differ only in capitals. Write them alike."
            found[row.group] = Problem(words, file=name, row=row.place, column=columns.of("group"))
    return list(found.values())


# ------------------------------------------------------------------ readings of one weld


def _folded(rows: Sequence[ReviewRow]) -> tuple[int, tuple[str, ...]]:
    """Return how many coupons the rows are, and what was folded in words."""
    stamps: dict[tuple[str, str], list[ReviewRow]] = {}
    for row in rows:
        if not row.coupon:
            return len(rows), ()
        stamps.setdefault((row.group, row.coupon), []).append(row)
    shared = [found for found in stamps.values() if len(found) > 1]
    if not shared:
        return len(rows), ()
    first = shared[0]
    words = [
        f"rows {_span([row.number for row in first])} share one stamp. Treated as {len(first)} "
        f"readings of 1 coupon. You have n = {len(stamps)} coupons, not {len(rows)}."
    ]
    if len(shared) > 1:
        others = ", ".join(_span([row.number for row in found]) for found in shared[1:6])
        more = f" and {len(shared) - 6} more" if len(shared) > 6 else ""
        words.append(f"The same of rows {others}{more}. Rows are counted below the header.")
    return len(stamps), tuple(words)


def _on_both_sides(rows: Sequence[ReviewRow], columns: Columns) -> tuple[str, ...]:
    """Say how set-up labels that both sides use were taken."""
    sides: dict[str, set[str]] = {}
    for row in rows:
        sides.setdefault(row.setup, set()).add(row.group)
    both = [label for label, seen in sides.items() if label and len(seen) > 1]
    if not both:
        return ()
    words = (
        f"took '{both[0]}' of '{columns.of('setup')}' as one set-up that holds both sides; if each "
        "side had its own, give them names of their own"
    )
    return (words,)


def _span(numbers: Sequence[int]) -> str:
    """Return ``1–6`` for numbers without a gap, else ``1, 4 and 9``."""
    if numbers[-1] - numbers[0] == len(numbers) - 1 and len(numbers) > 1:
        return f"{numbers[0]}\u2013{numbers[-1]}"
    return f"{', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"


# ------------------------------------------------------------------ for the analysis


def as_trial(
    theirs: Theirs,
    *,
    folded: bool,
    control: str = "",
    margin: str = "",
    ask: str = "",
    lower_better: bool = False,
) -> tuple[Trial | None, Record | None, tuple[Problem, ...]]:
    """Return the data as the trial and the record that ``adopt`` would make of them.

    Parameters
    ----------
    folded
        False for every row a coupon of its own, as the data were given; True with readings of one
        coupon averaged and coupons of one set-up judged by set-ups.
    control, margin, ask
        The side compared with, the change that would matter, and the question, where known.
    """
    cells, columns = theirs.cells, theirs.columns
    if cells is None:
        return None, None, theirs.problems
    value, group = columns.of("value"), columns.of("group")
    plain = _plain(theirs, cells)
    parsed: dict[str, Any] = {
        "format": 1,
        "trial": {"title": theirs.name},
        "adopted": {
            "file": theirs.name,
            "sha256": "",
            "factors": [group],
            "categories": [group],
            "responses": [value],
            "setup": columns.of("setup") if folded and _labelled(theirs.rows) else "",
            "coupon": columns.of("coupon") if folded else "",
            "model": "main",
            "unit": {value: theirs.unit},
            "reference": {group: control} if control else {},
            "margin": {value: margin} if margin else {},
            "ask": {value: ask} if ask else {},
            "better": {value: "lower"} if lower_better else {},
        },
    }
    if folded and not all(row.coupon for row in theirs.rows):
        parsed["adopted"]["coupon"] = ""
    trial, problems = make_trial(parsed, plain)
    if trial is None:
        return None, None, tuple(problems)
    return trial, _past_limits(record_of(trial, plain), theirs), tuple(problems)


def _plain(theirs: Theirs, cells: DataFile) -> DataFile:
    """Return the cells with plain numbers for readings, and stamps that both sides use apart."""
    value, stamp = theirs.columns.of("value"), theirs.columns.of("coupon")
    sides: dict[str, set[str]] = {}
    for row in theirs.rows:
        sides.setdefault(row.coupon, set()).add(row.group)
    rows = []
    for cell_row, mine in zip(cells.rows, theirs.rows, strict=True):
        changed = {**cell_row, value: "" if mine.value is None else repr(mine.value)}
        if stamp and len(sides[mine.coupon]) > 1:
            changed[stamp] = f"{mine.coupon} ({mine.group})"
        rows.append(changed)
    return replace(cells, rows=tuple(rows), decimal=".")


def _labelled(rows: Sequence[ReviewRow]) -> bool:
    return all(row.setup for row in rows)


def _past_limits(record: Record, theirs: Theirs) -> Record:
    """Give readings past a limit back their ends: at least 90 is not 90."""
    beyond = {row.place: row for row in theirs.rows if row.beyond}
    if not beyond:
        return record
    name = theirs.columns.of("value")

    def one(reading: Reading) -> Reading:
        row = beyond.get(reading.row or 0)
        if row is None:
            return reading
        if row.beyond == "above":
            return replace(reading, kind="above", value=None, low=row.value, text=row.text)
        return replace(reading, kind="below", value=None, high=row.value, text=row.text)

    coupons = tuple(
        replace(coupon, readings={name: tuple(one(r) for r in coupon.readings[name])})
        for coupon in record.coupons
    )
    return replace(record, coupons=coupons)
