"""Which column of somebody's spreadsheet is what, by the words of the trade."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from weldtrial.shared.csvtable import plain_header
from weldtrial.shared.data_file import MISSING, DataFile
from weldtrial.shared.problems import Problem, nearest
from weldtrial.shared.units import UnknownUnit, canonical
from weldtrial.shared.welded_order import parse_started

Role = Literal["value", "group", "coupon", "setup", "day", "order", "time", "reader", "plate"]
ROLES: Mapping[Role, str] = {
    "value": "the reading",
    "group": "the side (what is compared)",
    "coupon": "the coupon",
    "setup": "the set-up",
    "day": "the day",
    "order": "the order of welding",
    "time": "the time of day",
    "reader": "the reader",
    "plate": "the plate",
}
_WORDS: Mapping[Role, tuple[str, ...]] = {
    "group": ("gas", "group", "side", "shielding_gas", "variant", "treatment", "spool", "wire",
              "arm", "which", "type", "condition"),
    "value": ("break_load", "load", "force", "strength", "penetration", "depth", "bend_angle",
              "angle", "hardness", "reading", "value", "result", "kn", "mpa", "n", "mm"),
    "coupon": ("stamp", "coupon", "specimen", "sample", "piece", "weld", "bead_no", "weld_id",
               "id"),
    "setup": ("setup", "set_up", "bottle", "cylinder", "fitted", "purge"),
    "day": ("day", "date", "session", "shift", "afternoon"),
    "order": ("order", "run", "sequence", "seq", "run_order", "no", "nr", "number"),
    "time": ("time", "started", "start", "clock", "welded_at"),
    "reader": ("reader", "read_by", "inspector", "measured_by", "operator", "who"),
    "plate": ("plate", "heat", "plate_heat", "sheet", "batch", "material"),
}  # fmt: skip
_UNIT = re.compile(r"(?:[(\[]\s*([^)\]]+)\s*[)\]]|_([A-Za-z/%²]+))\s*$")

OLD_WORDS = ("control", "old", "before", "today", "reference", "standard", "usual", "earlier")
"""Names of the side that something is compared with."""


@dataclass(frozen=True, slots=True)
class Columns:
    """Columns by what they stand for.

    Attributes
    ----------
    names
        Column of each role that there is.
    taken
        What was guessed, in words: "took 'bottle' as the set-up".
    """

    names: Mapping[Role, str]
    taken: tuple[str, ...] = ()

    def of(self, role: Role) -> str:
        """Return the column of a role, empty where there is none."""
        return self.names.get(role, "")

    @property
    def spare(self) -> frozenset[str]:
        """Columns that have a role."""
        return frozenset(self.names.values())


def find_columns(data: DataFile, asked: Mapping[Role, str]) -> tuple[Columns, tuple[Problem, ...]]:
    """Return which column is what, as asked for or else by common words, and every problem.

    Parameters
    ----------
    asked
        Columns that were named on the command line, by role; empty texts are not asked for.
    """
    names: dict[Role, str] = {}
    problems = []
    for role, name in asked.items():
        if not name:
            continue
        exact = _column(name, data)
        if exact is None:
            problems.append(_no_column(role, name, data))
        elif exact in names.values():
            words = f"column '{exact}' was named twice. Name it once, as one thing."
            problems.append(Problem(words, file=data.name, row=1, column=f"--{role}"))
        else:
            names[role] = exact
    taken = []
    for role in _WORDS:
        if role in names or asked.get(role):
            continue
        free = [name for name in data.header if name and name not in names.values()]
        guess = _guess(role, free, data)
        if guess:
            names[role] = guess
            taken.append(f"took '{guess}' as {ROLES[role]}")
    for role in ("value", "group"):
        if role not in names and not asked.get(role):
            words = (
                f"no column looks like {ROLES[role]}. Name it:  --{role} COLUMN  "
                f"(it has {', '.join(data.header)})."
            )
            problems.append(Problem(words, file=data.name, row=1))
    return Columns(names, tuple(taken)), tuple(problems)


def group_of(data: DataFile, apart: str) -> str:
    """Return the column that looks like the sides, another than `apart`; empty where none does."""
    return _guess("group", [name for name in data.header if name and name != apart], data)


def _column(name: str, data: DataFile) -> str | None:
    if name in data.header:
        return name
    plain = [one for one in data.header if plain_header(one) == plain_header(name)]
    return plain[0] if len(plain) == 1 else None


def _no_column(role: Role, name: str, data: DataFile) -> Problem:
    close = nearest(name, data.header)
    hint = f"Did you mean '{close}'?" if close else f"It has {', '.join(data.header)}."
    words = f"there is no column '{name}'. {hint}"
    return Problem(words, file=data.name, row=1, column=f"--{role}", value=name)


def _guess(role: Role, free: list[str], data: DataFile) -> str:
    """Return the free column whose name says most plainly that it has this role."""
    fitting = [name for name in free if _fits(role, name, data)]
    spelt = {name: plain_header(_UNIT.sub("", name)) for name in fitting}
    for word in _WORDS[role]:
        for name in fitting:
            if word in (spelt[name], plain_header(name)):
                return name
    for word in _WORDS[role]:
        for name in fitting:
            if len(word) > 2 and word in spelt[name].split("_"):
                return name
    return ""


def _fits(role: Role, name: str, data: DataFile) -> bool:
    """Tell whether the cells of a column could be those of a role."""
    cells = [row[name] for row in data.rows if row[name] not in MISSING]
    if not cells:
        return False
    numbers = sum(data.number(cell) is not None for cell in cells)
    if role in ("value", "order"):
        return 2 * numbers > len(cells)
    if role == "group":
        few = 2 <= len(set(cells)) <= max(2, len(cells) // 2)
        return few and 2 * numbers < len(cells)
    if role == "time":
        return 2 * sum(parse_started(cell) is not None for cell in cells) > len(cells)
    # A label is a name or a whole number: heat input in kJ/mm names no plate.
    return not any((data.number(cell) or 0.0) % 1 for cell in cells)


def unit_in(header: str) -> str:
    """Return the unit that a header names, such as ``load_kN`` or ``Load (kN)``; else empty."""
    found = _UNIT.search(header)
    text = (found[1] or found[2]) if found else header
    try:
        return canonical(text)
    except (UnknownUnit, ValueError):
        return ""
