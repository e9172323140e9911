"""The command line: which command, which words, which exit code."""

from __future__ import annotations

import importlib
import subprocess
import sys

import click
import pytest

from weldtrial.cli import main as main_module
from weldtrial.cli.main import ALIASES, COMMANDS
from weldtrial.shared.problems import ExitCode, NotEnough, Problem, ProblemsFound


@pytest.fixture
def only(monkeypatch):
    """Put a command `probe` of our own in place of the real ones."""

    def put(command: click.Command) -> None:
        monkeypatch.setattr(
            main_module.weldtrial, "get_command", lambda context, name: command, raising=True
        )

    return put


def raising(error: BaseException) -> click.Command:
    def fail(**said: object) -> None:
        raise error

    return click.Command("probe", callback=fail, params=[click.Option(["--json"], is_flag=True)])


@pytest.mark.parametrize("name", COMMANDS)
def test_command_imports_and_has_help(name, weldtrial) -> None:
    module, _, attribute = COMMANDS[name].target.partition(":")
    command = getattr(importlib.import_module(module), attribute)
    assert isinstance(command, click.Command)
    done = weldtrial(name, "--help")
    assert done.code == 0
    assert command.help
    assert done.out.startswith(f"Usage: weldtrial {name} ")
    undescribed = [p.name for p in command.params if isinstance(p, click.Option) and not p.help]
    assert undescribed == []


def test_help_lists_what_there_is_and_nothing_that_is_to_come(weldtrial) -> None:
    out = weldtrial("--help").out
    for name, entry in COMMANDS.items():
        assert f"  {name} " in out
        assert entry.summary in out
    for name in ALIASES:
        assert f"  {name} " not in out
    assert all(len(line) <= 100 for line in out.splitlines())


def test_without_a_command_the_help_is_shown(weldtrial) -> None:
    assert weldtrial().out == weldtrial("--help").out
    assert weldtrial().code == 0


def test_version_is_said(weldtrial) -> None:
    assert weldtrial("--version").out == "weldtrial 0.1.0\n"


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("anaylse", "analyse"), ("analize", "analyse"), ("chek", "check"), ("reprot", "report")],
)
def test_misspelt_command_names_the_nearest(typed, meant, weldtrial) -> None:
    done = weldtrial(typed)
    assert (done.code, done.out) == (2, "")
    assert done.err == f"No command '{typed}'. Did you mean  weldtrial {meant} ?\n"


def test_command_like_no_other_points_at_the_list(weldtrial) -> None:
    done = weldtrial("xyzzy")
    assert done.code == 2
    assert done.err == "No command 'xyzzy'. All commands:  weldtrial --help\n"


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["help", "--jsn"], "weldtrial help has no option --jsn. Did you mean --json ?"),
        (["--xyzzy"], "weldtrial has no option --xyzzy."),
        (["help", "words", "more"], "weldtrial help does not take more."),
        (["help", "-C"], "weldtrial help: -C needs a value."),
    ],
)
def test_wrong_usage_is_said_in_our_words(arguments, words, weldtrial) -> None:
    done = weldtrial(*arguments)
    assert (done.code, done.out) == (2, "")
    assert done.err.splitlines()[0] == words
    assert done.err.splitlines()[-1].startswith("All options:  weldtrial")
    assert "Usage" not in done.err


@pytest.mark.parametrize(
    ("param", "arguments", "words"),
    [
        (click.Argument(["name"]), [], "weldtrial probe needs NAME."),
        (click.Option(["--rounds"], type=int), ["--rounds", "x"],
         "weldtrial probe: --rounds: 'x' is not a whole number."),
        (click.Option(["--loss"], type=float), ["--loss", "x"],
         "weldtrial probe: --loss: 'x' is not a number."),
        (click.Option(["--for"], type=click.Choice(["a", "b"])), ["--for", "x"],
         "weldtrial probe: --for: 'x' is not one of 'a', 'b'."),
    ],
)  # fmt: skip
def test_wrong_value_names_the_option(param, arguments, words, only, weldtrial) -> None:
    only(click.Command("probe", callback=lambda **said: None, params=[param]))
    done = weldtrial("probe", *arguments)
    assert done.code == 2
    assert done.err.splitlines()[0] == words


def test_defect_is_one_sentence_without_a_traceback(only, weldtrial) -> None:
    only(raising(RuntimeError("odd\nthing")))
    done = weldtrial("probe")
    assert done.code == 1
    assert done.err == (
        "weldtrial has a defect: RuntimeError: odd thing (run again with --debug to see where)\n"
    )


def test_file_that_may_not_be_written_is_no_defect(only, weldtrial, tmp_path) -> None:
    only(raising(PermissionError(13, "Permission denied", str(tmp_path / "plan.csv"))))
    done = weldtrial("probe")
    assert done.code == 3
    assert done.err == (
        "plan.csv: Permission denied. Close it in other programs, or see who may write there.\n"
    )


def test_missing_file_that_nobody_foresaw_is_a_defect(only, weldtrial) -> None:
    only(raising(FileNotFoundError(2, "No such file or directory", "x")))
    assert weldtrial("probe").code == 1


def test_debug_shows_where_a_defect_is(only, weldtrial) -> None:
    only(raising(RuntimeError("odd thing")))
    done = weldtrial("--debug", "probe")
    assert done.code == 1
    assert "Traceback" in done.err
    assert 'in fail\n    raise error' in done.err  # fmt: skip


@pytest.mark.parametrize("error", [KeyboardInterrupt(), click.Abort()])
def test_interruption_is_quiet(error, only, weldtrial) -> None:
    only(raising(error))
    done = weldtrial("probe")
    assert (done.code, done.out, done.err) == (130, "", "")


def test_error_of_ours_ends_with_its_code_and_hint(only, weldtrial) -> None:
    only(raising(NotEnough("Nothing to analyse.", hint="weldtrial check  shows what is next.")))
    done = weldtrial("probe")
    assert (done.code, done.out) == (5, "")
    assert done.err == "Nothing to analyse.\n\nweldtrial check  shows what is next.\n"


def test_problems_are_all_shown_file_by_file(only, weldtrial) -> None:
    found = [
        Problem("third", "readings/x.csv", row=2),
        Problem("second", "trial.toml", line=9),
        Problem("first", "trial.toml", line=3),
    ]
    only(raising(ProblemsFound(found)))
    done = weldtrial("probe")
    assert done.code == 3
    assert done.err == (
        "readings/x.csv row 2: third\n\ntrial.toml line 3: first\ntrial.toml line 9: second\n"
    )


def test_error_with_json_is_also_an_object_on_stdout(only, weldtrial) -> None:
    only(raising(ProblemsFound([Problem("wrong", "x.csv", row=4, column="reading", value="8,4")])))
    done = weldtrial("probe", "--json")
    assert done.code == 3
    assert done.err == "x.csv row 4, column reading: wrong\n"
    problem = {"file": "x.csv", "line": None, "row": 4, "column": "reading", "value": "8,4"}
    assert done.json == {
        "error": {"exit": 3, "problems": [{**problem, "words": "wrong"}], "hint": None}
    }


def test_wrong_usage_with_json_is_json_too(weldtrial) -> None:
    done = weldtrial("help", "--jsn", "--json")
    assert done.code == 2
    assert done.json["error"]["exit"] == 2


def test_returned_exit_code_is_the_exit_code(only, weldtrial) -> None:
    only(click.Command("probe", callback=lambda: ExitCode.SEAL_BROKEN))
    assert weldtrial("probe").code == 4


def test_module_runs_as_the_command() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "weldtrial.cli.main", "--version"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout == "weldtrial 0.1.0\n"


@pytest.mark.skipif(sys.platform == "win32", reason="no pipes that break this way")
def test_reader_that_goes_away_is_no_defect() -> None:
    command = f"{sys.executable} -m weldtrial.cli.main --help | true; echo ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=True)
    assert (done.stdout, done.stderr) == ("0\n", "")
