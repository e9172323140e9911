"""The letter to an author as the body of a page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldtrial.cli.pages import environment

if TYPE_CHECKING:
    from weldtrial.analysis.review_letter import Letter


def letter_html(letter: Letter) -> str:
    """Return a letter as HTML, to be put into a page or sent as the body of a message."""
    return environment().get_template("review_letter.html.j2").render(letter=letter)
