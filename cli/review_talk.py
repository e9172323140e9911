"""The questionnaire of a review: what numbers cannot say, asked of whoever sits there."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from weldtrial.shared.answers import Answer, Answers, read_answer, to_ask
from weldtrial.shared.problems import Problem

if TYPE_CHECKING:
    from weldtrial.cli.console import Console
    from weldtrial.shared.questions import Question

STOP = "stop"


def ask_questions(console: Console, known: Answers, *, story: bool) -> Mapping[str, Answer]:
    """Ask what is left, where somebody may be asked; what is not answered is "don't know".

    Parameters
    ----------
    story
        True for counts: only the six that change the answer of a story most.
    """
    left = to_ask(known, story=story)
    if not left or not console.may_ask:
        return {}
    from weldtrial.analysis.undo_claim import NUMBERS

    many = NUMBERS[len(left)].capitalize() if len(left) < len(NUMBERS) else str(len(left))
    be = "question changes" if len(left) == 1 else "questions change"
    console.line(f"{many} {be} the answer a lot. Enter = don't know (counted against the claim); "
                 f"{STOP} = no more.")  # fmt: skip
    found: dict[str, Answer] = {}
    for number, question in enumerate(left, 1):
        answer = _ask(console, number, question)
        if answer is None:
            break
        found[question.key] = answer
    console.line()
    return found


def _ask(console: Console, number: int, question: Question) -> Answer | None:
    choices = ", ".join(question.allowed[:-1])
    while True:
        said = console.ask(
            f"{number:3d} {question.words}\n      {choices}:", default="",
            flag=f"--say {question.key}=…",
        )  # fmt: skip
        if said.strip().casefold() == STOP:
            return None
        answer = read_answer(question.key, said)
        if not isinstance(answer, Problem):
            return answer
        console.line(f"      {answer.words}")
