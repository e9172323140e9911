"""Faults of a trial file: problems gathered by dotted path, each given its line."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field

from weldtrial.shared.problems import Problem


@dataclass(slots=True)
class Faults:
    """Gathers the problems of one file.

    Attributes
    ----------
    lines
        Line of each dotted path.
    file
        File name for the messages.
    found
        The problems so far.
    meant
        Paths that a misspelt name was probably meant to be, which are then not also missing.
    """

    lines: Mapping[str, int]
    file: str
    found: list[Problem] = field(default_factory=list)
    meant: set[str] = field(default_factory=set)

    def wrong(self, path: str, words: str, value: object = None) -> None:
        """Add something that has to be mended."""
        self._add(path, words, value, warning=False)

    def warn(self, path: str, words: str, value: object = None) -> None:
        """Add something to know; the file can be used as it is."""
        self._add(path, words, value, warning=True)

    def _add(self, path: str, words: str, value: object, *, warning: bool) -> None:
        problem = Problem(
            words,
            file=self.file,
            line=self.line(path),
            column=path or None,
            value=None if value is None else as_written(value),
            warning=warning,
        )
        if problem not in self.found:
            self.found.append(problem)

    def line(self, path: str) -> int | None:
        """Return the line of `path`, or of the nearest thing around it that stands in the file."""
        while path:
            if path in self.lines:
                return self.lines[path]
            path = path.rpartition(".")[0]
        return None

    def stands(self, path: str) -> bool:
        """Tell whether `path` is in the file, well or badly written, or misspelt."""
        return path in self.lines or path in self.meant

    @property
    def broken(self) -> bool:
        """Whether anything has to be mended."""
        return any(not problem.warning for problem in self.found)

    def in_order(self) -> tuple[Problem, ...]:
        """Return the problems as they stand in the file, those without a line first."""
        return tuple(sorted(self.found, key=lambda problem: problem.line or 0))


def as_written(value: object) -> str:
    """Return a TOML value as it would be written, shortened to fit in a sentence."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return shortened(f'"{value}"')
    if isinstance(value, int):
        return shortened(str(value)) if abs(value) < 10**30 else "a number of over 30 digits"
    if isinstance(value, float):
        return as_number(value)
    if isinstance(value, datetime.date | datetime.time):
        return f"the date or time {value.isoformat()}"
    if isinstance(value, list):
        inside = ", ".join(as_written(one) for one in value[:6])
        return shortened(f"[{inside}{', ...' if len(value) > 6 else ''}]")
    return "a table" if isinstance(value, dict) else shortened(repr(value))


def shortened(text: str, width: int = 60) -> str:
    """Return `text` on one line, with no more than `width` characters, all printable."""
    clean = "".join(sign if sign.isprintable() else " " for sign in text)
    return clean if len(clean) <= width else clean[: width - 3] + "..."


def as_number(value: float) -> str:
    """Return a number as a person writes it: ``8.5``, ``5``, ``0.05``."""
    return f"{value:.10g}"
