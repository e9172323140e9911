"""Somebody's trial folder analysed again from its raw files, beside what its report claims."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from weldtrial.cli import report_found, report_words
from weldtrial.cli.answering import answer
from weldtrial.cli.looking import may_report
from weldtrial.cli.opening import Opened
from weldtrial.cli.sealing import redraw
from weldtrial.shared.answers import Answer
from weldtrial.shared.folder import find_folder
from weldtrial.shared.problems import WeldtrialError
from weldtrial.shared.record import Record
from weldtrial.shared.review_facts import Fact, folder_facts, rows_of_record
from weldtrial.shared.review_folder import (
    Claimed,
    TheirFolder,
    is_bundle,
    read_their_folder,
    unpack,
)

if TYPE_CHECKING:
    from weldtrial.analysis.evidence_grade import Fault
    from weldtrial.analysis.findings import Findings, ResponseFindings
    from weldtrial.analysis.suspicion_record import Suspicion


CLOSED = (
    "The codes are still closed: checks only, and the readings are not looked through, so that "
    "nobody learns from a review which side is which."
)


@dataclass(frozen=True, slots=True)
class WorkedOutAgain:
    """What a folder says when its raw files are analysed again.

    Attributes
    ----------
    findings
        None where they cannot be analysed; `why_not` then says why.
    before_opening
        The same without corrections made after the codes were opened, None where there are none
        or nothing can be worked out without them.
    facts
        Where their report, or those corrections, say otherwise.
    """

    findings: Findings | None
    before_opening: Findings | None
    facts: tuple[Fact, ...]
    why_not: str = ""


def _once(fact: Fact, why_not: str, told: str) -> Fact:
    """Return a fact without the reason that another one has already given."""
    if fact.code != "not-analysed" or not why_not or why_not not in told:
        return fact
    return replace(fact, words="It cannot be analysed again until that is put right.")


def work_out_again(folder: TheirFolder) -> WorkedOutAgain:
    """Analyse a folder from its raw files and compare the outcome with its own report."""
    findings, why_not = _analysed(folder, folder.record)
    before = None
    facts: list[Fact] = []
    if findings is None:
        facts.append(Fact("not-analysed", f"It cannot be analysed again: {why_not}", serious=True))
    elif folder.before_opening is not folder.record:
        before, why = _analysed(folder, folder.before_opening)
        facts += _without_late(folder, findings, before, why)
    if findings is not None:
        facts += _against_report(folder, findings)
    return WorkedOutAgain(findings, before, tuple(facts), why_not)


def _analysed(folder: TheirFolder, record: Record) -> tuple[Findings | None, str]:
    opened = Opened(folder.path, folder.trial, folder.sealed, folder.plan, record, ())
    try:
        return answer(opened, codes_open=record.codes_open, peek=may_report(opened)), ""
    except WeldtrialError as error:
        return None, error.words


def verdicts(folder: TheirFolder, findings: Findings) -> tuple[Claimed, ...]:
    """Return the answer box as our report would print it now."""
    found: list[Claimed] = []
    for one in sorted(findings.responses, key=lambda one: one.rank):
        found += _boxes(folder, one)
    return tuple(found)


def _boxes(folder: TheirFolder, one: ResponseFindings) -> Iterator[Claimed]:
    if not one.comparisons:
        box = report_found.effect_box(folder.trial, one)
        yield Claimed(box.tag, _plain(box.head), tuple(map(_plain, box.lines)))
    for compared in one.comparisons:
        box = report_found.verdict_box(one, compared)
        lines = compared.verdict.lines[: 1 if one.rank > 1 else 4]
        claims = [f"“{c.says}” ({c.source}): {c.words}" for c in compared.claims]
        yield Claimed(box.tag, _plain(box.head), tuple(map(_plain, [*lines, *claims])))
    if one.survives:
        tag = f"{one.title} · both readings of fair"
        yield Claimed(tag, "", (_plain(one.survives.words),))


def _plain(words: str) -> str:
    return " ".join(words.split())


def _against_report(folder: TheirFolder, findings: Findings) -> Iterator[Fact]:
    """Name every sentence of their answer box that their own files do not give."""
    page = folder.report
    if page is None:
        yield Fact("no-report", "No report.html to compare with.", file="report.html")
        return
    if not findings.codes_open:
        words = "There is a report.html, though the codes were never opened. Please ask how."
        yield Fact("report-differs", words, serious=True, file="report.html")
        return
    ours, theirs = verdicts(folder, findings), page.verdicts
    differing = list(_differing(ours, theirs))
    for words in differing:
        yield Fact("report-differs", words, serious=True, file="report.html")
    grade = report_words.GRADES[findings.grade.code]
    if page.grade and page.grade != grade:
        words = f"report.html grades it {page.grade}; worked out again it is {grade}."
        yield Fact("grade-differs", words, serious=True, file="report.html")
    seal = report_words.seal_words(findings)
    if page.seal and page.seal != seal:
        words = f"report.html says “{page.seal}”; the folder says “{seal}”."
        yield Fact("seal-differs", words, serious=True, file="report.html")
    if not differing:
        words = f"All {len(ours)} verdicts of report.html come out again from the raw files."
        yield Fact("report-agrees", words, file="report.html")


def _differing(ours: Sequence[Claimed], theirs: Sequence[Claimed]) -> Iterator[str]:
    for place in range(max(len(ours), len(theirs))):
        if place >= len(theirs):
            mine = ours[place]
            yield f"report.html leaves out {mine.tag}: worked out again, “{_said(mine)}”"
        elif place >= len(ours):
            other = theirs[place]
            said = f"report.html says of {other.tag}: “{_said(other)}”"
            yield f"{said}; the files hold nothing on it."
        elif ours[place] != theirs[place]:
            mine, other = ours[place], theirs[place]
            if (mine.tag, mine.head) == (other.tag, other.head):
                pairs = zip(mine.lines, other.lines, strict=False)
                line = next(((a, b) for a, b in pairs if a != b), ("", ""))
                yield (
                    f"report.html says of {other.tag}: “{line[1] or 'nothing more'}”; worked out "
                    f"again from the raw files: “{line[0] or 'nothing more'}”. Please check which "
                    "files it was written from."
                )
            else:
                yield (
                    f"report.html says of {other.tag}: “{_said(other)}”; worked out again from the "
                    f"raw files: “{_said(mine)}” Please check which files it was written from."
                )


def _said(one: Claimed) -> str:
    return one.head or " ".join(one.lines)


def _without_late(
    folder: TheirFolder, findings: Findings, before: Findings | None, why: str
) -> Iterator[Fact]:
    """Say what the verdicts were without corrections made after the codes were opened."""
    if before is None:
        words = f"Without the corrections made after opening it cannot be analysed: {why}"
        yield Fact("verdict-rests-on-corrections", words, serious=True, file="corrections.csv")
        return
    changed = [
        f"{now.tag}: “{_said(was)}” without them, “{_said(now)}” with them"
        for was, now in zip(verdicts(folder, before), verdicts(folder, findings), strict=False)
        if was.head != now.head
    ]
    if changed:
        words = f"The verdict rests on corrections made after opening. {'; '.join(changed)}."
        yield Fact("verdict-rests-on-corrections", words, serious=True, file="corrections.csv")
    else:
        words = "Without the corrections made after opening every verdict sentence stays as it is."
        yield Fact("verdict-stands", words, file="corrections.csv")


@dataclass(frozen=True, slots=True)
class FolderReview:
    """Everything that a folder says of itself to a reviewer, before anybody is asked.

    Attributes
    ----------
    facts
        What the folder shows, serious ones first: seal, order, journal, corrections, report.
    suspicions
        What was noticed in the readings of the deciding response.
    answers
        The questions that the folder answers by itself.
    faults
        What costs a step in the grade whatever is answered.
    """

    folder: TheirFolder
    again: WorkedOutAgain
    facts: tuple[Fact, ...]
    suspicions: tuple[Suspicion, ...]
    answers: Mapping[str, Answer]
    faults: tuple[Fault, ...]


@contextlib.contextmanager
def opened_folder(path: Path) -> Iterator[Path]:
    """Give the folder of a trial: the one at `path`, or a bundle unpacked for the while.

    Raises
    ------
    WeldtrialError
        As `weldtrial.shared.folder.find_folder` and `weldtrial.shared.review_folder.unpack`.
    """
    if not is_bundle(path):
        yield find_folder(path)
        return
    with tempfile.TemporaryDirectory(prefix="weldtrial-review-") as into:
        yield unpack(path, Path(into))


def review_folder(path: Path) -> FolderReview:
    """Review a trial folder: read, redrawn, analysed again, compared with its own report.

    Raises
    ------
    WeldtrialError
        When there is no question or no plan to review; everything else is a fact.
    """
    from weldtrial.analysis.grade import compared_factor
    from weldtrial.analysis.review_answers import (
        answers_of_folder,
        faults_of_folder,
        faults_of_rows,
    )
    from weldtrial.analysis.suspicions import find_suspicions

    folder = read_their_folder(path, redraw)
    again = work_out_again(folder)
    is_open = folder.record.codes_open
    closed = () if is_open else (Fact("codes-closed", CLOSED, file="journal.csv"),)
    shown = folder_facts(folder)
    told = " ".join(one.words for one in shown)
    found = (*closed, *shown, *(_once(one, again.why_not, told) for one in again.facts))
    facts = tuple(sorted(found, key=lambda one: not one.serious))
    factor = compared_factor(folder.trial)
    noticed: tuple[Suspicion, ...] = ()
    if is_open and factor is not None and folder.trial.deciding.kind == "number":
        noticed = find_suspicions(rows_of_record(folder, folder.trial.deciding, factor))
    aside = again.findings.set_aside if again.findings is not None else ()
    answers = answers_of_folder(folder.trial, folder.record, aside, facts, noticed)
    faults = (*faults_of_folder(facts), *faults_of_rows(noticed, answers))
    return FolderReview(folder, again, facts, noticed, answers, faults)
