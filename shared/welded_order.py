"""The order in which coupons were really welded, against the order that was drawn."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise

_CLOCK = re.compile(r"(\d{1,2})[:h](\d{2})(?::\d{2})?(?: ?([ap])\.?m\.?)?", re.IGNORECASE)
_DAY = 24 * 60


@dataclass(frozen=True, slots=True)
class Started:
    """When a coupon was started: minutes after midnight, and the day where it was written."""

    minutes: int
    day: date | None = None

    @property
    def clock(self) -> str:
        """The time of day, ``09:05``."""
        return f"{self.minutes // 60:02d}:{self.minutes % 60:02d}"


def parse_started(text: str) -> Started | None:
    """Read ``9:05``, ``09:05:00``, ``2:30 pm`` or an ISO date and time; None for anything else."""
    found = _CLOCK.fullmatch(text)
    if found:
        hours, minutes = int(found[1]), int(found[2])
        if found[3]:
            hours = hours % 12 + (12 if found[3].casefold() == "p" else 0)
        return Started(hours * 60 + minutes) if hours < 24 and minutes < 60 else None
    if not re.match(r"\d{4}-\d{2}-\d{2}[T ]\d", text):
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return Started(moment.hour * 60 + moment.minute, moment.date())


@dataclass(frozen=True, slots=True)
class Start:
    """One coupon's start, in the order of the plan."""

    run: int
    stamp: str
    setup: int | None
    started: Started


@dataclass(frozen=True, slots=True)
class Departure:
    """One way in which the order differs from the plan.

    Attributes
    ----------
    words
        What happened.
    stamp
        A coupon that it can be seen at.
    harmless
        True when coupons changed places inside one set-up only.
    """

    words: str
    stamp: str
    harmless: bool


@dataclass(frozen=True, slots=True)
class _Group:
    """Coupons of one set-up in planned order, each with its minute on a running clock."""

    setup: int | None
    starts: tuple[tuple[int, Start], ...]
    dated: bool

    @property
    def low(self) -> int:
        return min(minute for minute, _ in self.starts)

    @property
    def high(self) -> int:
        return max(minute for minute, _ in self.starts)

    def later(self, days: int) -> _Group:
        moved = tuple((minute + days * _DAY, start) for minute, start in self.starts)
        return _Group(self.setup, moved, self.dated)


def departures(starts: Sequence[Start]) -> tuple[Departure, ...]:
    """Return how the order welded differs from the plan.

    Coupons that changed places within a set-up are harmless; set-ups that changed places, or
    one that was taken down and fitted again, are not: the second fitting is another set-up.

    A day, once written, holds for the coupons after it.  Without any, a set-up that lies wholly
    earlier in the day than the one before it is taken to be on the next day.
    """
    groups = _on_one_clock(starts)
    found = [departure for group in groups for departure in _within(group)]
    for group, later in pairwise(groups):
        stamp = later.starts[0][1].stamp
        if later.high <= group.low and later.low < group.high:
            words = f"set-up {later.setup} was welded before set-up {group.setup}, not after it."
            found.append(Departure(words, stamp, harmless=False))
        elif later.low < group.high:
            words = (
                f"set-ups {group.setup} and {later.setup} overlap: {group.setup} ran from "
                f"{_clock(group.low)} to {_clock(group.high)}, {later.setup} from "
                f"{_clock(later.low)}. A set-up taken down and fitted again is another set-up; "
                "if it was another day, write the date before the time."
            )
            found.append(Departure(words, stamp, harmless=False))
    return tuple(found)


def _clock(minute: int) -> str:
    return Started(minute % _DAY).clock


def _on_one_clock(starts: Sequence[Start]) -> list[_Group]:
    day: date | None = None
    groups: dict[int | None, list[tuple[int, Start]]] = {}
    dated: dict[int | None, bool] = {}
    for start in sorted(starts, key=lambda one: one.run):
        day = start.started.day or day
        midnight = 0 if day is None else day.toordinal() * _DAY
        groups.setdefault(start.setup, []).append((midnight + start.started.minutes, start))
        dated[start.setup] = day is not None
    placed: list[_Group] = []
    ahead = 0
    for setup, group in groups.items():
        one = _Group(setup, tuple(group), dated[setup]).later(0 if dated[setup] else ahead)
        before = placed[-1] if placed else None
        if before and not one.dated and not before.dated and one.high <= before.low:
            ahead += 1
            one = one.later(1)
        placed.append(one)
    return placed


def _within(group: _Group) -> list[Departure]:
    """Say which coupons of one set-up changed places."""
    order = [start for _, start in sorted(group.starts, key=lambda one: (one[0], one[1].run))]
    planned = [start for _, start in group.starts]
    moved = [(was, now) for was, now in zip(planned, order, strict=True) if was.run != now.run]
    if not moved:
        return []
    setup = group.setup
    runs = sorted(was.run for was, _ in moved)
    if len(moved) == 2:
        words = f"runs {runs[0]}/{runs[1]} welded in swapped order"
    else:
        words = f"runs {runs[0]} to {runs[-1]} welded in another order: " + ", ".join(
            now.stamp for _, now in moved
        )
    if setup is None:
        words += ". The order was drawn; keep to it."
    else:
        words += f" (noted) – harmless, same set-up ({setup})."
    return [Departure(words, moved[0][0].stamp, harmless=setup is not None)]
