"""The journal: what was decided and when, one line an event, append-only."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from weldtrial.shared.chain import JOURNAL_FIELDS, append, read_chain
from weldtrial.shared.clock import now_text
from weldtrial.shared.folder import Folder
from weldtrial.shared.problems import Problem
from weldtrial.shared.record import JournalLine

Event = Literal[
    "sealed",
    "sealed-late",
    "witness",
    "amended",
    "agreed",
    "opened",
    "opened-early",
    "second-entry",
    "looked",
    "peeked",
    "sized",
    "stopped",
]


def note(folder: Path, event: Event, details: str, *, who: str = "", when: str = "") -> None:
    """Write one line to the journal of a trial folder; raises as `chain.append`.

    Parameters
    ----------
    when
        The time as text; now, unless given.
    """
    row = {"when": when or now_text(), "who": who, "event": event, "details": details}
    append(Folder(folder).journal, JOURNAL_FIELDS, row)


def read_journal(folder: Path) -> tuple[tuple[JournalLine, ...], tuple[Problem, ...]]:
    """Return the journal's lines, and every place where its chain is broken."""
    rows, problems = read_chain(Folder(folder).journal, JOURNAL_FIELDS)
    return tuple(JournalLine(**row) for row in rows), problems


def codes_opened(lines: tuple[JournalLine, ...]) -> bool:
    """Tell whether the codes were ever opened."""
    return any(line.event in ("opened", "opened-early") for line in lines)
