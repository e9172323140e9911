"""``weldtrial new``: a folder with a trial file to edit."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from weldtrial.cli.console import Console
from weldtrial.cli.new_folder import (
    GAUGE,
    PURPOSES,
    TRIAL_FILE,
    Answers,
    copy_example,
    draft,
    example_dice,
    filled_in,
    free_folder,
    question_of,
    write_trial,
)
from weldtrial.cli.options import Common, common_options
from weldtrial.cli.review_options import Wishes, review_options, take_wishes
from weldtrial.shared.problems import ProblemsFound, WrongUsage
from weldtrial.shared.trialfile.reader import parse_trial

_ABOUT = {
    "compare": "is one gas (wire, setting) no worse than another?",
    "settings": "what do several settings do?",
    "screening": "which of many settings matter at all?",
    "pilot": "how large is the scatter? (no verdict)",
}


@dataclass(frozen=True, slots=True)
class _Made:
    """What was made, for the screen and for JSON."""

    source: str
    lines: tuple[str, ...]


@click.command(short_help="Start a trial: a folder with a commented trial.toml.")
@click.argument("name")
@click.option(
    "--for",
    "purpose",
    type=click.Choice((*PURPOSES, GAUGE)),
    help="Draft a trial file for this purpose.",
)
@click.option(
    "--example", metavar="EXAMPLE", help="Copy a worked example, sealed, welded and read."
)
@click.option(
    "--unsealed", is_flag=True, help="With --example: not sealed yet, results apart in bench/."
)
@click.option("--from", "other", metavar="FOLDER", help="Copy another trial's question only.")
@click.option(
    "--from-review",
    is_flag=False,
    flag_value="",
    metavar="[REVIEW.json]",
    help="The honest test of a review: saved by  review --json, or review's own options.",
)
@review_options(hidden=True)
@common_options
def command(
    common: Common,
    name: str,
    purpose: str | None,
    example: str | None,
    unsealed: bool,
    other: str | None,
    from_review: str | None,
    **said: Any,
) -> None:
    """Make the folder NAME with a trial file in it, drafted or copied.  Overwrites nothing.

    The draft is an invented example with remarks: edit every value, then plan.
    """
    if (
        sum((purpose is not None, example is not None, other is not None, from_review is not None))
        > 1
    ):
        raise WrongUsage(
            "Choose one of  --for, --example, --from  and  --from-review:  each fills the folder."
        )
    wishes = take_wishes(said, None)
    if from_review is None and wishes != Wishes():
        raise WrongUsage("Options that say what is reviewed go with  --from-review.")
    if unsealed and example is None:
        raise WrongUsage("--unsealed goes with --example.")
    folder = free_folder(name, common.folder)
    if from_review is not None:
        made = _from_review(from_review, wishes, folder)
    elif example is not None:
        made = _from_example(example, folder, unsealed=unsealed)
    elif other is not None:
        made = _from_other(common, other, folder)
    else:
        made = _from_draft(common.console, purpose, folder)
    _say(common, folder, made)


def _from_example(example: str, folder: Path, *, unsealed: bool) -> _Made:
    copy_example(example, folder, unsealed=unsealed)
    about = f"Copied the worked example {example}: an invented shop, simulated readings."
    dice = ",".join(str(number) for number in example_dice(example))
    if unsealed:
        rest = (
            f"Seal it with  --dice {dice}  and the stamps are those of bench/: then bring in what "
            "was welded and read with  weldtrial record weld_log --from bench/weld_log.csv  and "
            "so on."
        )
    else:
        rest = (
            "It is sealed, welded and read; the codes are still closed. To seal it yourself, add "
            " --unsealed."
        )
    return _Made(f"example {example}", (about, rest))


def _from_other(common: Common, other: str, folder: Path) -> _Made:
    text = question_of(other, common.folder)
    _, problems = parse_trial(text.encode())
    write_trial(folder, text)
    common.console.problems(problems)
    return _Made(
        f"trial {other}",
        (
            f"Copied the question of {other}; its results stay where they are.",
            "While the question stays word for word the same, throw dice when sealing: without "
            "them the order would be the old one again.",
        ),
    )


def _from_review(saved: str, wishes: Wishes, folder: Path) -> _Made:
    from weldtrial.cli.as_json import plain_value
    from weldtrial.cli.review_asked import ask_of_line
    from weldtrial.cli.review_json import review_json
    from weldtrial.cli.review_trial import read_review, seed_of, trial_text
    from weldtrial.cli.reviewed import review

    if saved and wishes != Wishes():
        raise WrongUsage("Give a saved review or what is to be reviewed, not both.")
    if saved:
        found, source = read_review(Path(saved)), Path(saved).name
    else:
        found = plain_value(review_json(review(ask_of_line(wishes), lambda known: {})))
        source = "the options of the review"
    seed = seed_of(found, source)
    text = trial_text(seed, source)
    trial, problems = parse_trial(text.encode())
    if trial is None:
        raise ProblemsFound(problems)
    write_trial(folder, text)
    return _Made(
        f"review {saved}".strip(),
        (
            f"The cheapest honest test: {seed.words}",
            f"Say in {folder / TRIAL_FILE} what is welded before you seal.",
        ),
    )


def _from_draft(console: Console, purpose: str | None, folder: Path) -> _Made:
    answers = Answers()
    note: tuple[str, ...] = ()
    if purpose is None and console.may_ask:
        purpose, answers = _interview(console)
    elif purpose is None:
        purpose = "compare"
        note = (f"Drafted for  --for compare;  others are {', '.join((*PURPOSES[1:], GAUGE))}.",)
    write_trial(folder, filled_in(draft(purpose), answers))
    edit = (
        f"Its values are an invented example. Edit {folder / TRIAL_FILE} before you plan.",
        "What each setting means:  weldtrial help trial-file",
    )
    return _Made(f"draft {purpose}", (*note, *edit))


def _interview(console: Console) -> tuple[str, Answers]:
    console.line("What do you want to know?")
    for number, (purpose, words) in enumerate(_ABOUT.items(), start=1):
        console.line(f"  {number} {purpose:<10} {words}")
    flag = "--for compare"
    while True:
        answer = console.ask("Which one?", "1", flag=flag).lower()
        if answer in ("1", "2", "3", "4"):
            answer = PURPOSES[int(answer) - 1]
        if answer in PURPOSES:
            break
        console.line(f"Type 1, 2, 3, 4 or one of {', '.join(PURPOSES)}.")
    console.line("Enter keeps the draft's example; everything can be edited later.")
    title = console.ask("What heads the sheets and the report?", "", flag=flag)
    question = console.ask("The question in one sentence?", "", flag=flag)
    margin = ""
    if answer == "compare":
        margin = console.ask(
            "What loss of break load would you not care about (in kN, or like 6 %)?", "", flag=flag
        )
    return answer, Answers(title, question, margin)


def _say(common: Common, folder: Path, made: _Made) -> None:
    next_command = f"weldtrial -C {shlex.quote(str(folder))} plan"
    if common.json:
        common.console.json(
            {
                "folder": str(folder),
                "trial": str(folder / TRIAL_FILE),
                "from": made.source,
                "next": next_command,
            }
        )
        return
    common.console.line(f"Made {folder}{'' if str(folder).endswith('/') else '/'}")
    for line in made.lines:
        common.console.note(line)
    common.console.next(next_command)
