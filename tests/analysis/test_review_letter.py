"""The letter to an author: courteous, one page, fair to whoever did the work."""

from __future__ import annotations

import re

from weldtrial.analysis.review_letter import MOST, to_the_author, write_letter
from weldtrial.cli.review_letter import letter_html
from weldtrial.shared.questions import QUESTIONS

UNKIND = ("fake", "wrong", "error", "suspicious", "fraud", "cheat", "impossible", "failed to",
          "you did not", "careless", "accus")  # fmt: skip


def test_a_letter_with_everything_open_fits_one_page_and_accuses_nobody() -> None:
    letter = write_letter(
        QUESTIONS,
        claim="breaks at 0.97 of the load",
        understood=("Four coupons of each gas, 68.2 and 70.3 kN on average.",),
        noticed=("A mean of 84.25 cannot come from 3 readings in steps of 0.5; which is meant?",),
    )
    lines = letter.text.splitlines()
    assert len(lines) <= 60
    assert max(map(len, lines)) <= 88
    assert len(letter.questions) == MOST
    text = letter.text.casefold()
    assert not [word for word in UNKIND if word in text]
    assert text.index("thank you") < text.index("1. in which order")
    assert "None of these questions is a doubt about you" in letter.text
    assert letter.text.rstrip().endswith("With thanks and kind regards")


def test_every_question_to_an_author_is_a_question_and_none_blames() -> None:
    for question in QUESTIONS:
        assert question.to_author.endswith("?")
        assert not [word for word in UNKIND if word in question.to_author.casefold()]


def test_a_letter_without_questions_asks_nothing() -> None:
    letter = write_letter(())
    assert letter.questions == ()
    assert "I need" not in letter.text
    assert "Thank you for sharing the coupons you welded." in letter.text


def test_as_html_everything_is_escaped_and_whole() -> None:
    letter = write_letter(QUESTIONS[:2], claim="<b>5 & more</b>", noticed=("3 < 4?",))
    page = letter_html(letter)
    assert "&lt;b&gt;5 &amp; more&lt;/b&gt;" in page
    assert "3 &lt; 4?" in page
    assert len(re.findall("<li>", page)) == 3


def test_what_a_reviewer_is_to_ask_is_put_to_the_author_as_a_question() -> None:
    for said, put in (
        ("4 are missing: A1. Please ask what became of them.",
         "4 are missing: A1. Could you say what became of them?"),
        ("Please ask for the rows in the order they were welded.",
         "Could you send the rows in the order they were welded?"),
        ("Please ask whether they reached it; they then count as at least that.",
         "Could you say whether they reached it; they then count as at least that."),
        ("Please check n.", "Please check n."),
    ):  # fmt: skip
        assert to_the_author(said) == put
