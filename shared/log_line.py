"""One line of the weld log, as a value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class LogLine:
    """One row of the weld log, numbers in the units of trial and column."""

    stamp: str
    row: int
    run: int | None = None
    setup: int | None = None
    started: str = ""
    as_run: Mapping[str, float] = field(default_factory=dict)
    measured: Mapping[str, float] = field(default_factory=dict)
    welder: str = ""
    replaces: str = ""
    went_wrong: str = ""

    @property
    def welded(self) -> bool:
        """Whether the welder wrote anything that says an arc was struck."""
        return bool(self.started or self.as_run or self.measured)

    @property
    def lost(self) -> str:
        """Why the coupon is lost, where `went_wrong` begins with "lost"; else empty."""
        words = self.went_wrong
        return words if words.casefold().startswith("lost") else ""
