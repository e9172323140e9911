"""TOML that cannot be read, said in words: which line, what is wrong, what to write."""

from __future__ import annotations

import re

from weldtrial.shared.problems import Problem
from weldtrial.shared.toml_lines import first_open

_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_TWICE = "is set twice in the same section. Keep one."


def toml_problem(text: str, said: str, file: str) -> Problem:
    """Return the problem behind the message of Python's TOML reader.

    Parameters
    ----------
    text
        The whole text.
    said
        The reader's message, such as ``Invalid value (at line 3, column 7)``.
    file
        File name for the message.
    """
    place = _PLACE.search(said)
    lines = text.split("\n")
    line, offset = _last_line(lines), len(text)
    if place and place[1]:
        line = min(int(place[1]), len(lines))
        offset = sum(len(one) + 1 for one in lines[: line - 1]) + int(place[2]) - 1
    reason = _PLACE.sub("", said)
    here = lines[line - 1].strip() if line <= len(lines) else ""
    at_line, words = _words(text, reason, line, offset, here)
    return Problem(words, file=file, line=at_line, value=_short(here) or None)


def _last_line(lines: list[str]) -> int:
    return next((len(lines) - n for n, one in enumerate(reversed(lines)) if one.strip()), 1)


def _words(text: str, reason: str, line: int, offset: int, here: str) -> tuple[int, str]:
    open_now = first_open(text, offset)
    if open_now is not None and open_now.mark[0] in "\"'":
        if not reason.startswith(("Unescaped", "Invalid hex", "Escaped")):
            return open_now.line, f"a quote opens here and never closes:  {_short(open_now.text)}"
    elif open_now is not None and open_now.line != line:
        close = "]" if open_now.mark == "[" else "}"
        if reason.startswith(("Unclosed", "Invalid", "Expected")):
            return open_now.line, (
                f"a {open_now.mark} opens here and is not closed with {close} before line {line}:  "
                f"{_short(open_now.text)}"
            )
    return line, _by_reason(reason, here)


def _by_reason(reason: str, here: str) -> str:
    shown = _short(here)
    if reason.startswith(("Cannot overwrite", "Duplicate")):
        return f"a setting {_TWICE}  {shown}"
    if reason.startswith("Cannot declare"):
        return (
            f"this section stands here a second time:  {shown}. Put its settings together, or "
            "write [[...]] where there may be several."
        )
    if reason.startswith("Cannot mutate"):
        return f"this section clashes with a setting of the same name above:  {shown}. Remove one."
    if reason.startswith(("Unescaped", "Invalid hex", "Escaped")):
        return (
            "a backslash in double quotes begins a special character:  "
            f"{shown}. Use single quotes, or write two backslashes."
        )
    if reason.startswith("Unclosed"):
        return f"a bracket is not closed, or a comma is missing:  {shown}"
    if "at the end of a table declaration" in reason:
        return f"a section header is not closed:  {shown}. Write it like [trial] or [[factor]]."
    if reason.startswith("Expected '='"):
        return f"a setting needs the form  name = value, and this has not:  {shown}"
    if reason.startswith("Illegal character"):
        return f"a control character stands in this line. Type the line again:  {shown}"
    if reason.startswith(("Expected newline", "Invalid value", "Expected")):
        return _bad_value(shown, here)
    return f"this cannot be read:  {shown}. A line is  name = value, [section] or # a remark."


def _bad_value(shown: str, here: str) -> str:
    value = here.partition("=")[2].split("#")[0].strip()
    if re.fullmatch(r"[+-]?\d+,\d+", value):
        return f"a decimal comma:  {shown}. Write  {value.replace(',', '.')}."
    if value in ("True", "False", "TRUE", "FALSE", "yes", "no", "Yes", "No"):
        return f"yes is written true and no is written false:  {shown}"
    if value[:1] in "“”„‘’«" and value:
        return f"curly quotes, as a word processor makes them:  {shown}. Use straight ones."
    if not value:
        return f"the value is missing:  {shown}"
    if re.fullmatch(r"0\d+", value):
        return f"a number may not begin with 0:  {shown}"
    if re.match(r"[+-]?[\d.]+\s*[^\d\s.eE,\]}]", value):
        return (
            f"a number with something behind it:  {shown}. A number stands alone, its unit in "
            "unit = ...; text stands in quotes."
        )
    if not value.startswith(("[", "{", '"', "'")):
        return f"text needs quotes:  {shown}"
    return f"the value cannot be read, or something stands behind it:  {shown}"


def _short(text: str) -> str:
    clean = "".join(sign if sign.isprintable() else " " for sign in text).rstrip()
    return clean if len(clean) <= 70 else clean[:67] + "..."
