"""Names: what a factor, a response or a level may be called, and why not.

Names become file names, column names and names of model terms on every system, so they keep
to the letters that survive all three.

References
----------
Microsoft, *Naming files, paths, and namespaces* (reserved device names).
"""

from __future__ import annotations

import re

NAME = re.compile(r"[a-z][a-z0-9_]*")

DEVICES = frozenset(
    ["con", "prn", "aux", "nul"] + [f"{port}{n}" for port in ("com", "lpt") for n in range(10)]
)
"""Names that Windows keeps for devices, with any ending."""

COLUMNS = frozenset(
    [
        "run",
        "round",
        "setup",
        "place",
        "stamp",
        "role",
        "started",
        "amps",
        "arc_s",
        "bead_mm",
        "throat_mm",
        "plate_temp_c",
        "welder",
        "replaces",
        "went_wrong",
        "reading",
        "failed_at",
        "reader",
        "read_on",
        "note",
        "when",
        "who",
        "file",
        "column",
        "was",
        "now",
        "why",
        "codes_open",
        "link",
        "event",
        "details",
    ]
)
"""Columns of the trial's own tables, in small letters."""

_LONGEST_NAME = 40
_LONGEST_LEVEL = 40


def name_fault(name: str) -> str:
    """Return why `name` cannot be used, with a remedy; empty when it can."""
    if not NAME.fullmatch(name):
        other = slugified(name)
        hint = f' Write  name = "{other}"  and put the words in label.' if other else ""
        return (
            "a name is small letters, digits and _, beginning with a letter, because it becomes "
            f"a file and a column.{hint}"
        )
    if len(name) > _LONGEST_NAME:
        return f"a name has at most {_LONGEST_NAME} letters. Shorten it; label may be longer."
    if name in DEVICES:
        return f"'{name}' is a device to Windows and cannot be a file. Choose another name."
    if name in COLUMNS or name == "intercept":
        return f"'{name}' is a column of the trial's own tables. Choose another name."
    return ""


def slugified(text: str) -> str:
    """Return the nearest good name to `text`, or an empty text."""
    small = re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")
    small = re.sub(r"^[0-9_]+", "", small)[:_LONGEST_NAME].rstrip("_")
    return "" if not small or name_fault(small) else small


def level_fault(level: str) -> str:
    """Return why a category's level cannot be called so, with a remedy; empty when it can."""
    if not level.strip():
        return "is empty. Give it a name."
    if level != level.strip():
        return "has a space at its end. Take it off."
    if not level.isprintable():
        return "holds a control character. Type it again."
    if len(level) > _LONGEST_LEVEL:
        return f"is longer than {_LONGEST_LEVEL} letters. Shorten it."
    if found := re.search(r"[:=,;/\"']", level):
        return f"holds {found[0]} , which stands for something in the results. Use another sign."
    if level[0] in "+-@":
        return f"begins with {level[0]} , which a spreadsheet takes for a formula. Rename it."
    return ""
