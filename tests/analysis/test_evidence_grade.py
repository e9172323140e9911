"""The grade of somebody's evidence: every answer moves it the stated way, and no other."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from weldtrial.analysis.evidence_grade import (
    Fault,
    Graded,
    answers_needed,
    best_case_against,
    grade_evidence,
    side_by_side,
)
from weldtrial.analysis.evidence_rules import LADDER, RULES, STARTS
from weldtrial.shared.answers import Answer
from weldtrial.shared.questions import DECISIVE, QUESTIONS, REPEATED, UNKNOWN

BEST = {
    "order": "drawn", "sessions": "yes", "controls": "recorded", "setups": "four-or-more",
    "units": "welds", "same": "yes", "settings": "same", "bead": "alike", "reader": "blind",
    "rule": "yes", "left-out": "none", "limit": "not-reached", "place": "weld", "gauge": "yes",
    "outcomes": "all-told", "decided": "before", "paid": "own", "raw": "yes",
}  # fmt: skip

STEPS = {
    ("units", "readings"), ("units", UNKNOWN), ("same", "no"), ("same", UNKNOWN),
    ("settings", "differed"), ("settings", UNKNOWN), ("bead", "differed"),
    ("bead", "not-measured"), ("bead", UNKNOWN), ("reader", "knew"), ("reader", UNKNOWN),
    ("rule", "no"), ("rule", UNKNOWN), ("left-out", "unexplained"), ("left-out", "lopsided"),
    ("left-out", UNKNOWN), ("limit", "dropped"), ("outcomes", "one-of-many"), ("outcomes", UNKNOWN),
    ("decided", "on-the-way"), ("decided", "afterwards"), ("decided", UNKNOWN),
}  # fmt: skip
"""Answers that cost one step from a Strong start, written down apart from the table."""
START = {
    ("order", "by-hand"): "fair", ("order", "no"): "fair", ("order", UNKNOWN): "fair",
    ("sessions", "no"): "weak", ("sessions", UNKNOWN): "weak",
    ("controls", "earlier"): "weak", ("controls", UNKNOWN): "weak",
    ("controls", "remembered"): "anecdote", ("controls", "none"): "anecdote",
    ("setups", "one"): "weak", ("setups", UNKNOWN): "weak", ("setups", "two-or-three"): "fair",
}  # fmt: skip
EVERY = [(question.key, answer) for question in QUESTIONS for answer in question.allowed]


def graded(faults: tuple[Fault, ...] = (), **changed: str) -> Graded:
    said = {**BEST, **{key.replace("_", "-"): value for key, value in changed.items()}}
    return grade_evidence({key: Answer(key, value) for key, value in said.items()}, faults)


def place(one: Graded) -> int:
    return LADDER.index(one.code)


def test_the_table_knows_every_answer_and_no_other() -> None:
    wanted = {*EVERY, *((REPEATED.key, answer) for answer in REPEATED.allowed)}
    assert set(RULES) == wanted


def test_the_best_of_everything_is_strong() -> None:
    one = graded()
    assert (one.code, one.start, one.steps_down, one.unanswered) == ("strong", "strong", (), ())
    assert one.against == ()
    assert best_case_against(one) == (
        "Nothing that was asked speaks against it; what was not asked still may.",
    )


@pytest.mark.parametrize(("key", "answer"), EVERY)
def test_every_single_answer_moves_the_grade_as_written_down(key: str, answer: str) -> None:
    one = graded(**{key.replace("-", "_"): answer})
    start = START.get((key, answer), "strong")
    assert one.start == start
    assert one.code == ("fair" if (key, answer) in STEPS else start)
    assert len(one.steps_down) == ((key, answer) in STEPS)
    told = " ".join(reason.words for reason in one.reasons)
    if answer != BEST[key] and RULES[key, answer].words:
        assert RULES[key, answer].words in told


@pytest.mark.parametrize(
    ("controls", "sessions", "setups", "order"),
    list(product(*(next(q for q in QUESTIONS if q.key == key).allowed for key in STARTS))),
)
def test_the_start_is_the_lowest_of_what_holds_it(
    controls: str, sessions: str, setups: str, order: str
) -> None:
    """All 240 ways in which a control can have come about."""
    said = {"controls": controls, "sessions": sessions, "setups": setups, "order": order}
    caps = [LADDER.index(START.get(pair, "strong")) for pair in said.items()]  # type: ignore[arg-type]
    assert graded(**said).start == LADDER[min(caps)]


@pytest.mark.parametrize("pattern", list(product([True, False], repeat=8)))
def test_fewer_than_half_of_the_first_eight_cannot_be_judged(pattern: tuple[bool, ...]) -> None:
    """All 256 ways of answering or not."""
    known = dict(zip((question.key for question in DECISIVE), pattern, strict=True))
    said = {key: value if known.get(key, True) else UNKNOWN for key, value in BEST.items()}
    one = grade_evidence({key: Answer(key, value) for key, value in said.items()})
    assert one.answered == sum(pattern)
    assert (one.code == "cannot-be-judged") == (sum(pattern) < 4)


def test_nothing_answered_cannot_be_judged_and_says_why() -> None:
    one = grade_evidence({})
    assert one.words == "Cannot be judged yet"
    assert one.reasons[0].words.startswith("0 of the first 8 questions answered; 4 are needed")
    assert len(one.unanswered) == 18
    keys = [question.key for question in answers_needed(one)]
    assert keys == ["order", "sessions", "controls", "setups", "units", "same", "settings", "bead",
                    "reader", "rule", "left-out", "outcomes", "decided"]  # fmt: skip


def test_the_story_of_the_porous_spool_is_an_anecdote_however_small_its_p() -> None:
    said = {"controls": "remembered", "sessions": "no", "settings": "differed", "setups": "one",
            "reader": "knew", "decided": "afterwards"}  # fmt: skip
    one = grade_evidence({key: Answer(key, value) for key, value in said.items()})
    assert one.code == "anecdote"
    assert side_by_side("striking", one) == "Numbers striking, evidence: anecdote."
    told = [reason.words for reason in one.reasons]
    for words in (
        "control from memory",
        "the two sides welded at different times",
        "settings differed without a stated rule",
        "judged by someone who knew the side",
        "question chosen after the event",
    ):
        assert words in told
    assert told[0] == "control from memory"
    case = best_case_against(one, ("Two forgotten bad beads undo it.",), "one welder's shop.")
    assert case[0].startswith("Memory keeps no tally")
    assert case[-2:] == (
        "Two forgotten bad beads undo it.",
        "Even so it would hold only of this: one welder's shop.",
    )


answers = st.fixed_dictionaries(
    {question.key: st.sampled_from(question.allowed) for question in (*QUESTIONS, REPEATED)}
)


def of(said: dict[str, str]) -> Graded:
    return grade_evidence({key: Answer(key, value) for key, value in said.items()})


@given(answers, st.sampled_from(QUESTIONS))
def test_a_better_answer_never_lowers_a_grade(said: dict[str, str], question: object) -> None:
    key = question.key  # type: ignore[attr-defined]
    better = of({**said, key: BEST[key]})
    assert place(better) >= place(of(said))


@given(answers, st.sampled_from(QUESTIONS))
def test_not_knowing_is_never_better_than_the_best_and_costs_what_is_stated(
    said: dict[str, str], question: object
) -> None:
    key = question.key  # type: ignore[attr-defined]
    silent, best = of({**said, key: UNKNOWN}), of({**said, key: BEST[key]})
    assert place(silent) <= place(best)
    rule = RULES[key, UNKNOWN]
    if rule.step and not rule.group and silent.code != "cannot-be-judged":
        steps = [sum(r.steps for r in one.steps_down) for one in (silent, best)]
        assert steps[0] == steps[1] - 1


@given(answers)
def test_repeating_raises_at_most_one_step_and_never_to_strong(said: dict[str, str]) -> None:
    without = of({**said, "repeated": "no"})
    with_it = of({**said, "repeated": "yes"})
    assert place(without) <= place(with_it) <= place(without) + 1
    if with_it.code != without.code:
        assert with_it.code in ("weak", "fair")
        assert without.code != "cannot-be-judged"


@given(answers)
def test_a_fault_never_raises_a_grade_and_the_floor_is_an_anecdote(said: dict[str, str]) -> None:
    plain = of(said)
    wrong = (Fault("impossible", "a mean that cannot come from the stated n"),)
    worse = grade_evidence({key: Answer(key, value) for key, value in said.items()}, wrong)
    assert place(worse) <= place(plain)
    assert worse.code != "cannot-be-judged" or plain.code == "cannot-be-judged"


def test_faults_of_one_kind_cost_one_step_and_a_tie_costs_the_start() -> None:
    wrong = Fault("impossible", "a mean that cannot come from the stated n")
    assert graded((wrong, wrong)).code == "fair"
    tied = Fault("tied-day", "the side cannot be told from the day", "Day.", at_most="weak")
    one = graded((tied,))
    assert (one.start, one.code, one.steps_down) == ("weak", "weak", ())
    assert "Day." in one.against
    assert "the side cannot be told from the day" in [reason.words for reason in one.reasons]


def test_several_things_unsaid_of_the_paperwork_cost_one_step_together() -> None:
    one = graded(rule=UNKNOWN, outcomes=UNKNOWN, decided=UNKNOWN)
    assert one.code == "fair"
    assert len(one.steps_down) == 1
    assert graded(rule="no", outcomes=UNKNOWN).code == "weak"
