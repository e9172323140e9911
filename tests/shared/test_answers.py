"""Answers to the reviewer's questions: from files, flags and the data; nothing is guessed."""

from __future__ import annotations

import pytest

from weldtrial.shared.answers import (
    Answer,
    as_toml,
    decisive_answered,
    joined,
    read_answer,
    read_answers,
    read_said,
    to_ask,
    unanswered,
    value_of,
)
from weldtrial.shared.problems import Problem
from weldtrial.shared.questions import BY_KEY, FOR_A_STORY, QUESTIONS, UNKNOWN


def test_there_are_eighteen_questions_numbered_in_order() -> None:
    assert [question.number for question in QUESTIONS] == list(range(1, 19))
    assert len({question.key for question in QUESTIONS}) == 18


@pytest.mark.parametrize("key", BY_KEY)
def test_every_allowed_answer_is_read_as_itself(key: str) -> None:
    for allowed in BY_KEY[key].allowed:
        assert read_answer(key, allowed) == Answer(key, allowed)
    assert read_answer(key, "Dont know") == Answer(key, UNKNOWN)


@pytest.mark.parametrize(
    ("said", "value"),
    [(1, "one"), ("2", "two-or-three"), (3, "two-or-three"), ("12", "four-or-more"),
     ("four or more", "four-or-more")],
)  # fmt: skip
def test_set_ups_may_be_given_as_a_number(said: object, value: str) -> None:
    assert read_answer("setups", said) == Answer("setups", value)


@pytest.mark.parametrize("said", [0, -1, True, 2.5, "many"])
def test_no_number_of_set_ups_is_made_up(said: object) -> None:
    assert isinstance(read_answer("setups", said), Problem)


def test_the_story_of_the_porous_spool_is_read_from_flags() -> None:
    answers, problems = read_said(
        ["controls=remembered", "sessions=earlier", "settings=settings differed", "setups=one",
         "reader=yes", "decided=no"]
    )  # fmt: skip
    assert problems == ()
    assert {key: one.value for key, one in answers.items()} == {
        "controls": "remembered",
        "sessions": "no",
        "settings": "differed",
        "setups": "one",
        "reader": "knew",
        "decided": "afterwards",
    }
    assert decisive_answered(answers) == 4


def test_all_problems_of_flags_come_at_once() -> None:
    answers, problems = read_said(["contrls=remembered", "sessions=perhaps", "order", "gauge=yes",
                                   "gauge=no"])  # fmt: skip
    assert answers == {"gauge": Answer("gauge", "yes")}
    words = "\n".join(map(str, problems))
    assert len(problems) == 4
    assert "Did you mean 'controls'?" in words
    assert "Answer one of: yes, no, don't know." in words
    assert "KEY=ANSWER" in words
    assert "twice" in words


def test_all_problems_of_a_file_come_at_once() -> None:
    data = b'[answers]\ncontrols = "rememberd"\nsetups = 1\nsame = true\nspool = "yes"\n'
    answers, problems = read_answers(data, "answers.toml")
    assert {key: one.value for key, one in answers.items()} == {"setups": "one", "same": "yes"}
    assert all(one.source == "file" for one in answers.values())
    assert [problem.column for problem in problems] == ["controls", "spool"]
    assert "Did you mean 'remembered'?" in problems[0].words
    assert all(problem.file == "answers.toml" for problem in problems)


def test_a_file_that_is_no_toml_is_named() -> None:
    answers, problems = read_answers(b'controls = "remembered', "answers.toml")
    assert answers == {}
    assert "cannot be read as TOML" in str(problems[0])


def test_a_file_that_is_written_can_be_read() -> None:
    given = [Answer("controls", "earlier"), Answer("setups", "two-or-three")]
    answers, problems = read_answers(as_toml(given).encode(), "answers.toml")
    assert problems == ()
    assert len(answers) == 19
    assert value_of(answers, "controls") == "earlier"
    assert sum(one.known for one in answers.values()) == 2


def test_what_the_data_show_wins_and_is_said() -> None:
    seen = {
        "sessions": Answer("sessions", "no", "data", "every day holds one side only"),
        "raw": Answer("raw", "yes", "data", "they are these"),
    }
    said = {"sessions": Answer("sessions", "yes"), "order": Answer("order", "drawn")}
    answers, words = joined(seen, said)
    assert value_of(answers, "sessions") == "no"
    assert value_of(answers, "order") == "drawn"
    assert words[0].startswith("2 sessions: you said both sides in every session; the data shows")
    assert "Please check" in words[0]
    assert words[1] == "18 raw: raw numbers are to be had (they are these)."


def test_only_what_is_open_is_asked() -> None:
    answers = {"sessions": Answer("sessions", UNKNOWN), "gauge": Answer("gauge", "yes")}
    assert "sessions" not in [one.key for one in to_ask(answers)]
    assert [one.key for one in to_ask({}, story=True)] == list(FOR_A_STORY)
    assert [one.key for one in to_ask(answers, story=True)] == [
        key for key in FOR_A_STORY if key != "sessions"
    ]
    assert len(unanswered(answers)) == 17
