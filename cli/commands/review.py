"""``weldtrial review``: what somebody's evidence can bear."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Any

import click

from weldtrial.cli.options import Common, common_options
from weldtrial.cli.review_asked import ask_of_line
from weldtrial.cli.review_options import review_options, take_wishes
from weldtrial.cli.review_talk import ask_questions
from weldtrial.cli.reviewed import Reviewed, review
from weldtrial.shared.problems import WeldtrialError, WrongUsage

TEXTS = (".txt", ".md", ".html")


@click.command(short_help="Weigh what somebody's evidence can bear.")
@click.argument("thing_reviewed", metavar="[FILE|FOLDER|ZIP]", required=False,
                type=click.Path(path_type=Path))  # fmt: skip
@review_options()
@click.option("--letter", is_flag=False, flag_value="-", default=None, metavar="[FILE]",
              help="Print the open questions as a letter, or write it (.txt, .html).")  # fmt: skip
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE.html",
              help="Write the review as a page that prints on one sheet.")  # fmt: skip
@common_options
def command(
    common: Common,
    thing_reviewed: Path | None,
    letter: str | None,
    out: Path | None,
    **said: Any,
) -> None:
    """Weigh a claim: counts, averages, studies, a file of figures, or a trial folder.

    Numbers and design are graded apart.  What numbers cannot say is asked, or told with --say and
    --answers; what nobody answers counts against the claim.  Writes nothing unless asked to.
    """
    wishes = take_wishes(said, thing_reviewed)
    to_letter, to_page = _targets(letter, out)
    asked = ask_of_line(wishes)
    console = common.console
    console.problems(asked.warnings)
    story = asked.kind == "counts"
    found = review(asked, lambda known: ask_questions(console, known, story=story))
    if to_page is not None:
        from weldtrial.cli.review_page import review_page

        _write(to_page, review_page(found))
    if to_letter is not None:
        from weldtrial.cli.review_grade_words import letter_of, letter_page

        page = to_letter.suffix.lower() == ".html"
        _write(to_letter, letter_page(found) if page else letter_of(found))
    if common.json:
        from weldtrial.cli.review_json import review_json

        console.json(review_json(found))
        return
    if letter == "-":
        from weldtrial.cli.review_grade_words import letter_of

        console.line(letter_of(found).rstrip("\n"))
        return
    from weldtrial.cli.review_screen import show

    show(console, found)
    console.line()
    for path in (to_page, to_letter):
        if path is not None:
            console.line(f"Wrote {path}")
    _next(common, found)


def _next(common: Common, found: Reviewed) -> None:
    if found.judgement.test is not None:
        common.console.next(f"weldtrial new NAME --from-review {_again(found)}")
    elif found.graded.unanswered:
        common.console.next("weldtrial review … --letter", "the questions to whoever did the work")


def _again(found: Reviewed) -> str:
    """Return the evidence as it was said, for the command that starts its honest test."""
    wishes = found.asked.wishes
    said = [("--counts", wishes.counts), ("--summary", wishes.summary), ("--claim", wishes.claim),
            ("--margin", wishes.margin), ("--what", wishes.what), ("--thing", wishes.thing),
            ("--unit", wishes.unit)]  # fmt: skip
    parts = [f"{flag} {shlex.quote(text)}" for flag, text in said if text]
    if wishes.place is not None:
        return "REVIEW.json   (what this command prints with --json)"
    parts += [f"--study {shlex.quote(text)}" for text in wishes.study]
    return " ".join(parts)


def _targets(letter: str | None, out: Path | None) -> tuple[Path | None, Path | None]:
    """Return where letter and page go, nothing that somebody else wrote being in the way."""
    wrong = []
    if out is not None and out.suffix.lower() not in (".html", ".htm"):
        wrong.append(f"--out {out}: the page is HTML. Name it  {out.stem or 'review'}.html")
    to_letter = None if letter in (None, "-") else Path(str(letter))
    if to_letter is not None and to_letter.suffix.lower() not in TEXTS:
        wrong.append(
            f"--letter {to_letter}: a letter is written as .txt or .html. To print the letter of a "
            f"file, name the file first:  weldtrial review {to_letter} --letter"
        )
    if to_letter is not None and to_letter == out:
        wrong.append(f"--letter and --out both name {out}. Give each its own.")
    if wrong:
        raise WrongUsage(" ".join(wrong))
    return to_letter, out


def _write(path: Path, text: str) -> None:
    from weldtrial.shared.folder import atomic_write

    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        atomic_write(path, text)
    except OSError as error:
        raise WeldtrialError(
            f"{path} could not be written ({error.strerror or error}).",
            hint="See whether the folder may be written to, or name another file.",
        ) from error
