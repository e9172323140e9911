"""The folder of a trial that follows another: the earlier one copied whole, and a trial file."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from weldtrial.cli.new_folder import free_folder, make_folder
from weldtrial.shared.folder import TRIAL_FILE, Folder, atomic_write
from weldtrial.shared.follows import Adds
from weldtrial.shared.problems import NotEnough, ProblemsFound, WrongUsage
from weldtrial.shared.rounding import plain
from weldtrial.shared.sealfile import SealFile, read_seal
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile import load_trial, read_trial
from weldtrial.shared.trialfile.reader import parse_trial

EARLIER = "earlier"
_LEFT_OUT = ("design", "looks", "follows")
"""Sections of the earlier file that the next one words anew."""
_OUTPUT = shutil.ignore_patterns("report.html", "sheets", ".*.tmp", ".lock")


@dataclass(frozen=True, slots=True)
class Added:
    """What is added.

    Attributes
    ----------
    adds
        The way; see `weldtrial.shared.follows.Follows`.
    design
        Lines of ``[design]`` beyond its kind, key by key, as they are written.
    follows
        Lines of ``[follows]`` beyond folder, seal and way.
    coupons
        New coupons, without spares and warm-ups; None where the way itself says.
    words
        What comes behind the title.
    """

    adds: Adds
    design: Mapping[str, str]
    follows: Mapping[str, str]
    coupons: int | None
    words: str


def sealed_trial(folder: Path) -> tuple[Trial, SealFile]:
    """Return a trial that can be followed, and its seal.

    Raises
    ------
    NotEnough
        When it was never sealed, so that nothing was welded by a plan.
    WrongUsage
        When it is a gauge study or was adopted: it has no plan that could be added to.
    """
    trial = load_trial(Folder(folder).trial_file)
    if trial.gauge is not None or trial.adopted is not None:
        what = "a gauge study" if trial.gauge is not None else "data that were adopted"
        raise WrongUsage(
            f"weldtrial next: this is {what}, without a sealed plan to add to.",
            hint="Plan a trial of its own:  weldtrial new NAME",
        )
    sealed = read_seal(folder)
    if sealed is None:
        raise NotEnough(
            "Nothing is sealed here yet, so there is nothing to add to. Change trial.toml as you "
            "like and  weldtrial seal .",
        )
    return trial, sealed


def write_next(name: str, base: Path | None, source: Path, sealed: SealFile, added: Added) -> Path:
    """Write the folder of the trial that follows, and return it.

    Raises
    ------
    WrongUsage
        When the folder cannot be made or is not empty.
    ProblemsFound
        When the new trial file would have problems; nothing is left behind.
    """
    folder = free_folder(name, base)
    if folder.resolve().is_relative_to(source.resolve()):
        raise WrongUsage(
            f"'{name}' would lie inside the trial it follows. Name a folder beside it, such as  "
            f"../{name}"
        )
    text = next_text(Folder(source).trial_file.read_text(encoding="utf-8-sig"), sealed, added)
    _, problems = parse_trial(text.encode())
    wrong = [one for one in problems if not one.warning]
    if wrong:
        raise ProblemsFound(wrong, hint="Nothing was written.")
    made = not folder.exists()
    make_folder(folder)
    try:
        shutil.copytree(source, folder / EARLIER, ignore=_OUTPUT)
        atomic_write(folder / TRIAL_FILE, text)
        trial, problems = read_trial(folder / TRIAL_FILE)
        if trial is None:
            raise ProblemsFound(problems, hint="Nothing was written.")
    except ProblemsFound:
        shutil.rmtree(folder / EARLIER, ignore_errors=True)
        (folder / TRIAL_FILE).unlink(missing_ok=True)
        if made:
            folder.rmdir()
        raise
    return folder


def next_text(text: str, sealed: SealFile, added: Added) -> str:
    """Return the trial file of the trial that follows: the earlier one with other parts.

    Its remarks stay, and ``[goal]``: what best means has not changed, and the model is written out
    in the new ``[design]``.  ``[design]``, ``[looks]`` and an earlier ``[follows]`` are left out,
    the budget keeps its prices and times.
    """
    kept = "".join(without_sections(text.splitlines(keepends=True), _LEFT_OUT))
    kept = re.sub(
        r'^(title\s*=\s*)"((?:[^"\\]|\\.)*)"',
        lambda found: f'{found[1]}"{found[2]} – {added.words}"',
        kept,
        count=1,
        flags=re.MULTILINE,
    )
    spare = [int(n) for n in re.findall(r"^(?:spare|warm_up)\s*=\s*(\d+)", kept, re.MULTILINE)]
    kept = re.sub(r"^coupons\s*=.*\n", "", kept, flags=re.MULTILINE)
    if added.coupons is not None:
        line = f"coupons = {added.coupons + sum(spare)}\n"
        if re.search(r"^\[budget\]", kept, re.MULTILINE):
            kept = re.sub(r"^(\[budget\].*\n)", rf"\g<1>{line}", kept, count=1, flags=re.MULTILINE)
        else:
            kept += f"\n[budget]\n{line}"
    follows = {
        "folder": json.dumps(EARLIER),
        "seal": json.dumps(sealed.seal),
        "adds": json.dumps(added.adds),
        **added.follows,
    }
    return (
        f"{kept.rstrip()}\n\n"
        "# What this trial adds to the one before, whose coupons stay.\n"
        f"[design]\n{_lines({'kind': json.dumps('added'), **added.design})}\n"
        f"[follows]\n{_lines(follows)}"
    )


def _lines(pairs: Mapping[str, str]) -> str:
    return "".join(f"{key} = {value}\n" for key, value in pairs.items())


def without_sections(lines: Sequence[str], names: Iterable[str]) -> list[str]:
    """Return the lines of a TOML file without some of its sections and their own remarks."""
    heads = {f"[{name}]" for name in names}
    kept: list[str] = []
    skipping = False
    for line in lines:
        bare = line.split("#")[0].strip()
        if bare.startswith("[") and bare.endswith("]") and "=" not in bare:
            skipping = bare in heads
        if not skipping:
            kept.append(line)
    return kept


def setting_text(trial: Trial, at: Mapping[str, str | float]) -> str:
    """Return a setting as it is written in a trial file: ``{ gas = "co2", voltage = 28.5 }``."""
    parts = [
        f"{factor.name} = {json.dumps(value) if isinstance(value, str) else plain(value)}"
        for factor in trial.varied
        if (value := at.get(factor.name)) is not None
    ]
    return f"{{ {', '.join(parts)} }}"
