"""Factors whose levels are names: a gas, a wire, a welder."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from weldtrial.shared.factors import Factor
from weldtrial.shared.names import level_fault
from weldtrial.shared.problems import nearest
from weldtrial.shared.trialfile.draft import (
    Draft,
    common,
    list_of_levels,
    one_level,
    row_known,
)
from weldtrial.shared.trialfile.faults import as_written, shortened
from weldtrial.shared.trialfile.values import plain_number


def read_category(draft: Draft) -> Factor | None:
    """Return the category, or None when it cannot be used."""
    levels = list_of_levels(draft)
    if levels is None or not _good_names(draft, levels):
        return None
    raw = draft.raw
    for key in ("unit", "step", "tolerance"):
        if key in raw:
            draft.wrong(
                key,
                f"factor '{draft.name}' has a {key}, but its levels are names. Numbers are "
                f"written without quotes; names have no {key}.",
            )
    if len(levels) == 1:
        one_level(draft)
        return None
    control = _control(draft, levels)
    about = _about(draft, levels)
    if "name" not in raw:
        return None
    return Factor(
        name=draft.name,
        kind="category",
        levels=tuple(levels),
        control=control,
        about=about,
        **common(draft),
    )


def _good_names(draft: Draft, levels: list[Any]) -> bool:
    if not all(isinstance(level, str) for level in levels):
        draft.wrong(
            "levels",
            f"levels of factor '{draft.name}' must be all names in quotes or all numbers without; "
            f"it says {as_written(levels)}.",
            levels,
        )
        return False
    if all(_looks_like_a_number(level) for level in levels):
        draft.wrong(
            "levels",
            f"levels of factor '{draft.name}' are numbers written as text. Write them without "
            f"quotes:  levels = [{', '.join(level.strip() for level in levels)}].",
            levels,
        )
        return False
    good = True
    for place, level in enumerate(levels):
        twin = next((one for one in levels[:place] if one.casefold() == level.casefold()), None)
        if fault := level_fault(level):
            draft.wrong(f"levels.{place}", f"a level of factor '{draft.name}' {fault}", level)
        elif twin is not None:
            same = "is named twice" if twin == level else f'and "{twin}" differ only in capitals'
            draft.wrong(
                f"levels.{place}",
                f"level \"{shortened(level)}\" of factor '{draft.name}' {same}. Keep one.",
                level,
            )
        else:
            continue
        good = False
    return good


def _looks_like_a_number(text: str) -> bool:
    try:
        float(text.replace(",", "."))
    except ValueError:
        return False
    return True


def _control(draft: Draft, levels: Sequence[str]) -> str | None:
    control = draft.raw.get("control")
    if control is None or control in levels:
        return control
    close = nearest(control, levels)
    hint = f'Did you mean "{close}"?' if close else f"Choose one of {', '.join(levels)}."
    draft.wrong(
        "control",
        f"control \"{shortened(control)}\" is not a level of factor '{draft.name}'. {hint}",
        control,
    )
    return None


def _about(draft: Draft, levels: Sequence[str]) -> dict[str, dict[str, str | float]]:
    about = draft.raw.get("about", {})
    if not isinstance(about, dict):
        draft.wrong("about", f"about of factor '{draft.name}' needs one table for each level.")
        return {}
    good: dict[str, dict[str, str | float]] = {}
    for level, facts in about.items():
        if not row_known(draft, "about", level, levels):
            continue
        if not isinstance(facts, dict):
            draft.wrong(
                f"about.{level}",
                f"about '{shortened(level)}' must be a table such as {{ cost_per_m3 = 3.60 }}.",
            )
            continue
        good[level] = {}
        for fact, value in facts.items():
            number = plain_number(value)
            if not isinstance(value, str) and number is None:
                draft.wrong(
                    f"about.{level}.{fact}",
                    f"'{shortened(fact)}' about '{level}' must be text or a number; it says "
                    f"{as_written(value)}.",
                    value,
                )
                continue
            good[level][fact] = value if isinstance(value, str) else float(number or 0)
    return good
