"""A new trial folder: what goes into it, and never over anything that is there."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from weldtrial.cli.examples_path import example_folders
from weldtrial.shared.folder import Folder, atomic_write
from weldtrial.shared.names import DEVICES
from weldtrial.shared.problems import ProblemsFound, WrongUsage, nearest
from weldtrial.shared.sealfile import read_seal
from weldtrial.shared.trialfile.reader import parse_trial

TRIAL_FILE = "trial.toml"
PURPOSES = ("compare", "settings", "screening", "pilot")
GAUGE = "gauge"
"""The purpose of a study of the gauge, which is no trial: it has no factors and no seal."""

_LEAVE_BEHIND = shutil.ignore_patterns(".*", "__pycache__", "*.pyc", "__init__.py")


@dataclass(frozen=True, slots=True)
class Answers:
    """What the interview learned; an empty answer keeps the draft's example."""

    title: str = ""
    question: str = ""
    margin: str = ""


def free_folder(name: str, base: Path | None) -> Path:
    """Return the folder that `name` stands for.

    Raises
    ------
    WrongUsage
        If it cannot be made, or there is something in it.
    """
    folder = (base or Path()) / name
    last = folder.name
    if not last or last in (".", "..") or re.search(r'[\x00-\x1f<>:"|?*]', last):
        raise WrongUsage(f"'{name}' cannot name a folder. Use letters, digits, - and _.")
    if last.partition(".")[0].strip().lower() in DEVICES or last.endswith((".", " ")):
        raise WrongUsage(f"'{name}' cannot name a folder on Windows. Choose another name.")
    try:
        taken = folder.is_dir() and any(folder.iterdir())
        if folder.exists() and not folder.is_dir():
            raise WrongUsage(f"'{name}' is a file. Choose another name.")
    except OSError as error:
        reason = error.strerror or "it cannot be opened"
        raise WrongUsage(f"'{name}' cannot be used: {reason}.") from None
    if taken:
        raise WrongUsage(
            f"'{name}' is there already and not empty; nothing in it was touched. Choose another "
            "name."
        )
    return folder


def draft(purpose: str) -> str:
    """Return the commented draft of a trial file for one purpose."""
    home = resources.files("weldtrial.cli").joinpath("drafts", f"{purpose}.toml")
    return home.read_text(encoding="utf-8")


def filled_in(text: str, answers: Answers) -> str:
    """Return a draft with the answers in the place of its examples.

    Raises
    ------
    ProblemsFound
        If an answer cannot stand there, such as a margin that is no number.
    """
    text = _replaced(text, "title", _quoted(answers.title))
    text = _replaced(text, "question", _quoted(answers.question))
    margin = answers.margin.strip()
    if margin:
        plain = re.fullmatch(r"\d+(\.\d+)?", margin)
        text = _replaced(text, "margin", margin if plain else _quoted(margin))
        text = _replaced(text, "margin_why", _quoted("say here why that much matters"))
    trial, problems = parse_trial(text.encode())
    if trial is None:
        raise ProblemsFound(problems)
    return text


def _quoted(answer: str) -> str:
    clean = "".join(sign if sign.isprintable() else " " for sign in answer).strip()
    return json.dumps(clean, ensure_ascii=False) if clean else ""


def _replaced(text: str, key: str, value: str) -> str:
    """Replace the first value of `key`, keeping the spaces before it."""
    if not value:
        return text
    line = re.compile(rf'^({key} *= *)("[^"\n]*"|[^#\n]*?)( *(?:#.*)?)$', re.MULTILINE)
    return line.sub(lambda found: f"{found[1]}{value}{found[3]}", text, count=1)


def write_trial(folder: Path, text: str) -> None:
    """Make the folder and put a trial file in it.

    Raises
    ------
    WrongUsage
        If the folder cannot be made.
    """
    make_folder(folder)
    atomic_write(folder / TRIAL_FILE, text)


def make_folder(folder: Path) -> None:
    """Make a folder and those above it.

    Raises
    ------
    WrongUsage
        If it cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = (error.strerror or "no reason given").lower()
        raise WrongUsage(f"The folder '{folder}' cannot be made: {reason}.") from None


def copy_example(name: str, folder: Path, *, unsealed: bool = False) -> None:
    """Copy the worked example `name` into `folder`.

    With `unsealed`, seal, plan and journal are left behind and what was welded and read goes
    into ``bench/``, as somebody would bring it back from the bench: sealed again with the same
    dice, the stamps are the same.

    Raises
    ------
    WrongUsage
        If there is no such example; it lists those there are.
    """
    examples = example_folders()
    if name not in examples:
        close = nearest(name, examples)
        did_you = f" Did you mean  --example {close} ?" if close else ""
        known = ", ".join(examples) or "none in this installation"
        raise WrongUsage(f"No example '{name}'.{did_you}", hint=f"Examples: {known}")
    make_folder(folder)
    shutil.copytree(examples[name], folder, dirs_exist_ok=True, ignore=_LEAVE_BEHIND)
    if unsealed:
        _unseal(Folder(folder))


def example_dice(name: str) -> tuple[int, ...]:
    """Return the dice that the worked example `name` was sealed with."""
    sealed = read_seal(example_folders()[name])
    return sealed.dice if sealed is not None else ()


def _unseal(files: Folder) -> None:
    bench = files.path / "bench"
    bench.mkdir()
    for path in (files.weld_log, *files.readings_folder.glob("*.csv")):
        shutil.move(path, bench / path.name)
    files.readings_folder.rmdir()
    for path in (files.seal, files.plan, files.journal, files.corrections):
        path.unlink(missing_ok=True)


def question_of(other: str, base: Path | None) -> str:
    """Return the text of another trial's file, whether or not it has problems.

    Raises
    ------
    WrongUsage
        If there is no trial file.
    """
    place = (base or Path()) / other
    path = place if place.is_file() else place / TRIAL_FILE
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise WrongUsage(f"There is no {TRIAL_FILE} in '{other}'. Name a trial's folder.") from None
    except (OSError, UnicodeDecodeError):
        raise WrongUsage(f"'{path}' cannot be read as a trial file.") from None
