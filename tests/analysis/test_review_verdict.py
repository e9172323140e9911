"""Verdicts of a review: the code at face value, held back to what the design bears."""

from __future__ import annotations

import pytest

from tests.structure.test_docs import BANNED_WORDS
from weldtrial.analysis.evidence import Claim, Evidence, Said, Side
from weldtrial.analysis.evidence_grade import Graded
from weldtrial.analysis.figures import claim_strip, undo_claim
from weldtrial.analysis.review_averages import weigh_numbers
from weldtrial.analysis.review_numbers import Weighing
from weldtrial.analysis.review_verdict import _SAYS, judged, verdict
from weldtrial.analysis.weigh_claim import Weighed
from weldtrial.shared.claim_text import parse_claim
from weldtrial.shared.responses import Margin

COUNTS = Evidence("counts", Side("new", 4, passed=3), Side("before", 12, passed=0), better="lower")
SIDES = Evidence("summary", Side("co2", 4, 68.2, 4.4), Side("mix", 4, 70.3, 3.8), unit="kN")


def graded(code: str) -> Graded:
    return Graded(code, code, (), 8, (), ())  # type: ignore[arg-type]


@pytest.mark.parametrize("code", _SAYS)
@pytest.mark.parametrize("grade", ["strong", "fair", "weak", "anecdote", "cannot-be-judged"])
def test_only_strong_shows_and_only_fair_suggests(code: str, grade: str) -> None:
    found, words = verdict(Weighing(code, ()), graded(grade), SIDES, margin="5 kN")  # type: ignore[arg-type]
    wanted = {"strong": ("shown", "Shown: "), "fair": ("suggests", "Suggests that ")}
    assert found == wanted.get(grade, ("cannot-tell",))[0]
    assert words.startswith(wanted.get(grade, ("", "Cannot tell"))[1])
    assert words.endswith(".")
    assert not BANNED_WORDS.search(words)


@pytest.mark.parametrize("outcome", ["supported", "contradicted"])
@pytest.mark.parametrize("grade", ["strong", "fair", "weak", "anecdote"])
def test_claims_are_held_back_too(outcome: str, grade: str) -> None:
    weighed = Weighed(Claim("alike", "no-difference"), outcome, "difference", None, 0, 0, 5)  # type: ignore[arg-type]
    found, words = verdict(Weighing("equivalent", (), weighed), graded(grade), SIDES)
    assert found == (
        "cannot-tell" if grade in ("weak", "anecdote")
        else "supports" if outcome == "supported" else "contradicts"
    )  # fmt: skip
    assert "“alike”" in words
    assert ("Suggests" in words) == (grade == "fair" and outcome == "supported")


def test_sides_never_apart_lose_every_number_but_their_averages() -> None:
    weighing = weigh_numbers(SIDES)
    found = judged(weighing, graded("strong"), SIDES, tied=("day",), head="Shown: co2 is better.")
    assert found.verdict == "cannot-tell"
    assert found.verdict_words.startswith("Cannot tell: co2 was never welded apart from day.")
    assert [said.code for said in found.says] == ["averages"]
    assert found.undo == ()


@pytest.mark.parametrize(
    ("grade", "head", "code", "words"),
    [
        ("strong", "Shown: co2 is better.", "shown", "Shown: co2 is better."),
        ("fair", "Shown: co2 is better.", "suggests", "Suggests, no more: co2 is better."),
        ("weak", "Shown: co2 is better.", "cannot-tell", "Cannot tell: its files give"),
        ("strong", "Not settled: too small.", "not-settled", "Not settled: too small."),
        ("weak", "Answer depends on round 1.", "cannot-tell", "Answer depends on round 1."),
    ],
)
def test_folders(grade: str, head: str, code: str, words: str) -> None:
    found = judged(Weighing(None, ()), graded(grade), SIDES, head=head)
    assert found.verdict == code
    assert found.verdict_words.startswith(words)


def test_a_result_picked_from_six() -> None:
    said = Said("picked", "", {"looked_at": 6, "p": 0.03, "p_smallest": 0.17})
    found = verdict(Weighing("difference_shown", (said,)), graded("strong"), SIDES)
    assert found == (
        "not-settled",
        "Not settled: as the pick of 6 that were looked at it no longer stands out.",
    )


def test_curves_of_the_spool_worked_by_hand() -> None:
    curves = undo_claim.curves(COUNTS)
    assert curves is not None
    # 4 ways of 560 to deal 3 porous; then 49 of 1820, 276 of 4368 and 946 of 8008.
    by_hand = [4 / 560, 49 / 1820, 276 / 4368, 946 / 8008]
    assert [p for _, p in curves.forgotten][:4] == pytest.approx(by_hand)
    assert dict(curves.earlier)[4] == pytest.approx(1 / 7)
    assert curves.earlier[0][0] == 12
    text = undo_claim.describe(curves, "porous", "before")
    assert len(text.alt) > 40
    assert "2 forgotten porous of before" in text.caption
    assert undo_claim.draw(curves, "porous", "before").axes


def test_no_curves_of_what_does_not_stand_out() -> None:
    even = Evidence("counts", Side("a", 4, passed=1), Side("b", 4, passed=0), better="lower")
    assert undo_claim.curves(even) is None
    assert undo_claim.curves(SIDES) is None


def test_the_strip_stands_on_the_scale_of_the_claim() -> None:
    claim, _ = parse_claim("ratio 0.97")
    margin = Margin(0.05, True)
    strip = claim_strip.strip_of(SIDES, weigh_numbers(SIDES, claim, margin), margin)
    assert strip is not None
    assert (strip.zero, strip.claimed, strip.near) == (1.0, (0.97, 0.97), 0.05)
    assert (strip.low, strip.high) == pytest.approx((0.875, 1.076), abs=5e-4)
    text = claim_strip.describe(strip)
    assert text.table_rows == (("0.970", "0.875 to 1.076", "0.970", "0.050"),)
    assert claim_strip.draw(strip).axes
    points = claim_strip.strip_of(COUNTS, weigh_numbers(COUNTS), None)
    assert points is not None
    assert (points.unit, points.zero, points.estimate) == ("points", 0.0, 75.0)
