"""Where each key of a TOML text stands, which Python's own TOML reader does not tell.

The scanner is for texts that the reader has accepted, and only answers "on which line": it
never judges.  `first_open` is for texts that the reader has refused.

References
----------
TOML v1.0.0, https://toml.io/en/v1.0.0 (strings, arrays, inline tables, arrays of tables).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_SCALAR = re.compile(r"[^,\]}#\n]+")
_STRING = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*"{3,5}'
    r"|'''(?:[^']|'(?!''))*'{3,5}"
    r'|"(?!"")(?:[^"\\\n]|\\.)*"'
    r"|'(?!'')[^'\n]*'",
    re.DOTALL,
)


@dataclass(slots=True)
class _Scan:
    """A place in the text, and the lines found so far."""

    text: str
    at: int = 0
    lines: dict[str, int] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)
    _seen: int = 0
    _line: int = 1

    def line(self) -> int:
        """Return the line of the present place, counted from 1."""
        self._line += self.text.count("\n", self._seen, self.at)
        self._seen = self.at
        return self._line

    def skip(self, pattern: re.Pattern[str]) -> str:
        """Move past what `pattern` matches here, and return it."""
        found = pattern.match(self.text, self.at)
        if found is None:
            return ""
        self.at = found.end()
        return found[0]

    def peek(self, text: str) -> bool:
        return self.text.startswith(text, self.at)

    def note(self, path: str, line: int) -> None:
        self.lines.setdefault(path, line)


def key_lines(text: str) -> dict[str, int]:
    """Return the line of every table, key and array entry of a valid TOML text.

    Parameters
    ----------
    text
        A text that ``tomllib`` accepts; on any other, some lines are missing or wrong.

    Returns
    -------
    dict
        Lines counted from 1, by dotted path with indices: ``response.0.margin``.
    """
    scan = _Scan(text)
    table = ""
    try:
        while True:
            scan.skip(_BLANK)
            if scan.at >= len(text):
                break
            before = scan.at
            if scan.peek("["):
                table = _header(scan)
            else:
                _pair(scan, table)
            if scan.at == before:
                scan.at += 1
    except RecursionError:
        pass
    return scan.lines


def _join(*parts: str) -> str:
    return ".".join(part for part in parts if part)


def _header(scan: _Scan) -> str:
    line = scan.line()
    many = scan.peek("[[")
    scan.at += 2 if many else 1
    parts = _dotted(scan)
    scan.at += 2 if many else 1
    path = ""
    for place, part in enumerate(parts):
        path = _join(path, part)
        if many and place == len(parts) - 1:
            scan.note(path, line)
            scan.counts[path] = scan.counts.get(path, -1) + 1
        if path in scan.counts:
            path = _join(path, str(scan.counts[path]))
    scan.note(path, line)
    return path


def _dotted(scan: _Scan) -> list[str]:
    parts = []
    while True:
        scan.skip(_SPACE)
        part = scan.skip(_BARE)
        if not part:
            part = scan.skip(_STRING)[1:-1]
        parts.append(part)
        scan.skip(_SPACE)
        if not scan.peek("."):
            return parts
        scan.at += 1


def _pair(scan: _Scan, table: str) -> None:
    line = scan.line()
    path = table
    for part in _dotted(scan):
        path = _join(path, part)
        scan.note(path, line)
    if scan.peek("="):
        scan.at += 1
        _value(scan, path)


def _value(scan: _Scan, path: str) -> None:
    scan.skip(_SPACE)
    if scan.peek("["):
        _array(scan, path)
    elif scan.peek("{"):
        _inline(scan, path)
    elif not scan.skip(_STRING):
        scan.skip(_SCALAR)


def _array(scan: _Scan, path: str) -> None:
    scan.at += 1
    place = 0
    while True:
        scan.skip(_BLANK)
        if scan.at >= len(scan.text):
            return
        if scan.peek("]"):
            scan.at += 1
            return
        entry, before = _join(path, str(place)), scan.at
        scan.note(entry, scan.line())
        _value(scan, entry)
        scan.skip(_BLANK)
        if scan.peek(","):
            scan.at += 1
        elif scan.at == before:
            return
        place += 1


def _inline(scan: _Scan, path: str) -> None:
    scan.at += 1
    while True:
        scan.skip(_BLANK)
        if scan.at >= len(scan.text):
            return
        if scan.peek("}"):
            scan.at += 1
            return
        before = scan.at
        _pair(scan, path)
        scan.skip(_BLANK)
        if scan.peek(","):
            scan.at += 1
        elif scan.at == before:
            return


@dataclass(frozen=True, slots=True)
class Opened:
    """Something that opens and does not close: a quote or a bracket, and its line."""

    mark: str
    line: int
    text: str


def first_open(text: str, end: int | None = None) -> Opened | None:
    """Return the quote, or else the innermost bracket of a value, still open at `end`.

    Parameters
    ----------
    text
        A text that ``tomllib`` refuses.
    end
        Offset at which it gave up; None for the end of the text.
    """
    stop = len(text) if end is None else end
    brackets: list[int] = []
    at, in_value = 0, False
    while at < stop:
        sign = text[at]
        if sign == "#":
            at = _line_end(text, at)
            continue
        if sign in "\"'":
            found = _STRING.match(text, at)
            if found is None:
                mark = text[at : at + 3] if text[at : at + 3] in ('"""', "'''") else sign
                return _opened(text, at, mark)
            at = found.end()
            continue
        if sign == "=":
            in_value = True
        elif sign == "\n" and not brackets:
            in_value = False
        elif sign in "[{" and in_value:
            brackets.append(at)
        elif sign in "]}" and brackets:
            brackets.pop()
        at += 1
    return _opened(text, brackets[-1], text[brackets[-1]]) if brackets else None


def _line_end(text: str, at: int) -> int:
    end = text.find("\n", at)
    return len(text) if end < 0 else end


def _opened(text: str, at: int, mark: str) -> Opened:
    start = text.rfind("\n", 0, at) + 1
    line = text.count("\n", 0, at) + 1
    return Opened(mark, line, text[start : _line_end(text, at)].strip())
