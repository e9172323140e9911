"""A review as one page: no scripts, no outside files, figures with their numbers beside them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldtrial.cli.pages import environment
from weldtrial.cli.report_blocks import FigureBlock, table
from weldtrial.cli.review_grade_words import grade_lines
from weldtrial.cli.review_screen import SHOW_IT, UNDOING, check_lines, undo_rows
from weldtrial.cli.reviewed import Reviewed
from weldtrial.cli.svg import to_svg

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from weldtrial.analysis.figures import FigureText

MOST_FACTS = 10
"""Facts of a folder that go on the page, the serious ones first; the screen has all."""


def review_page(found: Reviewed) -> str:
    """Return the page."""
    says = found.judgement.says
    return (
        environment()
        .get_template("review.html.j2")
        .render(
            found=found,
            title=_title(found),
            says=[one.words for one in says if one.code not in (*SHOW_IT, *UNDOING)],
            show_it=[one.words for one in says if one.code in SHOW_IT],
            undoing=[one.words for one in says if one.code in UNDOING],
            undo=undo_rows(found),
            checks=check_lines(found),
            grade=[line.replace(": --letter)", ")") for line in grade_lines(found)],
            against=_against(found),
            facts=found.facts[:MOST_FACTS],
            more_facts=max(0, len(found.facts) - MOST_FACTS),
            strip=_strip(found),
            undo_figure=_undo_figure(found),
        )
    )


def _title(found: Reviewed) -> str:
    if found.asked.claim is not None:
        return f"Review: \N{LEFT DOUBLE QUOTATION MARK}{found.asked.claim.text}" \
               "\N{RIGHT DOUBLE QUOTATION MARK}"  # fmt: skip
    if found.asked.kind == "studies":
        return f"Review: {len(found.evidence.studies)} studies of one difference"
    if not found.evidence.new.n and found.asked.folder is not None:
        return f"Review of {found.asked.folder.name}"
    return f"Review: {found.evidence.new.name} against {found.evidence.old.name}"


def _against(found: Reviewed) -> tuple[str, ...]:
    from weldtrial.analysis.evidence_grade import best_case_against

    return best_case_against(found.graded)[:4]


def _strip(found: Reviewed) -> FigureBlock | None:
    from weldtrial.analysis.figures import claim_strip

    if found.boxes or not _compared(found):
        # A folder is judged by its own plan, and sides that were never apart are not compared: a
        # second figure would contradict the first.
        return None
    strip = claim_strip.strip_of(found.evidence, found.weighing, found.asked.margin)
    if strip is None:
        return None
    return _block("strip", claim_strip.draw(strip), claim_strip.describe(strip))


def _compared(found: Reviewed) -> bool:
    """Whether the sides are compared at all, rather than listed."""
    return not any(said.code == "averages" for said in found.judgement.says)


def _undo_figure(found: Reviewed) -> FigureBlock | None:
    from weldtrial.analysis.figures import undo_claim

    curves = undo_claim.curves(found.evidence) if found.evidence.kind == "counts" else None
    if curves is None:
        return None
    named = (found.evidence.what, found.evidence.old.name)
    return _block("undo", undo_claim.draw(curves, *named), undo_claim.describe(curves, *named))


def _block(key: str, figure: Figure, text: FigureText) -> FigureBlock:
    numbers = table(text.table_headers, text.table_rows)
    return FigureBlock(to_svg(figure, f"fig-{key}", text.alt), text.caption, numbers)
