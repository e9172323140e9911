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
    """

    level: str
    coupons: int
    value: float | None
    code: VerdictCode | None


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
    """

    carries: tuple[Carries, ...]
    lost: tuple[LostWould, ...]
    tried: int
    words: tuple[str, ...]
    unbroken: tuple[Unbroken, ...] = ()
