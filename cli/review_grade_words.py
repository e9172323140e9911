"""The grade of a review in lines, for screen and page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldtrial.cli.reviewed import Reviewed

if TYPE_CHECKING:
    from weldtrial.analysis.evidence import Reason
    from weldtrial.analysis.evidence_grade import Graded
    from weldtrial.analysis.review_letter import Letter

SHORT = {
    "order": "shuffled?",
    "sessions": "same sessions?",
    "controls": "control written down?",
    "setups": "how many set-ups?",
    "units": "re-measured?",
    "same": "same plate, spool, position, welder?",
    "settings": "same settings?",
    "bead": "bead size?",
    "reader": "blind?",
    "rule": "failure rule?",
    "left-out": "anything left out?",
    "limit": "gauge limit?",
    "place": "where it failed?",
    "gauge": "gauge checked?",
    "outcomes": "only one thing measured?",
    "decided": "decided before?",
    "paid": "who paid?",
    "raw": "raw figures?",
}
"""The eighteen questions in a word or two, where a line lists what nobody could answer."""


def grade_lines(found: Reviewed) -> tuple[str, ...]:
    """Return why the grade is what it is: where it starts, each step, what nobody said."""
    graded = found.graded
    open_keys = {question.key for question in graded.unanswered}
    known = [one for one in graded.reasons if one.code not in open_keys and one.code != "unsaid"]
    lines = [found.apart]
    lines += _listed("", [one for one in known if one.steps == 0 and one.code in _START])
    lines += _listed("One step down each: ", [one for one in known if one.steps < 0])
    lines += _listed("One step up: ", [one for one in known if one.steps > 0])
    rest = [one for one in known if one.steps == 0 and one.code not in _START]
    lines += _listed("", [one for one in rest if one.code in ("answers", *_faults(found))])
    lines += _not_stated(graded)
    return tuple(lines)


def _not_stated(graded: Graded) -> list[str]:
    from weldtrial.analysis.evidence_grade import answers_needed
    from weldtrial.analysis.review_letter import MOST

    costly = [question.key for question in answers_needed(graded)]
    rest = [one.key for one in graded.unanswered if one.key not in costly]
    many = len(graded.unanswered)
    first = f"; the first {MOST}" if many > MOST else ""
    to_send = f"({many} question{'' if many == 1 else 's'}{first} to send: --letter)"
    parts = []
    if costly:
        parts.append(f"Not stated, and counted against it: {_shorts(costly)}")
    if rest:
        parts.append(f"{'Nor' if costly else 'Not stated'}: {_shorts(rest)}")
    return [" ".join([*parts, to_send])] if parts else []


def _shorts(keys: list[str]) -> str:
    return " ".join(SHORT[key] for key in keys)


_START = ("order", "sessions", "controls", "setups")


def _faults(found: Reviewed) -> set[str]:
    return {one.code for one in found.graded.reasons} - set(SHORT) - {"unsaid", "repeated"}


def _listed(lead: str, reasons: list[Reason]) -> list[str]:
    if not reasons:
        return []
    words = "; ".join(one.words for one in reasons)
    return [f"{lead}{words[:1].upper() + words[1:] if not lead else words}."]


def letter_of(found: Reviewed) -> str:
    """Return the letter to whoever did the work, as plain text."""
    return _letter(found).text


def letter_page(found: Reviewed) -> str:
    """Return the letter as a page of its own."""
    from weldtrial.cli.pages import environment
    from weldtrial.cli.review_letter import letter_html

    body = letter_html(_letter(found))
    page = environment().get_template("review_letter_page.html.j2")
    return page.render(body=body)


def _letter(found: Reviewed) -> Letter:
    from weldtrial.analysis.review_letter import to_the_author, write_letter

    wanted = ("sides", "difference", "pooled")
    understood = [said.words for said in found.judgement.says if said.code in wanted][:1]
    noticed = [said.words for said in found.weighing.checks if said.code != "figures-possible"]
    noticed += [one.words for one in found.suspicions if one.asks]
    noticed += [fact.words for fact in found.facts if fact.serious]
    claim = found.asked.claim.text if found.asked.claim else ""
    noticed = [to_the_author(words) for words in noticed]
    return write_letter(
        found.graded.unanswered, claim=claim, understood=understood, noticed=noticed
    )
