"""What can go wrong, as values: one problem a line, one error a stage, one root.

A *problem* is something a person has to mend in a file; readers collect all of them and
return them beside the data.  An *error* stops a command; each carries the exit code it ends
the process with.
"""

from __future__ import annotations

import enum
from collections.abc import Iterable
from dataclasses import dataclass


class ExitCode(enum.IntEnum):
    """How a command ends."""

    FINE = 0
    """All went well, whatever the verdict."""
    OUR_FAULT = 1
    """A defect in weldtrial."""
    WRONG_USAGE = 2
    """The command line cannot be understood, or would have to ask and may not."""
    FIX_FILE = 3
    """A file needs fixing, or a plan cannot be honoured."""
    SEAL_BROKEN = 4
    """The folder no longer matches its seal."""
    NOT_ENOUGH = 5
    """Not enough results yet to answer."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing to mend, or (``warning``) one thing to know.

    Attributes
    ----------
    words
        What is wrong, why it matters if that is not obvious, and the one thing to do.
    file
        File name relative to the trial folder, such as ``readings/break_load.csv``.
    line
        Line of a trial file, counted from 1.
    row
        Row of a CSV file as a spreadsheet numbers it: the header is row 1.
    column
        Column name of a CSV file, or dotted key of a trial file.
    value
        The offending text as typed.
    warning
        True when the file can be used as it is.
    """

    words: str
    file: str | None = None
    line: int | None = None
    row: int | None = None
    column: str | None = None
    value: str | None = None
    warning: bool = False

    @property
    def place(self) -> str:
        """Where, in words: ``trial.toml line 72`` or ``readings/x.csv row 9, column reading``."""
        parts = [] if self.file is None else [self.file]
        if self.line is not None:
            parts.append(f"line {self.line}")
        if self.row is not None:
            parts.append(f"row {self.row}")
        text = " ".join(parts)
        if self.column is not None and self.line is None:
            text = f"{text}, column {self.column}" if text else f"column {self.column}"
        return text

    def __str__(self) -> str:
        place = self.place
        return f"{place}: {self.words}" if place else self.words


class WeldtrialError(Exception):
    """Root of every error that weldtrial raises on purpose."""

    exit_code: ExitCode = ExitCode.FIX_FILE

    def __init__(self, words: str, *, hint: str | None = None) -> None:
        super().__init__(words)
        self.words = words
        self.hint = hint


class ProblemsFound(WeldtrialError):
    """A file has problems; all of them are in `problems`."""

    def __init__(self, problems: Iterable[Problem], *, hint: str | None = None) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems), hint=hint)


class NotYet(WeldtrialError):
    """The trial file asks for something that this version cannot honour."""


class PlanRefused(WeldtrialError):
    """A plan that could not answer its question."""


class NotEstimable(WeldtrialError, ValueError):
    """The data cannot support the estimate that was asked for."""

    exit_code = ExitCode.NOT_ENOUGH


class WrongUsage(WeldtrialError):
    """The command was called in a way it does not understand."""

    exit_code = ExitCode.WRONG_USAGE


class SealBroken(WeldtrialError):
    """The folder no longer matches its seal."""

    exit_code = ExitCode.SEAL_BROKEN


class NotEnough(WeldtrialError):
    """Results are missing that the answer needs."""

    exit_code = ExitCode.NOT_ENOUGH


def nearest(word: str, choices: Iterable[str]) -> str | None:
    """Return the choice that `word` was probably meant to be, or None."""
    from difflib import get_close_matches

    found = get_close_matches(word, list(choices), n=1, cutoff=0.6)
    return found[0] if found else None
