"""Raw figures as the evidence that everything else is weighed as, at the level they bear."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from weldtrial.shared.claimed import Evidence, EvidenceKind, Side
from weldtrial.shared.problems import Problem, nearest
from weldtrial.shared.responses import Better
from weldtrial.shared.review_columns import OLD_WORDS
from weldtrial.shared.review_data import ReviewRow, Theirs

Level = Literal["rows", "coupons", "setups"]
"""What counts as one: every row as given, every coupon, every set-up."""


def sides_to_compare(
    theirs: Theirs, new: str = "", old: str = ""
) -> tuple[tuple[str, str] | None, tuple[str, ...], tuple[Problem, ...]]:
    """Return which side is new and which is old, what was taken for granted, and every problem.

    Parameters
    ----------
    new, old
        Sides as named by the user; empty where they were not.
    """
    sides, problems = theirs.groups, []
    for flag, name in (("--new", new), ("--old", old)):
        if name and name not in sides:
            close = nearest(name, sides)
            hint = f"Did you mean '{close}'?" if close else f"There are {', '.join(sides)}."
            words = f"{flag} {name}: there is no such side. {hint}"
            problems.append(Problem(words, file=theirs.name, value=name))
    if problems:
        return None, (), tuple(problems)
    said = []
    if not old:
        known = [s for s in sides if s.casefold() in OLD_WORDS and s != new]
        left = [side for side in sides if side != new]
        old = (known or left)[0]
        said.append(f"took '{old}' as the old side")
    left = [side for side in sides if side != old]
    if not new and len(left) > 1:
        words = f"has {len(sides)} sides. Say which is claimed about:  --new {left[0]}"
        return None, (), (Problem(words, file=theirs.name, column=theirs.columns.of("group")),)
    new = new or left[0]
    if new == old:
        words = f"'{new}' cannot be compared with itself. Name another  --old"
        return None, (), (Problem(words, file=theirs.name, value=new),)
    return (new, old), tuple(said), ()


def finest_level(rows: Sequence[ReviewRow]) -> Level:
    """Return what counts as one, as far as the file says: set-ups, else coupons, else rows."""
    kept = [row for row in rows if row.value is not None]
    if kept and all(row.setup for row in kept):
        pairs = {(row.setup, row.group) for row in kept}
        if len(pairs) == len({row.setup for row in kept}):
            return "setups"
    return "coupons" if kept and all(row.coupon for row in kept) else "rows"


def averages(rows: Sequence[ReviewRow], side: str, level: Level) -> tuple[float, ...]:
    """Return one number a unit of a side: readings averaged, and coupons of a set-up too."""
    mine = [row for row in rows if row.group == side and row.value is not None]
    if level == "rows":
        return tuple(row.value for row in mine if row.value is not None)
    coupons: dict[tuple[str, str], list[float]] = {}
    for row in mine:
        key = (row.setup if level == "setups" else "", row.coupon or str(row.number))
        coupons.setdefault(key, []).append(row.value or 0.0)
    means = {key: sum(found) / len(found) for key, found in coupons.items()}
    if level == "coupons":
        return tuple(means.values())
    setups: dict[str, list[float]] = {}
    for (setup, _), value in means.items():
        setups.setdefault(setup, []).append(value)
    return tuple(sum(found) / len(found) for found in setups.values())


def evidence_of_rows(
    rows: Sequence[ReviewRow],
    new: str,
    old: str,
    *,
    unit: str = "",
    what: str = "",
    level: Level | None = None,
    better: Better = "higher",
    kind: EvidenceKind = "raw",
    step: float | None = None,
) -> Evidence:
    """Return two sides of raw figures as evidence.

    Parameters
    ----------
    level
        What counts as one; the finest that the file tells of, unless said.

    Notes
    -----
    A reading past a limit enters with the limit itself: where there are many, the analysis of the
    trial records (`weldtrial.shared.review_data.as_trial`) is the one to go by.
    """
    level = level or finest_level(rows)
    found = {side: averages(rows, side, level) for side in (new, old)}
    return Evidence(
        kind=kind,
        new=_side(rows, new, found[new]),
        old=_side(rows, old, found[old]),
        unit="" if unit == "1" else unit,
        what=what,
        better=better,
        step=step,
        values_new=found[new],
        values_old=found[old],
    )


def _side(rows: Sequence[ReviewRow], name: str, values: Sequence[float]) -> Side:
    from statistics import mean, stdev

    setups = {row.setup for row in rows if row.group == name and row.value is not None}
    return Side(
        name=name,
        n=len(values),
        mean=mean(values) if values else None,
        sd=stdev(values) if len(values) > 1 else None,
        setups=len(setups) if setups and "" not in setups else None,
    )
