"""Reading, stamp and cutting sheets: stamps only, sorted by stamp, nothing that tells the gas."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from weldtrial.cli.sheet_parts import ROW_MM, Boxes, Paper, boxes_for, in_pages, masked
from weldtrial.shared.guesses import guess_asked
from weldtrial.shared.plan import Plan, Run
from weldtrial.shared.responses import FAILED_AT, Response
from weldtrial.shared.rounding import plain
from weldtrial.shared.trial import Trial

READ_HEAD_MM, READ_FOOT_MM = 58.0, 16.0
STAMPS_ACROSS, STAMP_MM = 5, 19.0
_FORCE = {"kN", "N", "lbf", "MPa", "ksi", "N·m", "ft·lbf"}


@dataclass(frozen=True, slots=True)
class ReadingSheet:
    """The sheet of one response.

    Attributes
    ----------
    facts
        Unit, smallest division and gauge limit, in words.
    limit
        What to tick where the gauge stopped first, empty without a limit.
    guess
        Levels to ring one of, where the reader says which it might be; empty where not asked.
    between
        Whether it can be seen only that it happened between two stops.
    choices
        What is ringed where the reading is no number: pass and fail, or the grades.
    """

    name: str
    title: str
    facts: str
    rule: str
    unit: str
    boxes: Boxes
    cuts: tuple[str, ...]
    limit: str
    between: bool
    where: tuple[str, ...]
    asks_where: str
    pages: tuple[tuple[str, ...], ...]
    choices: tuple[str, ...] = ()
    guess: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StampCell:
    """A code to punch, and whether it is a warm-up or a spare."""

    stamp: str
    note: str


@dataclass(frozen=True, slots=True)
class CutRow:
    """A coupon to cut and the pieces it gives."""

    stamp: str
    pieces: tuple[str, ...]


def reading_sheet(trial: Trial, plan: Plan, response: Response, paper: Paper) -> ReadingSheet:
    """Return the sheet for one response: counting and spare stamps, in the order of stamps."""
    fracture = response.unit in _FORCE
    bend = response.unit == "deg"
    guessed = guess_asked(trial, response.name)
    rows = int((paper.height_mm(landscape=False) - READ_HEAD_MM - READ_FOOT_MM) // ROW_MM)
    return ReadingSheet(
        name=response.name,
        title=masked(response.title, trial),
        facts=" · ".join(response_facts(response)),
        rule=masked(response.crack_rule, trial),
        unit=response.unit if response.kind == "number" else "ring one",
        boxes=_boxes(response),
        cuts=tuple(f"cut {n + 1}" for n in range(response.sections))
        if response.sections > 1
        else (),
        limit=_limit(response, fracture=fracture, bend=bend),
        between=bend,
        where=_where(response, always=fracture or bend),
        asks_where="cracked where (ring one)" if bend else "broke where (ring one)",
        pages=tuple(in_pages(read_stamps(plan), rows)),
        choices=choices_of(response),
        guess=guessed.levels if guessed is not None else (),
    )


def choices_of(response: Response) -> tuple[str, ...]:
    """Return what a reading can be where it is no number, none where it is one."""
    if response.kind == "pass-fail":
        return ("pass", "fail")
    return response.scale if response.kind == "graded" else ()


def read_stamps(plan: Plan) -> tuple[str, ...]:
    """Return the stamps that are read, counting and spare, sorted."""
    return tuple(
        sorted(run.stamp for run in plan.runs if run.role in ("count", "spare", "confirm"))
    )


def stamp_pages(plan: Plan, paper: Paper) -> tuple[tuple[StampCell, ...], ...]:
    """Return every code to punch, sorted, in pages."""
    cells = [StampCell(run.stamp, _note(run)) for run in plan.runs]
    cells.sort(key=lambda cell: (cell.note, cell.stamp))
    down = int((paper.height_mm(landscape=False) - 62) // STAMP_MM)
    return tuple(in_pages(cells, down * STAMPS_ACROSS))


def cut_pages(trial: Trial, plan: Plan, paper: Paper) -> tuple[tuple[CutRow, ...], ...]:
    """Return the coupons to cut with the tags of their pieces, in pages; none without cuts."""
    most = max((response.sections for response in trial.to_read), default=1)
    if most < 2:
        return ()
    rows = [
        CutRow(stamp, tuple(f"{stamp}-{number + 1}" for number in range(most)))
        for stamp in read_stamps(plan)
    ]
    down = int((paper.height_mm(landscape=False) - READ_HEAD_MM - READ_FOOT_MM) // ROW_MM)
    return tuple(in_pages(rows, down))


def _note(run: Run) -> str:
    return run.role if run.role in ("warm-up", "spare") else ""


def response_facts(response: Response) -> Iterable[str]:
    """Give unit or choices, smallest division and gauge limits in words."""
    if response.kind == "number":
        yield response.unit
    else:
        graded = response.kind == "graded"
        yield f"grades, worst first: {', '.join(response.scale)}" if graded else "pass or fail"
    if response.reads_to is not None:
        yield f"read to {plain(response.reads_to)}"
    if response.least is not None:
        yield f"gauge starts at {plain(response.least)}"
    if response.most is not None:
        yield f"gauge stops at {plain(response.most)}"
    if response.sections > 1:
        worst = "" if response.kind == "number" else "; the worst of them counts"
        yield f"{response.sections} cuts a coupon, each read once{worst}"


def _boxes(response: Response) -> Boxes:
    known = [response.most, response.at_least, response.at_most]
    if response.typical is not None:
        known.append(response.typical.mean + 4 * response.typical.sd_coupon)
    largest = max((number for number in known if number is not None), default=99.0)
    return boxes_for(largest, response.reads_to)


def _limit(response: Response, *, fracture: bool, bend: bool) -> str:
    if response.most is None:
        return ""
    at = plain(response.most)
    if fracture:
        return f"did not break at {at}"
    return f"{at}, no crack" if bend else f"past {at}"


def _where(response: Response, *, always: bool) -> tuple[str, ...]:
    """Return the places to ring: the trial's own list, or all where it breaks or cracks."""
    if response.where:
        return tuple(dict.fromkeys((*response.where, "slipped")))
    return FAILED_AT if always else ()
