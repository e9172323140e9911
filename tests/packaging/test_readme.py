"""The commands of the README, run in order in a fresh folder; what it shows is what they print."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
INSTALLING = ("make", "pip", "pipx", "python", "python3", "py", "git", "source", ".")
"""Lines that put weldtrial on a machine: tested by the wheel, not here."""

BLOCK = re.compile(r"^```console\n(.*?)^```", re.MULTILINE | re.DOTALL)


def steps_in(text: str) -> list[tuple[str, list[str]]]:
    """Every ``$ `` line of the console blocks, continued lines joined, with what it prints."""
    joined = "\n".join(BLOCK.findall(text)).replace("\\\n", " ")
    steps: list[tuple[str, list[str]]] = []
    for line in joined.splitlines():
        if line.startswith("$ "):
            steps.append((line.removeprefix("$ "), []))
        elif steps and line.strip():
            steps[-1][1].append(line)
    return steps


def commands_in(text: str) -> list[str]:
    """The commands of `steps_in`."""
    return [command for command, _ in steps_in(text)]


def not_printed(shown: list[str], printed: str) -> list[str]:
    """Lines shown that were not printed; ``…`` stands for anything."""
    patterns = [".*".join(map(re.escape, line.rstrip().split("…"))) for line in shown]
    return [
        line
        for line, pattern in zip(shown, patterns, strict=True)
        if not re.search(f"^{pattern}$", printed, re.MULTILINE)
    ]


def run_all(steps: list[tuple[str, list[str]]], folder: Path) -> list[str]:
    """Run the weldtrial lines, follow ``cd``; return what went otherwise than shown."""
    failed = []
    env = {**os.environ, "NO_COLOR": "1", "PYTHONIOENCODING": "utf-8"}
    for command, shown in steps:
        words = shlex.split(command, comments=True)
        if words[0] == "cd":
            folder = folder / words[1]
        elif words[0] == "weldtrial":
            done = subprocess.run(
                [sys.executable, "-m", "weldtrial.cli.main", *words[1:]],
                cwd=folder,
                env=env,
                stdin=subprocess.DEVNULL,
                capture_output=True,
                text=True,
                encoding="utf-8",
                check=False,
            )
            if done.returncode:
                failed.append(f"$ {command}\n{done.stdout}{done.stderr}exit {done.returncode}")
            elif missing := not_printed(shown, done.stdout):
                failed.append("\n".join([f"$ {command}  does not print", *missing]))
        elif words[0] not in INSTALLING and not words[0].startswith(".venv"):
            failed.append(f"$ {command}\nis neither weldtrial, cd nor a way to install it")
    return failed


@pytest.mark.slow
def test_commands_of_the_readme_work_in_order(tmp_path: Path) -> None:
    steps = steps_in((ROOT / "README.md").read_text(encoding="utf-8"))
    assert any(command.startswith("weldtrial ") for command, _ in steps)
    assert any(shown for _, shown in steps)
    failed = run_all(steps, tmp_path)
    assert not failed, "\n\n".join(failed)


def test_commands_are_found_in_console_blocks_alone() -> None:
    text = "```console\n$ a \\\n  b\noutput\n$ c\n```\n```sh\n$ d\n```\n$ e\n"
    assert commands_in(text) == ["a    b", "c"]
    assert steps_in(text)[0][1] == ["output"]


def test_command_that_fails_is_reported(tmp_path: Path) -> None:
    (tmp_path / "x").mkdir()
    lines = ("make demo", "weldtrial --version", "weldtrial anaylse", "rm x")
    failed = run_all([(line, []) for line in lines], tmp_path)
    assert len(failed) == 2
    assert "Did you mean  weldtrial analyse ?\nexit 2" in failed[0]
    assert failed[1].startswith("$ rm x")


def test_output_that_does_not_come_is_reported(tmp_path: Path) -> None:
    shown = ["weldtrial …", "weldtrial 0.0"]
    assert run_all([("weldtrial --version", shown)], tmp_path) == [
        "$ weldtrial --version  does not print\nweldtrial 0.0"
    ]
