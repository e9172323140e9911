"""The record: what was welded and what was read, one coupon a row, every cell checked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from weldtrial.shared.plan import Role
from weldtrial.shared.problems import Problem

ReadingKind = Literal["number", "above", "below", "between", "lost", "grade", "pass", "fail"]


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading as it counts now.

    Attributes
    ----------
    kind
        ``number`` (`value`), ``above`` (> `low`), ``below`` (< `high`), ``between`` (`low` to
        `high`), ``lost``, ``grade`` (`text`), ``pass`` or ``fail``.
    value, low, high
        In the response's unit, None where they do not apply.
    text
        As typed.
    guess
        The level that a blind reader thought it was, where that was asked and answered.
    row
        Row of the readings file, the header being row 1.
    corrected
        True when a correction replaced what was first typed (`first`).
    """

    kind: ReadingKind
    value: float | None = None
    low: float | None = None
    high: float | None = None
    text: str = ""
    failed_at: str = ""
    reader: str = ""
    read_on: str = ""
    note: str = ""
    guess: str = ""
    row: int | None = None
    corrected: bool = False
    first: Reading | None = None


@dataclass(frozen=True, slots=True)
class Coupon:
    """One coupon that was planned: settings, log line, readings.

    A spare that replaces a lost coupon carries the settings and set-up of the coupon it
    replaces; an unused spare has none and is not in the record.
    """

    stamp: str
    role: Role
    run: int | None
    round: int | None
    setup: int | None
    levels: Mapping[str, str]
    settings: Mapping[str, float | str]
    welded: bool = False
    started: str = ""
    as_run: Mapping[str, float] = field(default_factory=dict)
    """Settings as run, factors and held settings alike, in their own units, where written."""
    measured: Mapping[str, float] = field(default_factory=dict)
    """``amps`` (A), ``arc_s`` (s), ``bead_mm`` (mm), ``throat_mm`` (mm), ``plate_temp_C``."""
    went_wrong: str = ""
    replaces: str = ""
    lost: str = ""
    """Why the whole coupon is lost; empty when it is not."""
    readings: Mapping[str, tuple[Reading, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Correction:
    """One line of ``corrections.csv``."""

    when: str
    who: str
    file: str
    stamp: str
    column: str
    was: str
    now: str
    why: str
    codes_open: bool
    link: str


@dataclass(frozen=True, slots=True)
class JournalLine:
    """One line of ``journal.csv``: when, who, what happened (a fixed word), details, link."""

    when: str
    who: str
    event: str
    details: str
    link: str


SealState = Literal["sealed", "amended", "late", "none"]


@dataclass(frozen=True, slots=True)
class Record:
    """Everything the bench wrote, checked.

    Attributes
    ----------
    coupons
        Counting and confirming coupons and used spares in welding order (warm-ups are left out).
    planned
        How many counting and confirming coupons the plan has.
    problems
        Everything that has to be mended (or, as warnings, known).
    """

    coupons: tuple[Coupon, ...]
    planned: int
    sealed: SealState = "none"
    seal: str = ""
    adopted: bool = False
    corrections: tuple[Correction, ...] = ()
    journal: tuple[JournalLine, ...] = ()
    problems: tuple[Problem, ...] = ()
    codes_open: bool = True

    @property
    def errors(self) -> tuple[Problem, ...]:
        """Problems that stop an analysis."""
        return tuple(problem for problem in self.problems if not problem.warning)


def without_confirming(record: Record) -> Record:
    """Return the record without the coupons that only confirm a setting."""
    kept = tuple(one for one in record.coupons if one.role != "confirm")
    gone = sum(one.role == "confirm" and not one.replaces for one in record.coupons)
    return replace(record, coupons=kept, planned=record.planned - gone) if gone else record


def without_corrections(record: Record) -> Record:
    """Return the record with every reading as it was first typed.

    A reading that was no reading when first typed drops out.  A duplicate that a correction
    struck out stays out: which of two readings of one coupon was meant cannot be undone.
    """

    def first(reading: Reading) -> Reading | None:
        return reading.first if reading.corrected else reading

    coupons = []
    for coupon in record.coupons:
        readings = {
            name: tuple(one for one in map(first, typed) if one is not None)
            for name, typed in coupon.readings.items()
        }
        coupons.append(replace(coupon, readings=readings))
    return replace(record, coupons=tuple(coupons))
