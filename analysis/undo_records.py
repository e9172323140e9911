"""What would undo an answer, as frozen records."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from weldtrial.analysis.findings import VerdictCode


@dataclass(frozen=True, slots=True)
class Carries:
    """One coupon or round without which the verdict would be another."""

    what: str
    code: VerdictCode


@dataclass(frozen=True, slots=True)
class LostWould:
    """What the lost coupons of a level would have had to read, all alike, to change the verdict.

    `below` and `above` are the nearest such readings on either side of the level's mean, in the
    response's unit, None where none within ten coupon standard deviations does.
    """

    level: str
    stamps: tuple[str, ...]
    below: float | None
    above: float | None
    below_code: VerdictCode | None = None
    above_code: VerdictCode | None = None


@dataclass(frozen=True, slots=True)
class Unbroken:
    """How strong the coupons of a level that went past the gauge would have had to be.

    `value` is the strength at which the verdict would be `code` instead, had they all failed
    there while those of other levels failed just at the limit; None where none changes it.
    `further` is how far past each one's limit that is, where those are the coupons' own and not the
    gauge's, as where plates broke; `value` is then that of the farthest.  `at_once` tells that the
    limit itself is far enough: counted as the limit, they change it.
    """

    level: str
    coupons: int
    value: float | None
    code: VerdictCode | None
    at_once: bool = False
    further: float | None = None


@dataclass(frozen=True, slots=True)
class Forgotten:
    """The fewest coupons of a level, recorded too well or left out, that change the verdict.

    Attributes
    ----------
    how
        ``passed`` (taken for a pass, really failed), ``left out`` (failed, a further coupon) or
        ``one grade worse``.
    fewest
        How many, None where none of up to `tried` does.
    code
        The verdict with them, None where there is none.
    setups
        The set-ups in which they lie, where they do most harm; empty with independent coupons.
    tried
        Every placement of so many was looked at.
    """

    level: str
    how: str
    fewest: int | None
    code: VerdictCode | None
    setups: tuple[int, ...]
    tried: int


@dataclass(frozen=True, slots=True)
class ForgottenRow:
    """The comparison with some passes of `level` taken for failures.

    `coupons` is how many; `p` is Fisher's exact two-sided p, by set-up that of the set-up
    analysis with the failures where they do most harm (None where it has none).
    """

    level: str
    coupons: int
    passed: int
    of: int
    passed_reference: int
    of_reference: int
    p: float | None
    code: VerdictCode


@dataclass(frozen=True, slots=True)
class LostCounted:
    """What the lost coupons of a level could have done, had they failed or passed.

    Attributes
    ----------
    worst, best
        The verdict had all failed, or all passed (of grades: all worst, all best).
    fewest_worst, fewest_best
        From how many failures (passes) on, the rest passing (failing), the verdict is another;
        0 however they had come out, None where not even all would do.  With set-ups, placed where
        they do most harm.
    """

    level: str
    stamps: tuple[str, ...]
    worst: VerdictCode
    best: VerdictCode
    fewest_worst: int | None
    fewest_best: int | None


@dataclass(frozen=True, slots=True)
class LostBoth:
    """The verdict had all lost coupons of one level done worst and all of the other best.

    `changed` tells whether that is another verdict.
    """

    worst: str
    best: str
    code: VerdictCode
    changed: bool


@dataclass(frozen=True, slots=True)
class Undo:
    """What would undo the answer.

    Attributes
    ----------
    carries
        Coupons, and rounds (set-ups where there are no rounds), that carry it alone.
    lost
        For each level with lost coupons.
    unbroken
        For each level with coupons beyond a gauge limit.
    tried
        How many coupons and rounds were left out in turn.
    words
        The same in sentences.
    forgotten, rows, lost_counted, lost_both, brief
        Of coupons that pass or fail or are graded only, `rows` of the former; `brief` is one line
        for page 1.
    """

    carries: tuple[Carries, ...]
    lost: tuple[LostWould, ...]
    tried: int
    words: tuple[str, ...]
    unbroken: tuple[Unbroken, ...] = ()
    forgotten: tuple[Forgotten, ...] = ()
    rows: tuple[ForgottenRow, ...] = ()
    lost_counted: tuple[LostCounted, ...] = ()
    lost_both: tuple[LostBoth, ...] = ()
    brief: str = ""
