"""The weld sheet: one block a set-up, boxes for what the welder sees, spares at the end."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from weldtrial.cli.sheet_parts import ROW_MM, Boxes, Paper, boxes_for
from weldtrial.shared.factors import Factor
from weldtrial.shared.plan import Plan, Run
from weldtrial.shared.problems import WrongUsage
from weldtrial.shared.rounding import give_or_take, plain
from weldtrial.shared.trial import Held, Trial

HEAD_MM, TITLE_MM, CHECKS_MM, COLUMNS_MM, GAP_MM, FOOT_MM = 12.5, 8.0, 6.0, 11.0, 4.0, 7.5
CHECK_LINE_MM = 255.0
FEWEST_ROWS = 3
"""Rows of a block that may stand alone at the foot of a page."""
RUN_STAMP_CLOCK_MM = 74.0
"""Run, stamp and time, and 25 mm to say what went wrong."""
_GAS_METAL_ARC = {"", "131", "135", "136", "138"}
_FLOW_UNITS = {"L/min", "ft³/h"}


@dataclass(frozen=True, slots=True)
class Column:
    """A column to write in: title, unit and boxes (None: a free line)."""

    title: str
    unit: str
    boxes: Boxes | None = None

    @property
    def width_mm(self) -> float:
        """Width at which the title takes two lines at most, a letter taking 1.65 mm."""
        words = self.title.split()
        whole = sum(len(word) for word in words) + len(words) - 1
        longest = max(len(word) for word in words)
        # Where the words break unluckily, a line holds half the title and one word's rest.
        title = 1.65 * min(whole, max(longest, whole / 2 + longest / 2))
        unit = 1.5 * len(self.unit)
        digits = 0 if self.boxes is None else self.boxes.whole + self.boxes.decimals
        return max(title, unit, 4.4 * digits + 1.5) + 2


@dataclass(frozen=True, slots=True)
class Row:
    """One coupon to weld; `planned` holds its settings that change within the set-up."""

    run: str
    stamp: str
    note: str
    planned: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Block:
    """One set-up, or a part of one that runs over a page."""

    title: str
    big: str
    fixed: str
    checks: tuple[str, ...]
    rows: tuple[Row, ...]
    continued: bool = False
    spares: bool = False

    @property
    def height_mm(self) -> float:
        """Height on paper, the gap below included."""
        # About 1.75 mm a letter at 9 pt, 10 mm for box and gap, 70 mm for flow and time.
        wide = 70 + sum(1.75 * len(check) + 10 for check in self.checks)
        checks = CHECKS_MM * math.ceil(wide / CHECK_LINE_MM) if self.checks else 0.0
        return TITLE_MM + checks + COLUMNS_MM + ROW_MM * len(self.rows) + GAP_MM


@dataclass(frozen=True, slots=True)
class WeldSheet:
    """Everything the template needs; `hard` names what a set-up holds, empty without set-ups."""

    planned: tuple[Column, ...]
    columns: tuple[Column, ...]
    flow_unit: str
    hard: str
    pages: tuple[tuple[Block, ...], ...]


def weld_sheet(trial: Trial, plan: Plan, paper: Paper, from_run: int | None = None) -> WeldSheet:
    """Return the weld sheet, from run `from_run` on where one is given.

    Raises
    ------
    WrongUsage
        When there is no such run.
    """
    runs = _runs(plan, from_run)
    changing = _changing(trial)
    blocks = [_block(trial, group, changing) for group in _grouped(runs)]
    spares = plan.of_role("spare")
    by_setup = bool(trial.hard)
    if spares:
        blocks.append(_spares(spares, len(changing), by_setup=by_setup))
    flow = next((held.unit for held in trial.held if held.unit in _FLOW_UNITS), "")
    planned = tuple(Column(factor.title, _set_words(factor)) for factor in changing)
    return WeldSheet(
        planned=planned,
        columns=_fitting(planned, tuple(_columns(trial)), paper.long_mm - 2 * paper.margin_mm),
        flow_unit=flow,
        hard=" and ".join(factor.title for factor in trial.hard),
        pages=tuple(_paged(blocks, paper.height_mm(landscape=True) - HEAD_MM - FOOT_MM)),
    )


def _runs(plan: Plan, from_run: int | None) -> list[Run]:
    runs = [run for run in plan.runs if run.run is not None]
    if from_run is None:
        return runs
    rest = [run for run in runs if (run.run or 0) >= from_run]
    if not rest or from_run < 1:
        raise WrongUsage(f"There is no run {from_run}: the plan has runs 1 to {len(runs)}.")
    return rest


def _grouped(runs: Sequence[Run]) -> Iterator[list[Run]]:
    for _, group in groupby(runs, key=lambda run: (run.round, run.setup)):
        yield list(group)


def _changing(trial: Trial) -> tuple[Factor, ...]:
    """Return the factors set anew for each coupon."""
    return trial.easy if trial.hard else trial.varied


def _block(trial: Trial, runs: Sequence[Run], changing: Sequence[Factor]) -> Block:
    first = runs[0]
    names = [
        f"Round {first.round}" if first.round is not None else "",
        f"Set-up {first.setup}" if first.setup is not None else "",
    ]
    big: list[str] = []
    fixed: list[str] = []
    for factor in trial.factors:
        if factor in changing:
            continue
        words = setting_words(factor, first)
        (big if factor.hard_to_change else fixed).append(words)
    fixed += [_held_words(held) for held in trial.held]
    return Block(
        title=" · ".join(name for name in names if name) or "All coupons",
        big=" · ".join(big),
        fixed=" · ".join(fixed),
        checks=_checks(trial) if first.setup is not None else (),
        rows=tuple(_row(run, changing) for run in runs),
    )


def setting_words(factor: Factor, run: Run) -> str:
    """Return a setting as the welder reads it: ``Shielding gas MIX (M21)``, ``25.5 V``."""
    value = run.settings.get(factor.name, "")
    if not isinstance(value, str):
        within = give_or_take(factor.tolerance)
        return f"{factor.title} {plain(value)}{within} {factor.unit}"
    symbol = factor.about.get(value, {}).get("iso14175", "")
    return f"{factor.title} {value.upper()}" + (f" ({symbol})" if symbol else "")


def _held_words(held: Held) -> str:
    return f"{held.title} {plain(held.target)}{give_or_take(held.tolerance)} {held.unit}"


def _checks(trial: Trial) -> tuple[str, ...]:
    """Return what to tick: the trial's own words for a set-up, then tip, nozzle and plate."""
    found = []
    for factor in trial.hard:
        found += [part.strip() for part in re.split(r"[,;]\s+", factor.one_setup)]
    if trial.joint.process in _GAS_METAL_ARC:
        found += ["tip OK", "nozzle clean"]
    return tuple(part for part in [*found, "plate cool"] if part)


def _set_words(factor: Factor) -> str:
    """Return what stands over a planned setting: ``set, V``, ``set ± 3 cm/min``."""
    if factor.tolerance is not None:
        return f"set{give_or_take(factor.tolerance, factor.unit)}"
    return f"set, {factor.unit}" if factor.unit else "set"


def _row(run: Run, changing: Sequence[Factor]) -> Row:
    planned = []
    for factor in changing:
        value = run.settings.get(factor.name, "")
        planned.append(value if isinstance(value, str) else plain(value))
    note = "warm-up" if run.role == "warm-up" else "confirm" if run.role == "confirm" else ""
    return Row("" if run.run is None else str(run.run), run.stamp, note, tuple(planned))


def _spares(spares: Sequence[Run], changing: int, *, by_setup: bool) -> Block:
    where = "weld it on the lost coupon's set-up" if by_setup else "weld it at the same settings"
    return Block(
        title="Spares",
        big=f"Write the stamp you lost and {where}",
        fixed="same settings, before the next set-up" if by_setup else "",
        checks=(),
        rows=tuple(Row("", run.stamp, "spare", ("",) * changing) for run in spares),
        spares=True,
    )


def _columns(trial: Trial) -> Iterator[Column]:
    for factor in trial.factors:
        if factor.kind == "numeric":
            largest = max(number for row in factor.settings.values() for number in row)
            yield Column(factor.title, f"seen, {factor.unit}", boxes_for(largest, factor.step))
    for held in trial.held:
        # Flow is set once a set-up; a glance at each coupon is enough for the rest.
        largest = held.target + 2 * (held.tolerance or 0)
        yield Column(held.title, f"seen, {held.unit}", boxes_for(largest, held.tolerance))
    yield Column("amps", "A", Boxes(3))
    yield Column("arc time", "s", Boxes(3))
    yield Column("bead", "mm", Boxes(3))
    yield Column("throat", "mm", Boxes(2, 1))
    yield Column("plate", "°C", Boxes(3))


def _fitting(
    planned: Sequence[Column], columns: tuple[Column, ...], width_mm: float
) -> tuple[Column, ...]:
    """Leave out the plate temperature, then the amps, where a row is too wide for the paper."""
    kept = columns
    for title in ("plate", "amps", "throat"):
        if RUN_STAMP_CLOCK_MM + sum(one.width_mm for one in (*planned, *kept)) <= width_mm:
            break
        kept = tuple(one for one in kept if one.title != title)
    return kept


def _paged(blocks: Sequence[Block], height_mm: float) -> Iterator[tuple[Block, ...]]:
    """Fill pages; a set-up stays whole where a page can hold it, other rows fill what is left."""
    page: list[Block] = []
    left = height_mm
    for block in blocks:
        rest: Block | None = block
        while rest is not None:
            piece, after = _split(rest, left, height_mm, fresh=not page)
            if piece is not None:
                page.append(piece)
                left -= piece.height_mm
            rest = after
            if rest is not None:
                yield tuple(page)
                page, left = [], height_mm
    if page:
        yield tuple(page)


def _split(
    block: Block, left: float, page: float, *, fresh: bool
) -> tuple[Block | None, Block | None]:
    """Return what of a block goes into `left` mm and what is continued on the next page."""
    if block.height_mm <= left:
        return block, None
    room = int((left - block.height_mm) // ROW_MM) + len(block.rows)
    keeps_whole = bool(block.checks or block.spares) and block.height_mm <= page
    if not fresh and (keeps_whole or room < FEWEST_ROWS):
        return None, block
    room = max(1, room)
    first = replace(block, rows=block.rows[:room])
    return first, replace(block, rows=block.rows[room:], checks=(), continued=True)
