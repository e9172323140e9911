"""A courteous letter to whoever did the work, with the questions that are still open.

Written for the person who stood at the bench: it thanks, says what was understood, asks, and says
what the answers are for.  It never says that anything is wrong.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from weldtrial.shared.questions import Question

MOST = 14
"""Questions that go on a page; the rest are raised by the answers."""
LINE = 88


@dataclass(frozen=True, slots=True)
class Letter:
    """A letter in parts, to be printed as text or set as a page.

    Attributes
    ----------
    opening
        Paragraphs before the questions.
    questions
        What is asked, in order.
    noticed
        What was seen in the figures, each a sentence to confirm or put right.
    closing
        Paragraphs after them.
    """

    subject: str
    greeting: str
    opening: tuple[str, ...]
    questions: tuple[str, ...]
    noticed: tuple[str, ...]
    closing: tuple[str, ...]
    farewell: str

    @property
    def text(self) -> str:
        """The letter as plain text, one page of at most 88 columns."""
        parts = [f"Subject: {self.subject}", self.greeting]
        parts += [_wrapped(one) for one in self.opening]
        parts += [_numbered(self.questions)] if self.questions else []
        if self.noticed:
            parts.append(_wrapped("While reading the figures these came up; you will know why:"))
            parts.append("\n".join(_wrapped(one, "  - ", "    ") for one in self.noticed))
        parts += [_wrapped(one) for one in self.closing]
        return "\n\n".join([*parts, self.farewell]) + "\n"


def to_the_author(words: str) -> str:
    """Return a finding as it is put to whoever did the work: a question, not an errand."""
    words = re.sub(r"Please ask for ([^.;]*)\.", r"Could you send \1?", words)
    words = re.sub(r"Please ask ([^.;,]*)([.;,])", _question, words)
    return words


def _question(found: re.Match[str]) -> str:
    end = "?" if found[2] == "." else found[2]
    return f"Could you say {found[1]}{end}"


def write_letter(
    open_questions: Sequence[Question],
    *,
    claim: str = "",
    understood: Sequence[str] = (),
    noticed: Sequence[str] = (),
) -> Letter:
    """Return the letter.

    Parameters
    ----------
    open_questions
        What nobody could answer; the first `MOST` are asked.
    claim
        The claim as it was told, quoted.
    understood
        What the figures were taken to say, a sentence each, so that a mistake of ours can be put
        right.
    noticed
        What to confirm or put right in the figures.
    """
    about = f"your result: “{claim}”" if claim else "the coupons you welded"
    opening = [
        f"Thank you for sharing {about}. Welding coupons, breaking them and writing it all down is "
        "a good deal of work, and few people do it.",
    ]
    if understood:
        opening.append(f"This is how I read it; please put me right: {' '.join(understood)}")
    asked = tuple(question.to_author for question in open_questions[:MOST])
    if asked:
        count = "one thing" if len(asked) == 1 else f"{len(asked)} things"
        opening.append(
            f"To weigh it fairly I need {count} that the figures themselves cannot tell. A word or "
            "two each is enough, and “I do not know” is a good answer too."
        )
    closing = [
        "None of these questions is a doubt about you or your welding. They are asked of every "
        "comparison, ours included, because each of them can move a result by as much as the gas "
        "does.",
        "If it is easier, send the notes or the spreadsheet as they are. Whatever comes out, you "
        "will see what I write before anyone else does.",
    ]
    return Letter(
        subject="A few questions about your coupons",
        greeting="Dear colleague,",
        opening=tuple(opening),
        questions=asked,
        noticed=tuple(noticed),
        closing=tuple(closing),
        farewell="With thanks and kind regards",
    )


def _numbered(questions: Sequence[str]) -> str:
    return "\n".join(
        _wrapped(question, f"{number:2d}. ", "    ") for number, question in enumerate(questions, 1)
    )


def _wrapped(text: str, first: str = "", rest: str = "") -> str:
    import textwrap

    return "\n".join(
        textwrap.wrap(
            text, LINE, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
        )
    )
