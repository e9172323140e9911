"""The demonstration: each command shown, run, and its failure passed on."""

from __future__ import annotations

import pytest

from weldtrial.cli.demo import STEPS, Step, demo, run_steps
from weldtrial.cli.main import COMMANDS


def test_steps_call_commands_that_exist() -> None:
    called = {word for step in STEPS for word in step.command.split() if word in COMMANDS}
    assert called >= {"new", "plan", "seal", "check", "analyse", "report"}
    assert all(step.command.startswith("weldtrial ") for step in STEPS)


def test_each_command_is_shown_and_run(tmp_path, capfd) -> None:
    steps = (Step("First.", "weldtrial --version"), Step("Second.", "weldtrial help --plain"))
    assert run_steps(tmp_path / "new", steps) == 0
    out = capfd.readouterr().out
    assert out.startswith("\n# First.\n$ weldtrial --version\nweldtrial 0.1.0\n\n# Second.\n")


def test_first_failure_ends_it(tmp_path, capfd) -> None:
    steps = (Step("Bad.", "weldtrial anaylse"), Step("Never.", "weldtrial --version"))
    assert run_steps(tmp_path, steps) == 2
    said = capfd.readouterr()
    assert "Never." not in said.out
    assert "stopped: weldtrial anaylse ended with 2" in said.err


@pytest.mark.parametrize("arguments", [[], ["--help"], ["a", "b"]])
def test_it_wants_one_folder(arguments, capsys) -> None:
    assert demo(arguments) == 2
    assert "Say where" in capsys.readouterr().err


def test_folder_in_use_is_refused(tmp_path, capsys) -> None:
    (tmp_path / "mine.txt").write_text("keep")
    assert demo([str(tmp_path)]) == 2
    assert "is not an empty folder" in capsys.readouterr().err


@pytest.mark.slow
def test_the_whole_demonstration_runs(tmp_path, capfd) -> None:
    assert demo([str(tmp_path / "demo")]) == 0, capfd.readouterr().err
    (report,) = (tmp_path / "demo").rglob("report.html")
    assert "drawbar" in report.read_text(encoding="utf-8").lower()
