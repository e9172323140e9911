"""Folders adopted from data: what has no sense there, and what a check of one says."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from weldtrial.shared.adopted import is_adopted
from weldtrial.shared.folder import Folder
from weldtrial.shared.problems import ExitCode, Problem, ProblemsFound, WrongUsage

if TYPE_CHECKING:
    from weldtrial.cli.options import Common


def adopted(folder: Path) -> bool:
    """Whether a folder was adopted from data not planned here."""
    path = Folder(folder).trial_file
    return path.is_file() and is_adopted(path.read_bytes())


def refuse_adopted(folder: Path, so: str) -> None:
    """End a command that has no sense for data not planned here.

    Parameters
    ----------
    so
        What follows from it, to end the sentence.

    Raises
    ------
    WrongUsage
        When the folder was adopted.
    """
    if adopted(folder):
        raise WrongUsage(
            f"This folder was adopted from data that were not planned here: {so}.",
            hint="See what the data show with  weldtrial analyse",
        )


def check_adopted(common: Common, folder: Path, *, strict: bool) -> int:
    """Say what an adopted folder holds and what is wrong with it; return the exit code."""
    from weldtrial.shared.adopted import read_adopted_record
    from weldtrial.shared.trialfile import read_trial

    trial, problems = read_trial(Folder(folder).trial_file)
    if trial is None:
        raise ProblemsFound(problems)
    record = read_adopted_record(folder, trial)
    found: list[Problem] = [*problems, *record.problems]
    missing = {
        r.name: sum(c.readings[r.name][0].kind == "lost" for c in record.coupons)
        for r in trial.responses
    }
    mend = [one for one in found if strict or not one.warning]
    code = ExitCode.FIX_FILE if mend else ExitCode.FINE
    if common.json:
        common.console.json(
            {
                "exit": int(code),
                "trial": trial.title,
                "sealed": "none",
                "adopted": True,
                "coupons": len(record.coupons),
                "no_reading": missing,
                "problems": found,
            }
        )
        return int(code)
    console = common.console
    console.line("Seal      none: adopted from data that were not planned here; order unknown")
    console.line(
        f"Rows      {len(record.coupons)} coupons from {trial.adopted and trial.adopted.file}"
    )
    holes = ", ".join(f"{name} {count}" for name, count in missing.items() if count)
    console.line(f"Missing   {holes or 'nothing'}")
    console.problems(found)
    console.next("analyse")
    return int(code)
