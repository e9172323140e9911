"""How far somebody's comparison can be trusted: a grade by fixed rules, apart from the numbers.

Start from how the control came about, step down one for each serious gap, never up for a small p:
the idea of GRADE (Guyatt et al. 2008, BMJ 336, 924-926), with the items of ARRIVE 2.0 (Percie du
Sert et al. 2020, PLoS Biol. 18, e3000410).  Earlier controls start at Weak because for the same
therapies 44 of 56 studies with historical controls, and 10 of 50 randomised ones, favoured the new
treatment (Sacks, Chalmers & Smith 1982, Am. J. Med. 72, 233-240).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from weldtrial.analysis.evidence import Grade, Reason
from weldtrial.analysis.evidence_rules import LADDER, RULES, STARTS, Rule
from weldtrial.shared.answers import Answers, decisive_answered, unanswered, value_of
from weldtrial.shared.questions import QUESTIONS, UNKNOWN, Question

GRADE_WORDS: dict[Grade, str] = {
    "strong": "Strong",
    "fair": "Fair",
    "weak": "Weak",
    "anecdote": "Anecdote",
    "cannot-be-judged": "Cannot be judged yet",
}
FEWEST = 4
"""Of questions 1 to 8: with fewer answered nothing can be judged."""

Numbers = Literal["striking", "clear", "suggestive", "quiet", "contradict"]
"""What the numbers say, taken at face value."""
_NUMBERS: dict[Numbers, str] = {
    "striking": "Numbers striking",
    "clear": "Numbers clear",
    "suggestive": "Numbers suggestive",
    "quiet": "Numbers say little",
    "contradict": "Numbers speak against the claim",
}


@dataclass(frozen=True, slots=True)
class Fault:
    """Something found in the data or the folder that costs a step, whatever was answered.

    Attributes
    ----------
    code
        A fixed word; one code costs one step, however often it is found.
    words
        What was found.
    against
        How the difference could have come about by it.
    at_most
        The grade to start from can be no better than this; no step is taken then.
    """

    code: str
    words: str
    against: str = ""
    at_most: Grade = "strong"


@dataclass(frozen=True, slots=True)
class Graded:
    """How far a comparison can be trusted.

    Attributes
    ----------
    start
        The grade before steps, the same as `code` where it cannot be judged.
    reasons
        Why it starts there (0 steps), each step down (-1), the step up (+1), and what is only
        worth knowing (0 steps).
    answered
        How many of questions 1 to 8 are answered.
    unanswered
        Questions of the eighteen that nobody could answer.
    against
        The best case against the result, a sentence each.
    """

    code: Grade
    start: Grade
    reasons: tuple[Reason, ...]
    answered: int
    unanswered: tuple[Question, ...]
    against: tuple[str, ...]

    @property
    def words(self) -> str:
        """The grade as it is printed."""
        return GRADE_WORDS[self.code]

    @property
    def steps_down(self) -> tuple[Reason, ...]:
        """The reasons that cost a step."""
        return tuple(reason for reason in self.reasons if reason.steps < 0)


def grade_evidence(answers: Answers, faults: Sequence[Fault] = ()) -> Graded:
    """Grade a comparison from what is known of how it was made.

    Parameters
    ----------
    answers
        By key of question; what is missing counts as "don't know", which is never neutral.
    faults
        What was found besides, such as numbers that cannot come from the stated n.
    """
    rules = {one.key: RULES[one.key, value_of(answers, one.key)] for one in QUESTIONS}
    count = decisive_answered(answers)
    open_questions = unanswered(answers)
    faults = tuple({fault.code: fault for fault in faults}.values())
    against = _against(rules, faults, {one.key for one in open_questions})
    if count < FEWEST:
        words = f"{count} of the first 8 questions answered; {FEWEST} are needed to judge at all"
        reasons = (Reason("answers", words), *_started(rules, faults), *_downs(rules, faults))
        none: Grade = "cannot-be-judged"
        return Graded(none, none, reasons, count, open_questions, against)
    start = min(
        (*(rules[key].at_most for key in STARTS), *(fault.at_most for fault in faults)),
        key=LADDER.index,
    )
    downs = _downs(rules, faults)
    place = max(LADDER.index("anecdote"), LADDER.index(start) + _total(downs))
    up: tuple[Reason, ...] = ()
    if value_of(answers, "repeated") == "yes" and place < LADDER.index("fair"):
        place += 1
        up = (Reason("repeated", "repeated by another bench with its own set-ups", 1),)
    reasons = (*_started(rules, faults), *downs, *up, *_worth_knowing(rules))
    return Graded(LADDER[place], start, reasons, count, open_questions, against)


def _total(downs: Sequence[Reason]) -> int:
    return sum(reason.steps for reason in downs)


def _started(rules: dict[str, Rule], faults: Sequence[Fault]) -> tuple[Reason, ...]:
    """Say why it starts where it does: what holds it lowest, or what lets it start at the top."""
    lowest = min(LADDER.index(rules[key].at_most) for key in STARTS)
    caps = [fault for fault in faults if fault.at_most != "strong"]
    held = [key for key in STARTS if LADDER.index(rules[key].at_most) == lowest]
    lower = [key for key in STARTS if key not in held and rules[key].at_most != "strong"]
    return (
        *(Reason(key, rules[key].words) for key in held),
        *(Reason(key, rules[key].words) for key in lower),
        *(Reason(fault.code, fault.words) for fault in caps),
    )


def _downs(rules: dict[str, Rule], faults: Sequence[Fault]) -> tuple[Reason, ...]:
    """Return a reason for each step down; reasons that cost one step together share it."""
    found = [
        Reason(key, rule.words, -1) for key, rule in rules.items() if rule.step and not rule.group
    ]
    together = [rule for rule in rules.values() if rule.step and rule.group]
    if together:
        found.append(Reason("unsaid", "; ".join(rule.words for rule in together), -1))
    found += [Reason(fault.code, fault.words, -1) for fault in faults if fault.at_most == "strong"]
    return tuple(found)


def _worth_knowing(rules: dict[str, Rule]) -> tuple[Reason, ...]:
    return tuple(
        Reason(key, rule.words)
        for key, rule in rules.items()
        if rule.words and not rule.step and key not in STARTS
    )


def _against(rules: dict[str, Rule], faults: Sequence[Fault], unsaid: set[str]) -> tuple[str, ...]:
    """Return what was found or said first, then what nobody said; each of them once."""
    ordered = [*STARTS, *(key for key in rules if key not in STARTS)]
    said = [fault.against for fault in faults]
    said += [rules[key].against for key in ordered if key not in unsaid]
    said += [rules[key].against for key in ordered if key in unsaid]
    return tuple(dict.fromkeys(words for words in said if words))


def side_by_side(numbers: Numbers, graded: Graded) -> str:
    """Return numbers and design in one line, graded apart: neither hides the other."""
    return f"{_NUMBERS[numbers]}, evidence: {graded.words.lower()}."


def best_case_against(
    graded: Graded, undone: Sequence[str] = (), scope: str = ""
) -> tuple[str, ...]:
    """Return the best case against the result, from failed questions, undo numbers and scope.

    Parameters
    ----------
    undone
        What it takes to undo the numbers, a sentence each.
    scope
        What it applies to, where known; the case ends with it.
    """
    said = [*graded.against, *undone]
    if scope:
        said.append(f"Even so it would hold only of this: {scope}")
    if not said:
        return ("Nothing that was asked speaks against it; what was not asked still may.",)
    return tuple(said)


def answers_needed(graded: Graded) -> tuple[Question, ...]:
    """Return the unanswered questions that could move the grade if they were answered."""
    return tuple(
        question
        for question in graded.unanswered
        if RULES[question.key, UNKNOWN].step or question.key in STARTS
    )
