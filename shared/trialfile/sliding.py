"""Levels that slide: roles whose numbers are each gas's own.

References
----------
Hamada & Wu (1995). The treatment of related experimental factors by sliding levels.
*Journal of Quality Technology* 27, 45-55.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from weldtrial.shared.problems import nearest
from weldtrial.shared.trialfile.draft import (
    Draft,
    Settings,
    list_of_levels,
    numbers_of,
    pair_of,
    row_known,
)
from weldtrial.shared.trialfile.faults import as_written

_ROLE_SETS = (("own",), ("low", "high"), ("low", "mid", "high"), ("own", "same"))


def read_sliding(draft: Draft) -> tuple[tuple[str, ...], Settings] | None:
    """Return roles and the numbers of each at every level slid with; None when unusable."""
    owner = _owner(draft)
    if owner is None:
        return None
    levels = ("low", "high") if "low_high" in draft.raw else _roles(draft)
    if levels is None:
        return None
    key = "low_high" if "low_high" in draft.raw else "at"
    table = draft.raw.get(key, {})
    if not isinstance(table, dict):
        draft.wrong(
            key,
            f"{draft.name} slides with {draft.raw['slides_with']}, so {key} needs a line for each "
            f"of {', '.join(owner)}.",
        )
        return None
    known = [level for level in table if row_known(draft, key, level, owner)]
    missing = [level for level in owner if level not in table]
    for level in missing:
        _missing_line(draft, key, level, levels)
    rows = {level: _row(draft, key, level, table[level], levels) for level in known}
    settings = {level: row for level in owner if (row := rows.get(level)) is not None}
    return (levels, settings) if len(settings) == len(owner) == len(table) else None


def _owner(draft: Draft) -> tuple[str, ...] | None:
    name = draft.raw.get("slides_with")
    if name is None:
        if not draft.faults.stands(f"{draft.path}.slides_with"):
            draft.wrong(
                "at",
                f"factor '{draft.name}' has [factor.at] but no slides_with. Add  slides_with = "
                "the category its numbers shift with.",
            )
        return None
    if name in draft.owners and draft.owners[name] and name != draft.name:
        return draft.owners[name]
    if name in draft.numeric or name == draft.name:
        words = f"{draft.name} slides with '{name}', which has numbers. Only names can shift them."
    elif name in draft.owners or not draft.all_named:
        return None
    else:
        close = nearest(name, draft.owners)
        hint = f"Did you mean '{close}'?" if close else "Add that factor, or take slides_with out."
        words = f"{draft.name} slides with '{name}', and there is no such factor. {hint}"
    draft.wrong("slides_with", words, name)
    return None


def _roles(draft: Draft) -> tuple[str, ...] | None:
    levels = list_of_levels(draft)
    if levels is None:
        return None
    if tuple(levels) in _ROLE_SETS:
        return tuple(levels)
    shown = " or ".join(as_written(list(roles)) for roles in _ROLE_SETS)
    draft.wrong(
        "levels",
        f"{draft.name} slides with {draft.raw.get('slides_with')}, so its levels are roles: "
        f"{shown}. The numbers go under [factor.at].",
        levels,
    )
    return None


def _missing_line(draft: Draft, key: str, level: str, levels: Sequence[str]) -> None:
    row = (
        "[ …, … ]" if key == "low_high" else f"{{ {', '.join(f'{role} = …' for role in levels)} }}"
    )
    draft.wrong(
        key,
        f"{draft.name} slides with {draft.raw['slides_with']}, but there is no line for "
        f"'{level}'. Add  {level if level.isidentifier() else as_written(level)} = {row}.",
    )


def _row(
    draft: Draft, key: str, level: str, row: Any, roles: Sequence[str]
) -> tuple[float, ...] | None:
    where = f"{key} '{level}' of factor '{draft.name}'"
    place = f"{key}.{level}"
    if key == "low_high":
        return pair_of(draft, place, where, row)
    if not isinstance(row, dict) or set(row) != set(roles):
        wanted = ", ".join(f"{role} = ..." for role in roles)
        draft.wrong(place, f"{where} must be {{ {wanted} }}, one number for each role.", row)
        return None
    if "same" in roles:
        numbers = [numbers_of(draft, f"{place}.{role}", where, [row[role]]) for role in roles]
        return None if None in numbers else tuple(one[0] for one in numbers if one)
    return numbers_of(draft, place, where, [row[role] for role in roles])
