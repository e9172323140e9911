"""The screen of a review: the claim, the verdict, and then why, in a fixed order."""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldtrial.cli.review_grade_words import grade_lines
from weldtrial.cli.reviewed import Reviewed

if TYPE_CHECKING:
    from weldtrial.analysis.evidence import UndoRow
    from weldtrial.cli.console import Console

AFTER_CLAIM = ("claim-supported", "claim-contradicted", "claim-not-settled")
SHOW_IT = ("would-show",)
UNDOING = ("hidden-bias", "set-ups", "left-out")


def show(console: Console, found: Reviewed) -> None:
    """Print a review."""
    asked, judgement = found.asked, found.judgement
    for note in asked.notes:
        console.line(note, hang=2)
    if asked.claim is not None:
        near = f"   margin {found.margin_words}" if asked.margin else ""
        console.line(f"THE CLAIM  \N{LEFT DOUBLE QUOTATION MARK}{asked.claim.text}"
                     f"\N{RIGHT DOUBLE QUOTATION MARK}{near}", hang=11)  # fmt: skip
    console.line(f"VERDICT  {judgement.verdict_words}", hang=9, style="bold")
    for line in found.verdict_lines:
        console.line(f"  {line}")
    _said(console, found)
    _checks(console, found)
    _undo(console, found)
    console.heading(f"HOW FAR TO TRUST IT:  {found.graded.words.upper()}")
    for line in grade_lines(found):
        console.line(f"  {line}")
    for line in found.seen:
        console.note(f"  Seen: {line}")
    if judgement.test is not None:
        console.heading("CHEAPEST HONEST TEST")
        console.line(f"  {judgement.test.words}")
    elif judgement.unsized:
        console.heading("CHEAPEST HONEST TEST")
        console.line(f"  {judgement.unsized}")


def _said(console: Console, found: Reviewed) -> None:
    says = [one for one in found.judgement.says if one.code not in (*SHOW_IT, *UNDOING)]
    if says:
        console.heading("WHAT THE NUMBERS SAY, taken at face value")
        for one in says:
            console.line(f"  {one.words}")
    for one in found.judgement.says:
        if one.code in SHOW_IT:
            console.heading("WHAT WOULD SHOW IT")
            console.line(f"  {one.words}")


def _checks(console: Console, found: Reviewed) -> None:
    if found.facts:
        console.heading("THE FOLDER, verified and worked out again")
        for fact in found.facts:
            console.line(f"  {'!' if fact.serious else '-'} {fact.words}")
    checks = check_lines(found)
    if checks:
        console.heading("NUMBERS CHECK")
        for line in checks:
            console.line(f"  {line}")


def check_lines(found: Reviewed) -> tuple[str, ...]:
    """Return what was looked at in the figures: what cannot be, what to check."""
    lines = [one.words for one in found.weighing.checks]
    return (*lines, *(one.words for one in found.suspicions))


def _undo(console: Console, found: Reviewed) -> None:
    says = [one for one in found.judgement.says if one.code in UNDOING]
    if not found.judgement.undo and not says:
        return
    console.heading("WHAT IT TAKES TO UNDO IT")
    for one in says:
        console.line(f"  {one.words}")
    if found.judgement.undo:
        console.table(("if it were so", "p", ""), undo_rows(found), ("left", "right", "left"))


def undo_rows(found: Reviewed) -> list[tuple[str, str, str]]:
    """Return the undo table: the fact, its p, what it means."""
    return [(row.what, _p(row), undo_note(row, found)) for row in found.judgement.undo]


def _p(row: UndoRow) -> str:
    from weldtrial.analysis.review_words import p_words

    return "none left" if row.p is None else p_words(row.p)


def undo_note(row: UndoRow, found: Reviewed) -> str:
    """Return what an undo row means: said to be so, or no longer standing out."""
    from weldtrial.shared.answers import value_of

    if not row.undone:
        return ""
    if row.code == "forgotten":
        first = next(one for one in found.judgement.undo if one.code == "forgotten" and one.undone)
        if row is not first:
            return ""
        tail = "; you said they were remembered" if row.told else ""
        return f"the number no longer stands out{tail}"
    if row.told and row.code in ("clusters", "one-set-up"):
        said = value_of(found.answers, "setups") == "one"
        return f"you said {found.evidence.new.name} is one set-up" if said else "as told"
    return "no longer stands out"
