"""The main job on the shipped example: ``python -m weldtrial.cli.demo FOLDER``.

A module and not a shell script, so that it runs wherever weldtrial is installed.
"""

from __future__ import annotations

import shlex
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import click

from weldtrial.shared.problems import ExitCode


@dataclass(frozen=True, slots=True)
class Step:
    """One command of the demonstration and what it shows."""

    words: str
    command: str


STEPS = (
    Step(
        "A question becomes a folder (an invented shop, invented data).",
        "weldtrial new drawbar --example drawbar-gas --unsealed",
    ),
    Step("What can the budget tell?", "weldtrial -C drawbar plan"),
    Step(
        "Fix question, order and analysis, before the first result.",
        "weldtrial -C drawbar seal --dice 4,2,6,1,5",
    ),
    Step("Print the sheets for the bench.", "weldtrial -C drawbar sheets"),
    Step(
        "Weld; then type the log in.",
        "weldtrial -C drawbar record weld_log --from drawbar/bench/weld_log.csv",
    ),
    Step(
        "Break ...",
        "weldtrial -C drawbar record break_load --from drawbar/bench/break_load.csv",
    ),
    Step(
        "... cut and etch ...",
        "weldtrial -C drawbar record penetration --from drawbar/bench/penetration.csv",
    ),
    Step(
        "... and bend.",
        "weldtrial -C drawbar record bend_angle --from drawbar/bench/bend_angle.csv",
    ),
    Step("Is everything there?", "weldtrial -C drawbar check"),
    Step("Look with the gases still hidden.", "weldtrial -C drawbar analyse --agree"),
    Step("Open the codes and judge.", "weldtrial -C drawbar analyse --open"),
    Step("One page that stands alone.", "weldtrial -C drawbar report"),
    Step("Anyone can draw the order again.", "weldtrial -C drawbar seal --verify"),
)


def run_steps(folder: Path, steps: tuple[Step, ...] = STEPS) -> int:
    """Run `steps` inside `folder`; return the first exit code that is not 0, else 0."""
    folder.mkdir(parents=True, exist_ok=True)
    for step in steps:
        click.echo(f"\n# {step.words}\n$ {step.command}")
        sys.stdout.flush()
        arguments = shlex.split(step.command)[1:]
        done = subprocess.run(
            [sys.executable, "-m", "weldtrial.cli.main", *arguments], cwd=folder, check=False
        )
        if done.returncode:
            click.echo(f"stopped: {step.command} ended with {done.returncode}", err=True)
            return done.returncode
    return int(ExitCode.FINE)


def demo(arguments: list[str]) -> int:
    """Run the demonstration in the one folder that `arguments` name."""
    if len(arguments) != 1 or arguments[0].startswith("-"):
        click.echo("Say where:  python -m weldtrial.cli.demo FOLDER", err=True)
        return int(ExitCode.WRONG_USAGE)
    folder = Path(arguments[0])
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        click.echo(f"'{folder}' is not an empty folder. Name a new one.", err=True)
        return int(ExitCode.WRONG_USAGE)
    return run_steps(folder)


if __name__ == "__main__":
    sys.exit(demo(sys.argv[1:]))
