"""The commands of the README, run in order in a fresh folder."""

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


def commands_in(text: str) -> list[str]:
    """Every ``$ `` line of the console blocks, continued lines joined."""
    joined = "\n".join(BLOCK.findall(text)).replace("\\\n", " ")
    return [line.removeprefix("$ ") for line in joined.splitlines() if line.startswith("$ ")]


def run_all(commands: list[str], folder: Path) -> list[str]:
    """Run the weldtrial lines, follow ``cd``; return what went otherwise than shown."""
    failed = []
    env = {**os.environ, "NO_COLOR": "1", "PYTHONIOENCODING": "utf-8"}
    for command in commands:
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
        elif words[0] not in INSTALLING and not words[0].startswith(".venv"):
            failed.append(f"$ {command}\nis neither weldtrial, cd nor a way to install it")
    return failed


@pytest.mark.slow
def test_commands_of_the_readme_work_in_order(tmp_path: Path) -> None:
    commands = commands_in((ROOT / "README.md").read_text(encoding="utf-8"))
    assert any(command.startswith("weldtrial ") for command in commands)
    failed = run_all(commands, tmp_path)
    assert not failed, "\n\n".join(failed)


def test_commands_are_found_in_console_blocks_alone() -> None:
    text = "```console\n$ a \\\n  b\noutput\n$ c\n```\n```sh\n$ d\n```\n$ e\n"
    assert commands_in(text) == ["a    b", "c"]


def test_command_that_fails_is_reported(tmp_path: Path) -> None:
    (tmp_path / "x").mkdir()
    failed = run_all(["make demo", "weldtrial --version", "weldtrial anaylse", "rm x"], tmp_path)
    assert len(failed) == 2
    assert "Did you mean  weldtrial analyse ?\nexit 2" in failed[0]
    assert failed[1].startswith("$ rm x")
