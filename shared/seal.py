"""Does the folder still match its seal?  Everything that does not is named.

`shared` may not know how designs are made, so the function that draws a plan again
(``doe.make_plan``) is handed in by whoever asks.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from weldtrial.shared.chain import read_chain
from weldtrial.shared.differences import Change, differences
from weldtrial.shared.folder import TRIAL_FILE, Folder
from weldtrial.shared.journal import read_journal
from weldtrial.shared.plan import Plan
from weldtrial.shared.plancsv import FILE as PLAN_FILE
from weldtrial.shared.plancsv import plan_rows, plan_text, plan_to_csv
from weldtrial.shared.problems import Problem, ProblemsFound, SealBroken, WeldtrialError
from weldtrial.shared.record import JournalLine
from weldtrial.shared.sealfile import (
    Amendment,
    SealFile,
    Witness,
    amendment_fingerprint,
    read_seal,
    seal_code,
    seal_hex,
    write_seal,
)
from weldtrial.shared.trial import Trial

__all__ = [
    "Amendment",
    "Check",
    "Redraw",
    "SealFile",
    "Witness",
    "amendment_fingerprint",
    "broken",
    "changes_since",
    "check_seal",
    "inspect",
    "read_seal",
    "seal_code",
    "seal_hex",
    "sha256_of",
    "verify",
    "write_seal",
]

Redraw = Callable[[Trial, str, tuple[int, ...]], Plan]
"""Draws a plan from a trial, its full seal and its dice: ``doe.make_plan.make_plan``."""

SEALED_EVENTS = ("sealed", "sealed-late")

MOST_ROWS = 5
"""Rows of ``plan.csv`` named one by one before the rest are only counted."""


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that was compared with the seal, and what did not fit.

    Attributes
    ----------
    file
        The file that was looked at.
    words
        What holds of it when there is no problem.
    """

    file: str
    words: str
    problems: tuple[Problem, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether nothing is wrong, warnings aside."""
        return all(problem.warning for problem in self.problems)


def verify(folder: Path, redraw: Redraw) -> tuple[Problem, ...]:
    """Return everything in a trial folder that does not match its seal; empty when all does.

    Raises
    ------
    ProblemsFound
        When the trial file cannot be read at all.
    SealBroken
        When ``seal.json`` cannot be read.
    """
    from weldtrial.shared.trialfile import read_trial

    sealed = read_seal(folder)
    if sealed is None:
        return (Problem("This trial is not sealed. Seal it:  weldtrial seal"),)
    trial, problems = read_trial(Folder(folder).trial_file)
    if trial is None:
        raise ProblemsFound(problems)
    return tuple(one for check in inspect(folder, trial, sealed, redraw) for one in check.problems)


def check_seal(
    folder: Path, trial: Trial, redraw: Redraw
) -> tuple[SealFile | None, tuple[Problem, ...]]:
    """Return the seal and what no longer matches it, for commands that show results.

    A folder without a seal gives ``(None, ())``; one whose ``seal.json`` cannot be read gives
    None and the reason.  Those that are not warnings end a command with `broken`.
    """
    try:
        sealed = read_seal(folder)
    except SealBroken as error:
        return None, (Problem(error.words),)
    if sealed is None:
        return None, ()
    checks = inspect(folder, trial, sealed, redraw)
    return sealed, tuple(problem for check in checks for problem in check.problems)


def seal_taken_away(folder: Path) -> tuple[Problem, ...]:
    """Return what to say where the journal tells of a sealing and ``seal.json`` is not there."""
    if Folder(folder).seal.exists():
        return ()
    sealings = [line for line in read_journal(folder)[0] if line.event in SEALED_EVENTS]
    if not sealings:
        return ()
    words = (
        f"is missing, though journal.csv tells of seal {sealings[-1].details[:14]} of "
        f"{sealings[-1].when[:10]}. Put back the copy that was sealed. Whoever seals again may "
        "choose between orders, so the report would say that it was sealed more than once."
    )
    return (Problem(words, file="seal.json"),)


def broken(problems: Sequence[Problem]) -> SealBroken:
    """Return the error (exit 4) that names all of `problems`."""
    return SealBroken("\n".join(str(problem) for problem in problems if not problem.warning))


def inspect(folder: Path, trial: Trial, sealed: SealFile, redraw: Redraw) -> tuple[Check, ...]:
    """Compare a folder with its seal, file by file."""
    lines, journal_problems = read_journal(folder)
    corrections, correction_problems = read_chain(Folder(folder).corrections)
    journal_problems += _of_journal(lines, sealed)
    as_sealed = "as sealed, amendments included" if sealed.amendments else "the question as sealed"
    checks = [
        Check("seal.json", "its fingerprints fit the question and the design", _of_seal(sealed)),
        Check(TRIAL_FILE, as_sealed, _of_question(trial, sealed)),
        _of_plan(folder, trial, sealed, redraw),
        Check("journal.csv", _follows(len(lines)), journal_problems),
    ]
    if corrections or correction_problems:
        checks.append(Check("corrections.csv", _follows(len(corrections)), correction_problems))
    return tuple(checks)


def _follows(lines: int) -> str:
    return "1 line" if lines == 1 else f"{lines} lines, each following from the one before"


def changes_since(trial: Trial, question: Mapping[str, object]) -> tuple[Change, ...]:
    """Return what changed in a trial file since `question`, a parsed trial file, was kept."""
    return differences(question, trial.source)


def sha256_of(text: str) -> str:
    """Return the SHA-256 of a file's text, line ends as they are, in UTF-8."""
    return sha256(text.encode("utf-8")).hexdigest()


def change_words(change: Change, trial: Trial) -> str:
    """Return a change with its line: ``margin 5 → 8 (line 72)``."""
    line = trial.lines.get(change.path)
    return change.words if line is None else f"{change.words} (line {line})"


# ------------------------------------------------------------------ the files, one by one


def _of_seal(sealed: SealFile) -> tuple[Problem, ...]:
    problems = []
    if seal_hex(sealed.question, sealed.design) != sealed.seal:
        words = f"its question or design no longer gives seal {sealed.code}. Put back a copy."
        problems.append(Problem(words, file="seal.json"))
    previous = sealed.seal
    for amendment in sealed.amendments:
        if amendment_fingerprint(previous, amendment) != amendment.fingerprint:
            words = f"the amendment of {amendment.when[:10]} is not the one that was logged."
            problems.append(Problem(words, file="seal.json"))
        previous = amendment.fingerprint
    return tuple(problems)


def _of_question(trial: Trial, sealed: SealFile) -> tuple[Problem, ...]:
    changes = changes_since(trial, sealed.current_question)
    if not changes:
        return ()
    listed = "; ".join(change_words(change, trial) for change in changes)
    since = " (as amended)" if sealed.amendments else ""
    words = (
        f"{TRIAL_FILE} no longer matches seal {sealed.code}{since}: {listed}. Put it back, or "
        'log it:  weldtrial seal --amend "why". The report will show both and mark the later '
        "one as decided after sealing, with the readings that were in by then."
    )
    return (Problem(words),)


def _of_journal(lines: tuple[JournalLine, ...], sealed: SealFile) -> tuple[Problem, ...]:
    """Name what the journal should record of this seal and does not, and earlier seals."""
    wanted: list[tuple[tuple[str, ...], str, str]] = [
        (SEALED_EVENTS, sealed.seal, f"seal {sealed.code}"),
        *(
            (("amended",), one.fingerprint, f"the amendment of {one.when[:10]}")
            for one in sealed.amendments
        ),
    ]
    problems = [
        Problem(f"no line records {what}. Put back a copy.", file="journal.csv")
        for events, mark, what in wanted
        if not any(line.event in events and mark in line.details for line in lines)
    ]
    logged = sum(line.event == "amended" and sealed.seal in line.details for line in lines)
    if logged > len(sealed.amendments):
        words = (
            f"it records {logged} amendments of seal {sealed.code}, seal.json only "
            f"{len(sealed.amendments)}. Put back the seal.json that holds them all."
        )
        problems.append(Problem(words, file="journal.csv"))
    return (*problems, *_earlier_seals(lines))


def _earlier_seals(lines: tuple[JournalLine, ...]) -> tuple[Problem, ...]:
    """Warn when a folder was sealed more than once: orders could have been picked among."""
    seals = [line for line in lines if line.event in SEALED_EVENTS]
    if len(seals) < 2:
        return ()
    earlier = "; ".join(f"{one.details[:14]} of {one.when[:10]}" for one in seals[:-1])
    words = (
        f"this folder was sealed {len(seals)} times (before: {earlier}). The report will say so: "
        "whoever seals again may choose between orders."
    )
    return (Problem(words, file="journal.csv", warning=True),)


def _of_plan(folder: Path, trial: Trial, sealed: SealFile, redraw: Redraw) -> Check:
    try:
        text = plan_text(Folder(folder).plan)
        rows = plan_rows(text)
    except ProblemsFound as found:
        return Check(PLAN_FILE, "", found.problems)
    drawn = _drawn_again(trial, sealed, redraw)
    as_kept = sha256_of(text) == sealed.plan_sha256
    if drawn is None:
        words = "the bytes that were sealed (not drawn again: trial.toml has changed)"
        changed = bool(changes_since(trial, sealed.current_question))
        if as_kept and changed:
            return Check(PLAN_FILE, words)
        return Check(PLAN_FILE, words, (_not_the_plan(sealed, changed),))
    words = f"drawn again from the seal: {len(rows) - 1} coupons, every cell the same"
    if as_kept:
        return Check(PLAN_FILE, words)
    if rows == plan_rows(drawn):
        return Check(PLAN_FILE, words, (_SAVED_AGAIN,))
    return Check(PLAN_FILE, words, _rows_that_differ(rows, plan_rows(drawn)))


_SAVED_AGAIN = Problem(
    "was saved again by another program: other bytes, but every cell as drawn. "
    "To have the sealed bytes back, delete it and run  weldtrial seal",
    file=PLAN_FILE,
    warning=True,
)


def _drawn_again(trial: Trial, sealed: SealFile, redraw: Redraw) -> str | None:
    """Return ``plan.csv`` as drawn again, or None where that is not the plan that was sealed."""
    try:
        text = plan_to_csv(redraw(trial, sealed.seal, sealed.dice), trial)
    except (WeldtrialError, ValueError, KeyError):
        return None
    return text if sha256_of(text) == sealed.plan_sha256 else None


def _not_the_plan(sealed: SealFile, changed: bool) -> Problem:
    if changed:
        words = (
            f"is not the plan of seal {sealed.code}. Put {TRIAL_FILE} back first; then the "
            "rows that differ can be named."
        )
    else:
        dice = ",".join(map(str, sealed.dice)) or "none"
        words = (
            f"drawing again from seal {sealed.code} (dice: {dice}; sealed by weldtrial "
            f"{sealed.tool or '?'}) does not give the plan that was sealed. Put back seal.json "
            "and plan.csv as they were, or verify with that version."
        )
    return Problem(words, file=PLAN_FILE)


def _rows_that_differ(
    found: Sequence[tuple[str, ...]], drawn: Sequence[tuple[str, ...]]
) -> tuple[Problem, ...]:
    problems = []
    for index in range(max(len(found), len(drawn))):
        row = index + 1
        if index >= len(found):
            words = f"is missing; drawn from the seal it reads  {','.join(drawn[index])}"
            problems.append(Problem(words, file=PLAN_FILE, row=row))
        elif index >= len(drawn):
            words = f"is not in the plan:  {','.join(found[index])}"
            problems.append(Problem(words, file=PLAN_FILE, row=row))
        elif found[index] != drawn[index]:
            problems.append(_cells_that_differ(row, found[index], drawn[index], drawn[0]))
    count = len(problems)
    rows = "1 row is" if count == 1 else f"{count} rows are"
    first = f" (the first {MOST_ROWS} below)" if count > MOST_ROWS else ""
    words = (
        f"{rows} not as drawn from the seal{first}. plan.csv is never edited: delete it, and  "
        "weldtrial seal  draws it again."
    )
    return (Problem(words, file=PLAN_FILE), *problems[:MOST_ROWS])


def _cells_that_differ(
    row: int, found: tuple[str, ...], drawn: tuple[str, ...], header: tuple[str, ...]
) -> Problem:
    pairs = [
        (name, was, now) for name, was, now in zip(header, drawn, found, strict=False) if was != now
    ]
    if len(found) != len(drawn) or not pairs:
        words = f"has {len(found)} cells; drawn from the seal it has {len(drawn)}."
        return Problem(words, file=PLAN_FILE, row=row)
    told = "; ".join(f"{name} {was or 'empty'} → {now or 'empty'}" for name, was, now in pairs)
    one = pairs[0] if len(pairs) == 1 else None
    return Problem(
        f"changed since sealing: {told}.",
        file=PLAN_FILE,
        row=row,
        column=one[0] if one else None,
        value=one[2] if one else None,
    )
