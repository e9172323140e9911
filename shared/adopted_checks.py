"""What can be wrong with ``[adopted]`` and with the columns that it names."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from weldtrial.shared.data_file import DataFile
from weldtrial.shared.problems import Problem, nearest

FILE = "trial.toml"
SECTIONS = ("format", "trial", "adopted")
HEAD = ("title", "question", "owner")
TEXTS = ("factors", "categories", "responses", "terms")
WORDS = ("file", "sha256", "setup", "block", "coupon", "decimal", "model")
TABLES = ("unit", "margin", "better", "ask", "reference", "kind", "scale")
KEYS = (*TEXTS, *WORDS, *TABLES, "rows", "coded")
"""Everything that may stand under ``[adopted]``."""
LABELS = ("setup", "block", "coupon")
"""Columns of labels; a factor may be one of them too, a response may not."""


def shape_problems(parsed: Mapping[str, Any], table: object) -> list[Problem]:
    """Return what is wrong with a parsed trial file that holds ``[adopted]``."""
    if not isinstance(table, dict):
        return [Problem("[adopted] must be a section.", file=FILE)]
    problems = list(_unknown(parsed, SECTIONS, "an adopted trial file"))
    if parsed.get("format") != 1:
        problems.append(Problem("the first setting must be  format = 1.", file=FILE))
    head = parsed.get("trial", {})
    if isinstance(head, dict):
        problems += _unknown(head, HEAD, "[trial] in an adopted folder")
    else:
        problems.append(Problem("[trial] must be a section.", file=FILE))
    problems += _unknown(table, KEYS, "[adopted]")
    for key in ("file", "sha256", "factors", "responses"):
        if not table.get(key):
            problems.append(Problem(f"[adopted] has no {key}. Adopt the data again.", file=FILE))
    return [*problems, *_wrong_types(table)]


def _unknown(found: Iterable[str], known: tuple[str, ...], where: str) -> Iterator[Problem]:
    for key in found:
        if key not in known:
            close = nearest(key, known)
            hint = f" Did you mean '{close}'?" if close else f" Known are {', '.join(known)}."
            yield Problem(f"'{key}' is not a setting of {where}.{hint}", file=FILE)


def _wrong_types(table: Mapping[str, Any]) -> list[Problem]:
    problems = []
    for key in TEXTS:
        value = table.get(key, [])
        if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
            problems.append(Problem(f"adopted.{key} must be a list of texts.", file=FILE))
    for key in WORDS:
        if not isinstance(table.get(key, ""), str):
            problems.append(Problem(f"adopted.{key} must be a text.", file=FILE))
    for key in TABLES:
        if not isinstance(table.get(key, {}), dict):
            problems.append(Problem(f"[adopted.{key}] must be a section.", file=FILE))
    if not isinstance(table.get("coded", False), bool):
        problems.append(Problem("adopted.coded must be true or false.", file=FILE))
    return problems


def column_problems(table: Mapping[str, Any], data: DataFile) -> list[Problem]:
    """Return what is wrong with the columns that ``[adopted]`` names, roles and labels alike."""
    roles = {key: [table[key]] for key in LABELS if table.get(key)}
    labels = [names[0] for names in roles.values()]
    roles |= {key: table.get(key, []) for key in ("factors", "categories", "responses")}
    named = dict.fromkeys(name for names in roles.values() for name in names)
    problems = [found for name in named for found in _name_problems(name, data)]
    problems += [
        Problem(f"column '{name}' is named twice. Name it once, as one thing.", file=data.name)
        for name in named
        if (roles["factors"] + roles["responses"]).count(name) > 1
        or (name in roles["responses"] and name in labels)
        or labels.count(name) > 1
    ]
    for label in dict.fromkeys(labels):
        problems += _blank_labels(label, data)
    for key in TABLES:
        for name in table.get(key, {}):
            factors, responses = table["factors"], table["responses"]
            wanted = {"reference": factors, "unit": [*factors, *responses]}.get(key, responses)
            if name not in wanted:
                what = {"reference": "factor", "unit": "column"}.get(key, "response")
                problems.append(Problem(f"--{key} {name}=… names no {what} of this trial."))
    return problems


def _name_problems(name: str, data: DataFile) -> list[Problem]:
    if name not in data.header:
        close = nearest(name, data.header)
        hint = f"Did you mean '{close}'?" if close else f"It has {', '.join(data.header)}."
        words = f"there is no column '{name}'. {hint}"
        return [Problem(words, file=data.name, row=1, value=name)]
    if any(sign in name for sign in ":^="):
        words = f"the name '{name}' holds : ^ or = , which stand for something in results."
        return [Problem(f"{words} Rename the column.", file=data.name, row=1)]
    return []


def _blank_labels(name: str, data: DataFile) -> list[Problem]:
    """Find rows without a label: nobody can say which set-up, block or coupon they belong to."""
    words = "is empty here, so this row belongs nowhere. Fill it in, or take the row out."
    return [
        Problem(words, file=data.name, row=place, column=name, value="")
        for place, row in zip(data.places, data.rows, strict=True)
        if name in row and not row[name]
    ]


def factor_cell_problems(name: str, data: DataFile, *, category: bool) -> list[Problem]:
    """Return what is wrong with the cells of one factor: blanks, strays, twins, one level.

    Parameters
    ----------
    name
        A column of the file.
    category
        True when numbers in it are labels.
    """
    cells = list(zip(data.places, (row[name] for row in data.rows), strict=True))
    problems = []
    for place, cell in cells:
        if not cell:
            words = "has no level here. Fill it in, or take the row out."
        elif not cell.isprintable():
            words = "holds a line break or a control character. Type it again."
        else:
            continue
        problems.append(Problem(words, file=data.name, row=place, column=name, value=cell))
    filled = [(place, cell) for place, cell in cells if cell]
    strays = [one for one in filled if data.number(one[1]) is None]
    if not category and 2 * len(strays) < len(filled):
        # One slip of the finger must not turn a numeric factor into names without a word.
        words = "is not a number, and most of the column is. Mend it; if all of them are names, "
        problems += [
            Problem(
                f"'{cell}' {words}say  --category {name}", file=data.name, row=place, column=name
            )
            for place, cell in strays
        ]
    return [*problems, *_twins(name, filled, data)]


def _twins(name: str, cells: list[tuple[int, str]], data: DataFile) -> list[Problem]:
    first: dict[str, str] = {}
    problems = {}
    for place, cell in cells:
        known = first.setdefault(cell.casefold(), cell)
        if known != cell and cell not in problems and data.number(cell) is None:
            words = f"'{cell}' and '{known}' differ only in capitals. Write them alike."
            problems[cell] = Problem(words, file=data.name, row=place, column=name, value=cell)
    return list(problems.values())
