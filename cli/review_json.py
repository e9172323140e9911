"""A review as JSON: stable keys, full precision; ``new --from-review`` reads it again."""

from __future__ import annotations

from typing import Any

from weldtrial.cli.reviewed import Reviewed

FORMAT = 1


def review_json(found: Reviewed) -> dict[str, Any]:
    """Return a review as plain values in the documented form."""
    from weldtrial.analysis.evidence_grade import best_case_against

    asked, judgement, graded = found.asked, found.judgement, found.graded
    claim = found.weighing.claim
    undone = [f"Undone if {one.what}." for one in judgement.undo if one.undone and one.told]
    return {
        "review": FORMAT,
        "kind": asked.kind,
        "evidence": found.evidence,
        "claim": None if asked.claim is None else asked.claim,
        "claim_verdict": None if claim is None else claim.verdict,
        "margin": None if asked.margin is None else asked.margin,
        "thing": asked.wishes.thing or None,
        "verdict": {"code": judgement.verdict, "words": judgement.verdict_words,
                    "at_face_value": found.weighing.code},
        "says": list(judgement.says),
        "checks": list(found.weighing.checks),
        "suspicions": list(found.suspicions),
        "facts": list(found.facts),
        "boxes": [{"of": tag, "words": head, "lines": lines} for tag, head, lines in found.boxes],
        "undo": list(judgement.undo),
        "grade": {
            "code": graded.code, "start": graded.start, "words": graded.words,
            "reasons": list(graded.reasons), "answered": graded.answered,
            "unanswered": [one.key for one in graded.unanswered],
        },
        "apart": found.apart,
        "against": list(best_case_against(graded, undone)),
        "answers": {key: {"answer": one.value, "source": one.source, "because": one.because or None}
                    for key, one in sorted(found.answers.items())},
        "notes": [*asked.notes, *found.seen],
        "warnings": [str(one) for one in asked.warnings],
        "test": judgement.test,
        "no_test_because": judgement.unsized or None,
    }  # fmt: skip
