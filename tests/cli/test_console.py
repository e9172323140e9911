"""What is printed where, in which shape, and when nothing may be asked."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import pytest

from weldtrial.cli.console import Console, wrap
from weldtrial.cli.encoding import speakable
from weldtrial.shared.problems import Problem, WrongUsage

LONG = "word " * 40


class Terminal(io.TextIOWrapper):
    """A stream that says it is a terminal."""

    def __init__(self, text: str = "", encoding: str = "utf-8") -> None:
        super().__init__(io.BytesIO(text.encode(encoding)), encoding, write_through=True)

    def isatty(self) -> bool:
        return True

    @property
    def said(self) -> str:
        return self.buffer.getvalue().decode(self.encoding)


@pytest.fixture
def terminal(monkeypatch):
    """Put terminals in place of the three streams; give a function that types answers."""

    def sit(answers: str = "", encoding: str = "utf-8", columns: int = 80) -> Terminal:
        out = Terminal(encoding=encoding)
        monkeypatch.setenv("COLUMNS", str(columns))
        monkeypatch.setattr(sys, "stdin", Terminal(answers))
        monkeypatch.setattr(sys, "stdout", out)
        monkeypatch.setattr(sys, "stderr", out)
        return out

    return sit


# ---------------------------------------------------------------------- lines


def test_long_line_is_wrapped_with_a_hanging_indent(capsys) -> None:
    Console().line("  " + LONG.strip())
    first, second, *_ = capsys.readouterr().out.splitlines()
    assert first.startswith("  word")
    assert second.startswith("    word")
    assert len(first) <= 100


def test_wrapping_keeps_double_spaces_and_short_lines() -> None:
    assert wrap("Start one:  weldtrial new\n\n  next", 40) == "Start one:  weldtrial new\n\n  next"


def test_plain_lines_are_never_wrapped(capsys) -> None:
    Console(plain=True).line(LONG.strip())
    assert capsys.readouterr().out == LONG.strip() + "\n"


def test_colour_is_for_terminals_alone(capsys, terminal) -> None:
    Console().line("x", style="bold")
    assert capsys.readouterr().out == "x\n"
    out = terminal()
    Console().line("x", style="bold")
    Console(colour=False).line("x", style="bold")
    assert out.said == "\x1b[1mx\x1b[0m\nx\n"


def test_next_is_said_unless_quiet_or_json(capsys) -> None:
    Console().next("seal", "fixes the plan")
    Console(quiet=True).next("seal")
    Console(json_only=True).next("seal")
    assert capsys.readouterr().out == "Next:  weldtrial seal   fixes the plan\n"


def test_next_can_be_typed_where_the_folder_was_named(capsys) -> None:
    console = Console(folder=Path("draw bär"))
    console.next("seal")
    console.next("weldtrial check", "once that is mended")
    console.next("weldtrial -C other plan")
    console.next("new NAME")
    assert capsys.readouterr().out.splitlines() == [
        "Next:  weldtrial -C 'draw bär' seal",
        "Next:  weldtrial -C 'draw bär' check   once that is mended",
        "Next:  weldtrial -C other plan",
        "Next:  weldtrial new NAME",
    ]


def test_note_is_left_out_when_quiet(capsys) -> None:
    Console(quiet=True).note("by the way")
    Console(quiet=True).line("the answer")
    assert capsys.readouterr().out == "the answer\n"


# ---------------------------------------------------------------------- tables


def test_table_has_one_thin_rule_and_numbers_stand_right(capsys) -> None:
    Console().table(["gas", "kN"], [["mix", 84.2], ["co2", 9.0], ["none", None]])
    assert capsys.readouterr().out.splitlines() == [
        "gas     kN",
        "──────────",
        "mix   84.2",
        "co2    9.0",
        "none",
    ]


def test_table_says_brackets_as_they_are(capsys) -> None:
    Console().table(["a"], [["[bold]x[/bold]"]])
    assert "[bold]x[/bold]" in capsys.readouterr().out


def test_table_never_passes_a_hundred_columns(capsys) -> None:
    Console().table(["a", "b"], [[LONG, LONG], ["x" * 150, 3]])
    lines = capsys.readouterr().out.splitlines()
    assert max(len(line) for line in lines) <= 100
    assert "".join(lines).count("word") == 80


def test_plain_table_is_one_row_a_line(capsys) -> None:
    Console(plain=True).table(["gas", "why"], [["mix", "two\nlines"], ["co2", None]])
    assert capsys.readouterr().out == "gas\twhy\nmix\ttwo lines\nco2\t\n"


# ---------------------------------------------------------------------- JSON and encodings


def test_json_mode_prints_json_and_nothing_else(capsys) -> None:
    console = Console(json_only=True)
    console.line("x")
    console.table(["a"], [[1]])
    console.heading("x")
    console.json({"a": float("nan"), "b": 0.1 + 0.2, "°": (1, None)})
    out = capsys.readouterr().out
    assert json.loads(out) == {"a": None, "b": 0.30000000000000004, "°": [1, None]}
    assert "°" in out


def test_json_writes_records_and_numpy_numbers() -> None:
    import numpy as np

    from weldtrial.cli.as_json import plain_value

    problem = Problem("x", "f.csv", row=2)
    assert plain_value(problem)["row"] == 2
    assert plain_value([np.float64("inf"), np.int64(3), np.array([1.5, np.nan])]) == [
        None,
        3,
        [1.5, None],
    ]


def test_json_refuses_what_it_does_not_know() -> None:
    from weldtrial.cli.as_json import plain_value

    with pytest.raises(TypeError, match="object cannot be written as JSON"):
        plain_value(object())


@pytest.mark.parametrize(
    ("text", "encoding", "said"),
    [
        ("▶ ✓ −1.2 ±3°", "utf-8", "▶ ✓ −1.2 ±3°"),
        ("▶ ✓ −1.2 ±3°", "ascii", "> ok -1.2 +/-3deg"),
        ("▶ ✓ −1.2 ±3°", "cp1252", "> ok -1.2 ±3°"),
        ("é ☃", "ascii", "e ?"),
        ("a\udcffb", "utf-8", "a?b"),
    ],
)
def test_symbols_fall_back_to_ascii(text, encoding, said) -> None:
    assert speakable(text, encoding) == said


def test_table_in_ascii_stays_aligned(terminal) -> None:
    out = terminal(encoding="ascii")
    Console().table(["°", "x"], [["−1", "a"], ["✓", "b"]])
    assert out.said.splitlines() == ["deg  x", "------", "-1   a", "ok   b"]


# ---------------------------------------------------------------------- trouble


def test_warning_goes_to_stderr_unwrapped_for_scripts(capsys) -> None:
    Console().warn(LONG.strip())
    done = capsys.readouterr()
    assert (done.out, done.err) == ("", LONG.strip() + "\n")


def test_problem_is_wrapped_for_a_person(terminal) -> None:
    out = terminal(columns=60)
    Console(colour=False).problems([Problem(LONG.strip(), "trial.toml", line=4)])
    lines = out.said.splitlines()
    assert lines[0].startswith("trial.toml line 4: word")
    assert all(len(line) <= 60 for line in lines)
    assert all(line.startswith("  word") for line in lines[1:])


# ---------------------------------------------------------------------- questions


@pytest.mark.parametrize("console", [Console(), Console(no_input=True), Console(json_only=True)])
def test_nobody_to_ask_names_the_flag(console, monkeypatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("y\n"))
    with pytest.raises(WrongUsage, match=r"nobody to ask: Go on\?") as raised:
        console.confirm("Go on?")
    assert raised.value.hint == "Say it on the command line:  --yes"
    with pytest.raises(WrongUsage) as raised:
        console.ask("Which gas?", flag="--gas NAME")
    assert raised.value.hint == "Say it on the command line:  --gas NAME"


def test_no_input_wins_over_a_terminal(terminal) -> None:
    terminal("y\n")
    with pytest.raises(WrongUsage, match="nobody to ask"):
        Console(no_input=True).confirm("Go on?")


@pytest.mark.parametrize(
    ("typed", "default", "answer"),
    [("y\n", False, True), ("\n", False, False), ("\n", True, True), ("what\nNO\n", True, False)],
)
def test_confirm_takes_yes_no_or_the_default(typed, default, answer, terminal) -> None:
    out = terminal(typed)
    assert Console().confirm("Go on?", default) is answer
    assert ("[Y/n]" if default else "[y/N]") in out.said


def test_ask_takes_the_default_and_asks_again_without_one(terminal) -> None:
    terminal("\n")
    assert Console().ask("Shop?", "ours", flag="--shop") == "ours"
    terminal("\n  theirs \n")
    assert Console().ask("Shop?", flag="--shop") == "theirs"


def test_end_of_input_is_an_interruption(terminal) -> None:
    import click

    terminal("")
    with pytest.raises(click.Abort):
        Console().ask("Shop?", flag="--shop")


# ---------------------------------------------------------------------- progress


def test_short_work_shows_no_bar(terminal) -> None:
    out = terminal()
    with Console().progress("Simulating", 3) as advance:
        for _ in range(3):
            advance(1)
    assert out.said == ""


def test_long_work_shows_a_bar(terminal, monkeypatch) -> None:
    monkeypatch.setattr("weldtrial.cli.progress.PATIENCE", 0.0)
    out = terminal()
    with Console(colour=False).progress("Simulating", 3) as advance:
        advance(2)
    assert "Simulating" in out.said
    assert "2 of 3" in out.said


def test_long_work_without_steps_says_what_it_is_at(terminal, monkeypatch) -> None:
    import time

    monkeypatch.setattr("weldtrial.cli.progress.PATIENCE", 0.0)
    out = terminal()
    with Console(colour=False).waiting("working out the plan"):
        time.sleep(0.5)
    assert "working out the plan" in out.said


def test_short_work_without_steps_says_nothing(terminal) -> None:
    out = terminal()
    with Console().waiting("working out the plan"):
        pass
    with pytest.raises(ValueError, match="as it was"), Console().waiting("working"):
        raise ValueError("as it was")
    assert out.said == ""


def test_no_bar_without_a_terminal(monkeypatch, capsys) -> None:
    monkeypatch.setattr("weldtrial.cli.progress.PATIENCE", 0.0)
    with Console().progress("Simulating", 3) as advance:
        advance(3)
    assert capsys.readouterr().err == ""
