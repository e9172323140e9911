"""A file of yes and no is counted, not averaged: the count is told, ready to be reviewed."""

from __future__ import annotations

import shlex
from collections.abc import Mapping

from weldtrial.shared.data_file import MISSING, DataFile
from weldtrial.shared.problems import Problem
from weldtrial.shared.review_columns import OLD_WORDS, Role, group_of

EVENTS = frozenset(["yes", "y", "true", "fail", "failed", "cracked", "porous", "1"])
NONE = frozenset(["no", "n", "false", "pass", "passed", "ok", "none", "0"])


def yes_no(data: DataFile, asked: Mapping[Role, str]) -> Problem | None:
    """Return what to type instead where the readings are yes and no; None where they are not.

    Looked for in the column named as the reading, else wherever no other column has numbers.
    """
    if asked.get("value"):
        columns = [name for name in data.header if name == asked["value"]]
    elif any(_numbers(data, name) for name in data.header):
        return None
    else:
        columns = list(data.header)
    column = next((name for name in columns if _is_yes_no(data, name)), "")
    if not column:
        return None
    words = f"'{column}' holds yes and no, which are counted and not averaged. Count each side"
    group = asked.get("group") or group_of(data, column)
    sides = dict.fromkeys(row[group] for row in data.rows) if group in data.header else {}
    if len(sides) == 2:
        counts = [_count(data, column, group, side) for side in _new_first(list(sides))]
        words += f':  weldtrial review --counts "{", ".join(counts)}" --what {shlex.quote(column)}'
    else:
        words += ', the new one first:  weldtrial review --counts "new 3/4, before 0/12"'
    return Problem(words, file=data.name, row=1, column=column)


def _cells(data: DataFile, name: str) -> list[str]:
    return [row[name].casefold() for row in data.rows if row[name] not in MISSING]


def _is_yes_no(data: DataFile, name: str) -> bool:
    cells = _cells(data, name)
    return bool(cells) and set(cells) <= EVENTS | NONE


def _numbers(data: DataFile, name: str) -> bool:
    cells = _cells(data, name)
    found = [cell for cell in cells if data.number(cell) is not None]
    return 2 * len(found) > len(cells) and not _is_yes_no(data, name)


def _new_first(sides: list[str]) -> list[str]:
    old = next((side for side in sides if side.casefold() in OLD_WORDS), sides[0])
    return sorted(sides, key=lambda side: side == old)


def _count(data: DataFile, column: str, group: str, side: str) -> str:
    mine = [row[column].casefold() for row in data.rows if row[group] == side]
    told = [one for one in mine if one in EVENTS | NONE]
    return f"{side} {sum(one in EVENTS for one in told)}/{len(told)}"
