"""The shape of a trial file: every section and setting known, of the right type, in range.

What passes is handed on as plain dicts holding good values only, so that the checks that
follow need not ask again, and one slip is reported once.
"""

from __future__ import annotations

from collections.abc import Mapping
from difflib import SequenceMatcher
from typing import Any

from weldtrial.shared.problems import nearest
from weldtrial.shared.schema import SECTION, SECTIONS, TOP
from weldtrial.shared.setting import Key, Section
from weldtrial.shared.trialfile.faults import Faults, as_written, shortened
from weldtrial.shared.trialfile.values import must, value_of

Plain = dict[str, Any]

_REFUSED = "are refused so a typing slip cannot quietly change the plan."


def check_shape(parsed: Mapping[str, Any], faults: Faults) -> Plain:
    """Return the good values of a parsed trial file.

    Parameters
    ----------
    parsed
        What ``tomllib`` returned.
    faults
        Gathers what is wrong.

    Returns
    -------
    dict
        By section name: a dict of settings, or for ``[[name]]`` a list of them in the order of
        the file.  A section that is absent is an empty dict or list.
    """
    _format(parsed, faults)
    for name in parsed:
        if name != TOP.name and name not in SECTION:
            _unknown_section(name, parsed[name], faults)
    return {section.name: _section(section, parsed, faults) for section in SECTIONS}


def _format(parsed: Mapping[str, Any], faults: Faults) -> None:
    if TOP.name not in parsed:
        faults.wrong("", "the file does not say its format. Add  format = 1  as the first line.")
        return
    value = parsed[TOP.name]
    if isinstance(value, bool) or value != 1:
        faults.wrong(
            TOP.name,
            f"format = {as_written(value)} is not known to this version, which reads format 1. "
            "Write  format = 1.",
            value,
        )


def _unknown_section(name: str, value: object, faults: Faults) -> None:
    shown = shortened(name)
    if not isinstance(value, dict | list):
        homes = [section.header for section in SECTIONS if section.key(name)]
        belongs = (
            f" It belongs under {' or '.join(homes)}."
            if homes
            else " Only  format = 1  stands there."
        )
        faults.wrong(name, f"'{shown}' stands before the first [section].{belongs}", value)
        return
    close = nearest(name, SECTION)
    if close:
        faults.meant.add(close)
    known = ", ".join(section.header for section in SECTIONS)
    hint = f"Did you mean {SECTION[close].header}?" if close else f"The sections are {known}."
    faults.wrong(
        name, f"[{shown}] is not a section of a trial file. {hint} Unknown ones {_REFUSED}"
    )


def _section(section: Section, parsed: Mapping[str, Any], faults: Faults) -> Plain | list[Plain]:
    value = parsed.get(section.name)
    if value is None:
        if section.required and section.name not in faults.meant:
            faults.wrong("", f"there is no {section.header}: {_why_needed(section)}")
        return [] if section.many else {}
    if section.many:
        if not isinstance(value, list) or not all(isinstance(one, dict) for one in value):
            faults.wrong(
                section.name,
                f"write {section.header} in double brackets above each: there may be several.",
            )
            return []
        if not value:
            faults.wrong(section.name, f"there is no {section.header}: {_why_needed(section)}")
        return [
            _table(section.what, section.keys, one, f"{section.name}.{place}", faults)
            for place, one in enumerate(value)
        ]
    if not isinstance(value, dict):
        faults.wrong(section.name, f"write {section.header} as a section: it can stand only once.")
        return {}
    if section.free:
        return _free(section, value, faults)
    return _table(section.what, section.keys, value, section.name, faults)


def _why_needed(section: Section) -> str:
    return {
        "trial": "add [trial] with a title.",
        "factor": "nothing is changed, so there is nothing to compare. Add a factor.",
        "response": "nothing is measured. Add a response.",
    }.get(section.name, f"leave it out, or describe {section.what}.")


def _free(section: Section, table: Mapping[str, Any], faults: Faults) -> Plain:
    good: Plain = {}
    for name, value in table.items():
        path = f"{section.name}.{name}"
        if not name.strip():
            faults.wrong(path, f"{section.what} has an empty name. Give it one.")
            continue
        answer = value_of(section.keys[0], f"'{shortened(name)}'", value, path, faults)
        if answer is not None:
            good[name] = answer
    return good


def _table(
    what: str, keys: tuple[Key, ...], table: Mapping[str, Any], path: str, faults: Faults
) -> Plain:
    known = {key.name: key for key in keys}
    good: Plain = {}
    for name, value in table.items():
        if name not in known:
            _unknown_key(name, what, known, f"{path}.{name}", faults)
            continue
        answer = _entry(known[name], f"{name} of {what}", value, f"{path}.{name}", faults)
        if answer is not None:
            good[name] = answer
    for key in keys:
        if key.required and not faults.stands(f"{path}.{key.name}"):
            faults.wrong(path, f"{what} needs {key.name}: {_first_small(key.meaning)}")
    return good


def _first_small(words: str) -> str:
    return words if words[1:2].isupper() else words[:1].lower() + words[1:]


def _unknown_key(name: str, what: str, known: Mapping[str, Key], path: str, faults: Faults) -> None:
    close = nearest(name, known)
    alike = SequenceMatcher(None, name, close).ratio() if close else 0
    homes = [section.header for section in SECTIONS if not section.free and section.key(name)]
    if close:
        faults.meant.add(f"{path.rpartition('.')[0]}.{close}")
    if homes and alike < 0.85 and len(homes) <= 2:
        hint = f"It belongs under {' or '.join(homes)}."
    elif close:
        hint = f"Did you mean '{close}'?"
    else:
        hint = f"The settings of {what} are {', '.join(known)}."
    faults.wrong(
        path,
        f"'{shortened(name)}' is not a setting for {what}. {hint} Unknown settings {_REFUSED}",
    )


def _entry(key: Key, where: str, value: Any, path: str, faults: Faults) -> Any:
    if key.type != "table":
        return value_of(key, where, value, path, faults)
    if isinstance(value, dict):
        return _table(where, key.keys, value, path, faults)
    names = ", ".join(inner.name for inner in key.keys)
    faults.wrong(path, must(where, f"a table {{ ... }} with {names}", value), value)
    return None
