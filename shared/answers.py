"""Answers to the reviewer's questions: from a TOML file, from ``--say``, from the data themselves.

Nothing here asks: `to_ask` lists what is left for whoever does.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from weldtrial.shared.problems import Problem, nearest
from weldtrial.shared.questions import (
    BY_KEY,
    DECISIVE,
    FOR_A_STORY,
    QUESTIONS,
    UNKNOWN,
    Question,
)

Source = Literal["said", "file", "data", "folder"]
KEY_LINE = ", ".join(BY_KEY)
_UNKNOWN_WORDS = frozenset(
    ["", "?", "unknown", "don't know", "dont know", "don't-know", "dont-know", "not known", "-"]
)
_YES = frozenset(["y", "yes", "true"])
_NO = frozenset(["n", "no", "false"])
_OTHER_WORDS: Mapping[tuple[str, str], str] = {
    ("order", "yes"): "drawn",
    ("order", "shuffled"): "drawn",
    ("controls", "memory"): "remembered",
    ("controls", "written"): "recorded",
    ("controls", "written-down"): "recorded",
    ("sessions", "same"): "yes",
    ("sessions", "earlier"): "no",
    ("sessions", "different"): "no",
    ("setups", "two"): "two-or-three",
    ("setups", "three"): "two-or-three",
    ("setups", "four"): "four-or-more",
    ("units", "coupons"): "welds",
    ("units", "re-measures"): "readings",
    ("settings", "settings-differed"): "differed",
    ("settings", "own"): "differed",
    ("settings", "yes"): "same",
    ("settings", "no"): "differed",
    ("same", "differed"): "no",
    ("bead", "no"): "not-measured",
    ("reader", "yes"): "knew",
    ("reader", "no"): "blind",
    ("left-out", "no"): "none",
    ("decided", "yes"): "before",
    ("decided", "no"): "afterwards",
}


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer.

    Attributes
    ----------
    value
        One of the question's `allowed`.
    source
        Who gave it: a flag, a file, or what the data or the folder show by themselves.
    because
        What it was seen from, where nobody said it; else empty.
    """

    key: str
    value: str
    source: Source = "said"
    because: str = ""

    @property
    def question(self) -> Question:
        """The question that it answers."""
        return BY_KEY[self.key]

    @property
    def known(self) -> bool:
        """Whether it is more than "don't know"."""
        return self.value != UNKNOWN


Answers = Mapping[str, Answer]
"""Answers by the key of their question; a question that is missing was not answered."""


def value_of(answers: Answers, key: str) -> str:
    """Return the answer to a question, `UNKNOWN` where there is none."""
    return answers[key].value if key in answers else UNKNOWN


def read_answer(key: str, said: object, source: Source = "said") -> Answer | Problem:
    """Return the answer that somebody gave, or what is wrong with it.

    Parameters
    ----------
    said
        A text, a truth value, or a number (of set-ups).
    """
    question = BY_KEY.get(key)
    if question is None:
        close = nearest(key, BY_KEY)
        hint = f"Did you mean '{close}'?" if close else f"Questions are: {KEY_LINE}."
        return Problem(f"'{key}' is not one of the questions. {hint}", column=key)
    value = _value(question, said)
    if value is None:
        close = nearest(str(said), question.allowed)
        hint = f" Did you mean '{close}'?" if close else ""
        words = (
            f"'{said}' does not answer \"{question.words}\"{hint} "
            f"Answer one of: {', '.join(question.allowed)}."
        )
        return Problem(words, column=key, value=str(said))
    return Answer(key, value, source)


def _value(question: Question, said: object) -> str | None:
    if question.key == "setups" and (count := _whole(said)) is not None:
        return "one" if count == 1 else "two-or-three" if count < 4 else "four-or-more"
    if isinstance(said, bool):
        said = "yes" if said else "no"
    if not isinstance(said, str):
        return None
    plain = said.strip().casefold().replace("\u2019", "'").replace("_", "-")
    if plain in _UNKNOWN_WORDS:
        return UNKNOWN
    word = "yes" if plain in _YES else "no" if plain in _NO else "-".join(plain.split())
    for allowed in question.allowed:
        if word in (allowed, allowed.replace("-", "")):
            return allowed
    return _OTHER_WORDS.get((question.key, word))


def _whole(said: object) -> int | None:
    if isinstance(said, bool):
        return None
    try:
        count = int(str(said).strip())
    except ValueError:
        return None
    return count if 1 <= count <= 10_000 else None


def read_answers(data: bytes, name: str) -> tuple[dict[str, Answer], tuple[Problem, ...]]:
    """Return the answers of a TOML file, ``controls = "remembered"`` a line, and every problem.

    Parameters
    ----------
    data
        Its bytes.  The keys may stand under ``[answers]`` or by themselves.
    name
        File name for messages.
    """
    try:
        parsed = tomllib.loads(data.decode("utf-8-sig"))
    except ValueError as error:
        return {}, (Problem(f"cannot be read as TOML: {error}.", file=name),)
    inner = parsed.pop("answers", {})
    if not isinstance(inner, dict):
        return {}, (Problem("[answers] must be a section.", file=name),)
    found: dict[str, Answer] = {}
    problems = []
    for key, said in (*parsed.items(), *inner.items()):
        one = read_answer(key, said, "file")
        if isinstance(one, Problem):
            problems.append(Problem(one.words, file=name, column=one.column, value=one.value))
        elif key in found and found[key] != one:
            problems.append(Problem("is answered twice. Keep one.", file=name, column=key))
        else:
            found[key] = one
    return found, tuple(problems)


def read_said(said: Sequence[str]) -> tuple[dict[str, Answer], tuple[Problem, ...]]:
    """Return the answers of ``--say KEY=ANSWER`` flags, and every problem."""
    found: dict[str, Answer] = {}
    problems = []
    for text in said:
        key, sign, value = text.partition("=")
        key = key.strip().casefold().replace("_", "-")
        if not sign:
            words = f"--say {text} is not of the form  KEY=ANSWER, such as  controls=remembered."
            problems.append(Problem(words, column="--say", value=text))
            continue
        one = read_answer(key, value)
        if isinstance(one, Problem):
            problems.append(one)
        elif key in found:
            words = f"--say answers '{key}' twice. Keep one."
            problems.append(Problem(words, column="--say", value=text))
        else:
            found[key] = one
    return found, tuple(problems)


def joined(seen: Answers, said: Answers) -> tuple[dict[str, Answer], tuple[str, ...]]:
    """Put what the data or the folder show together with what was said.

    What can be seen wins: nothing is trusted that can be worked out.

    Returns
    -------
    tuple
        The answers, and a sentence for each that was filled in or does not fit what was said.
    """
    words = []
    for key, answer in seen.items():
        question, other = answer.question, said.get(key)
        shown = question.meaning(answer.value)
        if other is None or other.value in (UNKNOWN, answer.value):
            words.append(f"{question.number} {key}: {shown} ({answer.because}).")
        else:
            words.append(
                f"{question.number} {key}: you said {question.meaning(other.value)}; the "
                f"{answer.source} shows: {shown} ({answer.because}). Please check; it is counted "
                "as shown."
            )
    return {**said, **seen}, tuple(words)


def to_ask(answers: Answers, *, story: bool = False) -> tuple[Question, ...]:
    """Return the questions still to be asked of the user, in order.

    Parameters
    ----------
    story
        True to ask only the six that change the answer of a story most.
    """
    left = [question for question in QUESTIONS if question.key not in answers]
    if story:
        wanted = {key: place for place, key in enumerate(FOR_A_STORY)}
        left = [question for question in left if question.key in wanted]
        left.sort(key=lambda question: wanted[question.key])
    return tuple(left)


def unanswered(answers: Answers) -> tuple[Question, ...]:
    """Return the questions of the eighteen that nobody could answer, in order."""
    return tuple(one for one in QUESTIONS if value_of(answers, one.key) == UNKNOWN)


def decisive_answered(answers: Answers) -> int:
    """Return how many of questions 1 to 8 are answered."""
    return sum(value_of(answers, one.key) != UNKNOWN for one in DECISIVE)


def as_toml(answers: Iterable[Answer]) -> str:
    """Return a file of answers that `read_answers` understands, questions as comments."""
    given = {answer.key: answer.value for answer in answers}
    lines = ["# Answers for  weldtrial review --answers FILE", ""]
    for question in (*QUESTIONS, BY_KEY["repeated"]):
        lines += [f"# {question.number} {question.words}", f"#   {', '.join(question.allowed)}"]
        lines += [f'{question.key} = "{given.get(question.key, UNKNOWN)}"', ""]
    return "\n".join(lines)
