"""What a trial adds to an earlier one whose coupons it keeps, as ``[follows]`` says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Adds = Literal["fold-over", "star", "more", "separate", "confirm"]


@dataclass(frozen=True, slots=True)
class Predicted:
    """What the coupons that confirm should read in one response; None where nothing was said.

    Attributes
    ----------
    mean, low, high
        The next coupon in a fresh set-up: the mean, and the 95 % interval for that one coupon.
    mean_low, mean_high
        Interval for the mean of all coupons that confirm; those of all responses hold together at
        least 95 times in 100.
    chance
        That one coupon meets the limits of this response, 0 to 1; None where it has none.
    """

    mean: float | None = None
    low: float | None = None
    high: float | None = None
    mean_low: float | None = None
    mean_high: float | None = None
    chance: float | None = None


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
    predicted
        What the coupons that confirm should read, by response.
    at_least, of
        The rule: so many of so many coupons must pass every limit; None where nothing has a limit,
        and the means of the coupons are what is judged.
    share
        Share of coupons that is claimed to pass, 0 to 1, from which the rule follows.
    together
        The chance that one coupon passes every limit, as the earlier results have it.
    alike
        How alike coupons of one set-up are in passing: intraclass correlation, 0 to 1.
    beyond
        Whether the setting was asked for although it lies beyond what was welded.
    """

    folder: str
    seal: str
    adds: Adds
    turn: str | None = None
    at: Mapping[str, str | float] = field(default_factory=dict)
    predicted: Mapping[str, Predicted] = field(default_factory=dict)
    at_least: int | None = None
    of: int | None = None
    share: float | None = None
    together: float | None = None
    alike: float = 0.0
    beyond: bool = False
