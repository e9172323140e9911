"""Marking readings lost: into empty cells, or as a correction of what was read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from weldtrial.shared.bench import Bench
from weldtrial.shared.clock import now_text
from weldtrial.shared.entry import Edit
from weldtrial.shared.plan import Plan
from weldtrial.shared.problems import Problem, ProblemsFound, WrongUsage
from weldtrial.shared.reading_sheet import Sheet, file_of
from weldtrial.shared.record import Correction
from weldtrial.shared.stamps_written import nearest_stamp


@dataclass(frozen=True, slots=True)
class LostPlan:
    """What marking a coupon lost would write, by response."""

    stamp: str
    edits: Mapping[str, tuple[Edit, ...]]
    corrections: tuple[Correction, ...] = ()


def plan_lost(
    stamp: str,
    why: str,
    where: str | None,
    bench: Bench,
    plan: Plan,
    beside: Mapping[str, str],
    codes_open: bool,
) -> LostPlan:
    """Plan to mark a coupon's readings lost.

    Parameters
    ----------
    where
        One response, whose readings may have been typed already (that is a correction); None
        for the whole coupon, of which nothing may have been read.

    Raises
    ------
    WrongUsage
        Without a reason.
    ProblemsFound
        For a stamp that is never read, or a coupon of which something was read.
    """
    known = plan.by_stamp()
    code = stamp.upper()
    if not why.strip():
        raise WrongUsage(f"Say why it is lost:  weldtrial record --lost {stamp} WHY")
    if code not in known:
        close = nearest_stamp(code, known)
        hint = f" Nearest {close}." if close else ""
        raise ProblemsFound([Problem(f"stamp '{stamp}' is not in this trial.{hint}")])
    if known[code].role == "warm-up":
        raise ProblemsFound([Problem(f"{code} is a warm-up and is never read.")])
    places = [where] if where else list(bench.sheets)
    sheets = {name: bench.sheets[name] for name in places}
    _must_be_readable(sheets)
    if where is None:
        _must_be_unread(code, sheets)
    edits = {name: _into_empty(code, why, sheet, beside) for name, sheet in sheets.items()}
    corrections = tuple(
        Correction(
            now_text(), beside.get("reader", ""), file_of(name), code, "reading", one.text,
            "lost", why, codes_open, "",
        )
        for name, sheet in sheets.items()
        for one in sheet.readings.get(code, ())
        if one.kind != "lost"
    )  # fmt: skip
    return LostPlan(code, {name: cells for name, cells in edits.items() if cells}, corrections)


def _must_be_readable(sheets: Mapping[str, Sheet]) -> None:
    problems = [one for sheet in sheets.values() for one in sheet.table.problems if not one.warning]
    if problems:
        raise ProblemsFound(problems, hint="Nothing was written.")


def _must_be_unread(stamp: str, sheets: Mapping[str, Sheet]) -> None:
    read = [
        f"{name} ({one.text})"
        for name, sheet in sheets.items()
        for one in sheet.readings.get(stamp, ())
        if one.kind != "lost"
    ]
    if read:
        words = (
            f"{stamp} was read: {', '.join(read)}. A coupon is lost only when it is scrapped "
            "before its test. If one test went wrong, name it:  "
            f"weldtrial record RESPONSE --lost {stamp} WHY"
        )
        raise ProblemsFound([Problem(words)])


def _into_empty(stamp: str, why: str, sheet: Sheet, beside: Mapping[str, str]) -> tuple[Edit, ...]:
    """Fill the empty cells of a stamp with ``lost``; add a row where it has none."""
    rows = sheet.rows.get(stamp, ())
    edits: list[Edit] = []
    numbers: list[int | None] = [row.number for row in rows if not row["reading"]]
    missing = sheet.response.sections - len(rows)
    if missing > 0 and not rows:
        numbers += [None]
    for number in numbers:
        here = next((row for row in rows if row.number == number), None)
        edits.append(Edit(number, "reading", "lost", stamp))
        for column, text in {**beside, "note": why}.items():
            if text and (here is None or not here[column]):
                edits.append(Edit(number, column, text, stamp))
    return tuple(edits)
