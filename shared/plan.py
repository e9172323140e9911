"""The plan: every coupon with its settings, its set-up, its place in the order and its stamp."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Role = Literal["count", "warm-up", "spare", "confirm"]


@dataclass(frozen=True, slots=True)
class Run:
    """One row of ``plan.csv``.

    Attributes
    ----------
    run
        Place in the welding order over the whole trial, from 1; None for a spare.
    round, setup, place
        Round, set-up (numbered over the whole trial in welding order) and place within the
        set-up; None for a spare, and `round` and `setup` None where the layout has none.
    stamp
        The code punched in the plate.
    levels
        Level name of every factor, own settings included; empty for a spare.
    settings
        The same as set on the machine: a number for a numeric factor, the level for a category.
    """

    run: int | None
    round: int | None
    setup: int | None
    place: int | None
    stamp: str
    role: Role
    levels: Mapping[str, str] = field(default_factory=dict)
    settings: Mapping[str, float | str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Plan:
    """A drawn plan.

    Attributes
    ----------
    runs
        In welding order, spares last.
    draws
        How many orders were drawn until one obeyed the restriction.
    restriction
        The restriction in words, empty when there is none.
    """

    runs: tuple[Run, ...]
    draws: int = 1
    restriction: str = ""

    def of_role(self, *roles: Role) -> tuple[Run, ...]:
        """Return the runs of one role, or of several."""
        return tuple(run for run in self.runs if run.role in roles)

    def by_stamp(self) -> dict[str, Run]:
        """Return the runs keyed by stamp."""
        return {run.stamp: run for run in self.runs}
