"""A review as a whole: what was given, noticed, answered, weighed and graded."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from weldtrial.shared.answers import Answer, Answers, joined
from weldtrial.shared.claimed import Evidence, Side

if TYPE_CHECKING:
    from weldtrial.analysis.evidence import Judgement, Said, UndoRow
    from weldtrial.analysis.evidence_grade import Fault, Graded
    from weldtrial.analysis.review_numbers import Weighing
    from weldtrial.analysis.suspicion_record import Suspicion
    from weldtrial.cli.review_asked import Asked
    from weldtrial.cli.review_folder import FolderReview
    from weldtrial.shared.review_facts import Fact

CLOSED_VERDICT = "Not settled: the codes are still closed, so this trial claims nothing yet."
Questions = Callable[[Answers], Mapping[str, Answer]]
"""Asks what is left, given what is known, and returns the answers."""


@dataclass(frozen=True, slots=True)
class Reviewed:
    """A review.

    Attributes
    ----------
    asked
        What was given.
    evidence
        What was weighed; of a folder its coupons at the level they bear.
    judgement
        The verdict, the grade, what is said and what would undo it.
    weighing
        The numbers at face value.
    apart
        Numbers and design in one line.
    seen
        Answers that the data or the folder gave, in words.
    facts
        What a folder shows.
    boxes
        A folder's verdicts worked out again: what it is of, its sentence, lines below.
    """

    asked: Asked
    evidence: Evidence
    judgement: Judgement
    weighing: Weighing
    graded: Graded
    apart: str
    answers: Mapping[str, Answer]
    suspicions: tuple[Suspicion, ...] = ()
    seen: tuple[str, ...] = ()
    facts: tuple[Fact, ...] = ()
    boxes: tuple[tuple[str, str, tuple[str, ...]], ...] = ()

    @property
    def verdict_lines(self) -> tuple[str, ...]:
        """The lines below a folder's verdict, where that verdict stands."""
        if not self.boxes or self.judgement.verdict == "cannot-tell":
            return ()
        return self.boxes[0][2][:3]

    @property
    def margin_words(self) -> str:
        """The margin as it is printed, empty without one."""
        from weldtrial.analysis.review_numbers import margin_text

        points = self.evidence.kind == "counts"
        return margin_text(self.asked.margin, self.evidence.unit, points=points)


def review(asked: Asked, ask: Questions) -> Reviewed:
    """Review what was given.

    Parameters
    ----------
    ask
        Asks what is left to ask.

    Raises
    ------
    WeldtrialError
        Where a folder or a bundle holds nothing to review.
    """
    if asked.folder is None:
        return _of_numbers(asked, ask)
    from weldtrial.cli.review_folder import opened_folder

    with opened_folder(asked.folder) as place:
        return _of_folder(asked, place, ask)


def _of_numbers(asked: Asked, ask: Questions) -> Reviewed:
    from weldtrial.analysis.review_answers import (
        answers_of_rows,
        cannot_tell_from,
        faults_of_rows,
    )
    from weldtrial.analysis.suspicions import find_suspicions

    assert asked.evidence is not None
    noticed: tuple[Suspicion, ...] = ()
    shown: dict[str, Answer] = {}
    if asked.theirs is not None:
        noticed = find_suspicions(asked.theirs.rows)
        shown = answers_of_rows(asked.theirs.rows, noticed, folded=bool(asked.theirs.folded))
    else:
        shown = _of_sides(asked.evidence)
    known, seen = joined(shown, asked.said)
    answers = {**known, **ask(known)}
    faults = faults_of_rows(noticed, answers)
    more = () if cannot_tell_from(noticed, answers) else _two_ways(asked)
    return _put_together(asked, asked.evidence, answers, noticed, faults, seen=seen, more=more)


def _two_ways(asked: Asked) -> tuple[Said, ...]:
    """Say what the figures give as they were given and folded, where that is not the same."""
    from weldtrial.analysis.two_ways import analyse_two_ways

    evidence, theirs = asked.evidence, asked.theirs
    if evidence is None or theirs is None:
        return ()
    past = any(row.beyond for row in theirs.rows)
    found = analyse_two_ways(
        theirs, evidence.new.name, evidence.old.name, lower_better=evidence.better == "lower"
    )
    return found.says if found.differs or past else ()


def _of_sides(evidence: Evidence) -> dict[str, Answer]:
    """Return what a count says of its set-ups: "0/12 in 3 set-ups"."""
    told = (evidence.new.setups, evidence.old.setups)
    if told[0] is None or told[1] is None:
        return {}
    fewest = min(told[0], told[1])
    value = "one" if fewest < 2 else "two-or-three" if fewest < 4 else "four-or-more"
    return {"setups": Answer("setups", value, "data", f"{fewest} of the scarcer side are told")}


def _put_together(
    asked: Asked,
    evidence: Evidence,
    answers: Mapping[str, Answer],
    noticed: tuple[Suspicion, ...],
    faults: tuple[Fault, ...],
    *,
    seen: tuple[str, ...] = (),
    more: tuple[Said, ...] = (),
    facts: tuple[Fact, ...] = (),
    boxes: tuple[tuple[str, str, tuple[str, ...]], ...] = (),
) -> Reviewed:
    from weldtrial.analysis.evidence_grade import Fault, grade_evidence
    from weldtrial.analysis.review_answers import cannot_tell_from
    from weldtrial.analysis.review_averages import weigh_numbers
    from weldtrial.analysis.review_numbers import margin_text
    from weldtrial.analysis.review_verdict import apart, judged
    from weldtrial.shared.answers import value_of

    remembered = value_of(answers, "controls") == "remembered"
    if evidence.kind == "counts" and value_of(answers, "setups") == "one":
        evidence = _one_setup(evidence)
    weighing = weigh_numbers(
        evidence, asked.claim, asked.margin, thing=asked.wishes.thing, remembered=remembered,
        sd_setup=asked.wishes.sd_setup,
    )  # fmt: skip
    undo = (*_in_handfuls(evidence, noticed), *weighing.undo)
    weighing = replace(weighing, says=(*weighing.says, *more), undo=undo)
    wrong = [said for said in weighing.checks if said.code.startswith("impossible")]
    if wrong:
        faults = (*faults, Fault("impossible", "numbers that cannot come from the stated n",
                                 wrong[0].words))  # fmt: skip
    graded = grade_evidence(answers, faults)
    tied = cannot_tell_from(noticed, answers)
    near = margin_text(asked.margin, evidence.unit, points=evidence.kind == "counts")
    judgement = judged(
        weighing, graded, evidence, tied=tied,
        thing=asked.wishes.thing, margin=near, head=boxes[0][1] if boxes else "",
    )  # fmt: skip
    together = apart(weighing, graded)
    if boxes or tied:
        together = f"Evidence: {graded.words.lower()}."
    return Reviewed(
        asked, evidence, judgement, weighing, graded, together, answers, noticed, seen, facts, boxes
    )


def _in_handfuls(evidence: Evidence, noticed: tuple[Suspicion, ...]) -> tuple[UndoRow, ...]:
    """Return what becomes of rows that look like several readings of one weld."""
    from weldtrial.analysis.leave_out import handfuls

    found = [
        handfuls(evidence, int(one.values["size"]))
        for one in noticed
        if one.code == "alike-in-blocks" and evidence.kind == "raw"
    ]
    return tuple(row for row in found if row is not None)


def _one_setup(evidence: Evidence) -> Evidence:
    """Take a new side that is said to come from one set-up at its word.

    The other side keeps batches of the same size, as the undo table takes them unless told.
    """
    if evidence.new.setups is not None or evidence.old.setups is not None:
        return evidence
    size = max(1, evidence.new.n)
    many = max(1, evidence.old.n // size)
    return replace(
        evidence,
        new=replace(evidence.new, setups=1),
        old=replace(evidence.old, setups=many),
    )


# ------------------------------------------------------------------ a folder


def _of_folder(asked: Asked, path: Path, ask: Questions) -> Reviewed:
    from weldtrial.cli.review_folder import review_folder, verdicts

    found = review_folder(path)
    known, seen = joined(found.answers, asked.said)
    answers = {**known, **ask(known)}
    findings = found.again.findings
    boxes: tuple[tuple[str, str, tuple[str, ...]], ...] = ()
    if not found.folder.record.codes_open:
        boxes = (("", CLOSED_VERDICT, ()),)
    elif findings is None:
        boxes = (("", f"Not settled: it cannot be analysed again. {found.again.why_not}", ()),)
    else:
        boxes = tuple(
            (one.tag, one.head or " ".join(one.lines), one.lines)
            for one in verdicts(found.folder, findings)
        )
    evidence = _evidence_of(found, asked)
    return _put_together(
        asked,
        evidence,
        answers,
        found.suspicions,
        found.faults,
        seen=seen,
        facts=found.facts,
        boxes=boxes,
    )


def _evidence_of(found: FolderReview, asked: Asked) -> Evidence:
    """Return the coupons of a folder as two sides; empty sides where they are not two numbers."""
    from weldtrial.analysis.grade import compared_factor
    from weldtrial.shared.review_evidence import evidence_of_rows
    from weldtrial.shared.review_facts import rows_of_record

    folder = found.folder
    response, factor = folder.trial.deciding, compared_factor(folder.trial)
    blank = Evidence("folder", Side("new", 0), Side("old", 0), what=response.title)
    if not folder.record.codes_open:
        return blank
    if factor is None or len(factor.levels) != 2 or response.kind != "number":
        return blank
    old = factor.control or factor.levels[0]
    new = next(level for level in factor.levels if level != old)
    rows = rows_of_record(folder, response, factor)
    evidence = evidence_of_rows(
        rows, new, old, unit=response.unit, what=response.title, better=response.better,
        kind="folder",
    )  # fmt: skip
    evidence = replace(evidence, looked_at=asked.wishes.picked_from)
    return evidence if min(evidence.new.n, evidence.old.n) > 0 else blank
