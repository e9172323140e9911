"""A gauge study: who reads which coupon how often, and in which order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

GaugeDesign = Literal["crossed", "nested"]


@dataclass(frozen=True, slots=True)
class Gauge:
    """How a gauge study is laid out, as asked for.

    Attributes
    ----------
    coupons
        Coupons in all.
    names
        Their names where they carry some already; empty where stamps are drawn.
    readers
        Who reads.
    repeats
        Readings of each coupon by each of its readers, at least 2.
    design
        ``crossed`` (every reader every coupon) or ``nested`` (each coupon one reader's).
    """

    coupons: int
    names: tuple[str, ...]
    readers: tuple[str, ...]
    repeats: int
    design: GaugeDesign = "crossed"

    @property
    def per_reader(self) -> int:
        """Coupons that one reader reads."""
        return self.coupons if self.design == "crossed" else self.coupons // len(self.readers)


@dataclass(frozen=True, slots=True)
class Task:
    """One reading to take: the `order`-th of a reader's sheet number `repeat`."""

    reader: str
    repeat: int
    order: int
    stamp: str


@dataclass(frozen=True, slots=True)
class GaugeOrder:
    """The drawn order of a gauge study.

    Attributes
    ----------
    code
        First digits of the fingerprint of ``[gauge]`` that it was drawn from.
    stamps
        Coupons, sorted.
    tasks
        By reader, then sheet, then order of reading.
    """

    code: str
    stamps: tuple[str, ...]
    tasks: tuple[Task, ...]
