"""What a trial adds to an earlier one whose coupons it keeps, as ``[follows]`` says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Adds = Literal["fold-over", "star", "more", "separate", "confirm"]


@dataclass(frozen=True, slots=True)
class Follows:
    """The earlier trial, and what is added to it.

    Attributes
    ----------
    folder
        Where a copy of the earlier trial lies, inside this one's folder.
    seal
        The earlier trial's seal, 64 hexadecimal digits.
    adds
        What is welded now: the same coupons with signs turned, star points, more of the same,
        coupons that tell the terms of ``[design]`` apart, or coupons that confirm one setting.
    turn
        The one factor whose sign a fold-over turns; None turns all that are easy to change.
    at
        The setting that is confirmed, factor by factor: a level, or a number in its unit.
    """

    folder: str
    seal: str
    adds: Adds
    turn: str | None = None
    at: Mapping[str, str | float] = field(default_factory=dict)
