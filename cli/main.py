"""The command ``weldtrial``: finds the subcommand, runs it, turns trouble into words."""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

import click

from weldtrial.cli.console import Console
from weldtrial.cli.errors import INTERRUPTED, defect, file_trouble, in_our_words
from weldtrial.cli.lazy import Entry, LazyGroup
from weldtrial.cli.options import add_options, make_common, take_said
from weldtrial.shared.problems import ExitCode, WeldtrialError

_PLAN, _BENCH, _ANSWER, _READ = "Plan", "Bench", "Answer", "Read"


def _entry(name: str, section: str, summary: str) -> Entry:
    return Entry(f"weldtrial.cli.commands.{name}:command", summary, section)


COMMANDS = {
    "new": _entry("new", _PLAN, "Start a trial: a folder with a commented trial.toml."),
    "adopt": _entry("adopt", _PLAN, "Take in data that were welded before there was a plan."),
    "power": _entry("power", _PLAN, "Work out how many coupons and set-ups a question needs."),
    "plan": _entry("plan", _PLAN, "Show what the budget can buy; writes nothing."),
    "seal": _entry("seal", _PLAN, "Fix question and order before the first result."),
    "sheets": _entry("sheets", _PLAN, "Print the weld, reading, stamp and cutting sheets."),
    "record": _entry("record", _BENCH, "Type in, import or correct readings."),
    "check": _entry("check", _BENCH, "Say what is wrong and what is left to do."),
    "analyse": _entry("analyse", _ANSWER, "Judge the results: effects, gaps, verdicts."),
    "optimise": _entry(
        "optimise", _ANSWER, "Find where a new weld meets every limit, and what is best there."
    ),
    "report": _entry("report", _ANSWER, "Write the report as one HTML file."),
    "review": _entry("review", _ANSWER, "Weigh what somebody's evidence can bear."),
    "next": _entry("next", _ANSWER, "Plan what to weld next; the coupons there are stay."),
    "help": _entry("help", _READ, "Read about the trial file, the words, the arithmetic."),
}
ALIASES = {"analyze": "analyse", "optimize": "optimise"}


@click.command(
    cls=LazyGroup,
    entries=COMMANDS,
    aliases=ALIASES,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Help on one command:  weldtrial COMMAND --help.  Exit codes: 0 fine, 1 our fault, "
    "2 wrong usage, 3 a file needs fixing, 4 the seal does not match, 5 not enough yet to answer.",
)
@click.version_option(None, "--version", package_name="weldtrial", message="weldtrial %(version)s")
@add_options
@click.pass_context
def weldtrial(context: click.Context, /, **arguments: Any) -> None:
    """Plan, weld, read and judge trials on welded coupons, without claiming too much.

    A trial is a folder.  Start one with  weldtrial new NAME.  A trial compares; it qualifies no
    procedure and no welder to any code.
    """
    context.obj = take_said(arguments)
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


def main(arguments: Sequence[str]) -> int:
    """Run the command line `arguments` and return the exit code.

    Parameters
    ----------
    arguments
        What follows the program's name.
    """
    console = _console_for(arguments)
    try:
        # Not click's own main(): it would end a broken pipe with 1, which is "our fault" here.
        with weldtrial.make_context("weldtrial", list(arguments)) as context:
            result = weldtrial.invoke(context)
        return int(result) if isinstance(result, int) else int(ExitCode.FINE)
    except click.exceptions.Exit as end:
        return end.exit_code
    except click.ClickException as error:
        return _end(console, in_our_words(error, _command_in(arguments)))
    except WeldtrialError as error:
        _trace_if_asked(arguments)
        return _end(console, error)
    except (KeyboardInterrupt, click.Abort):
        return INTERRUPTED
    except BrokenPipeError:
        _close_quietly()
        return int(ExitCode.FINE)
    except Exception as error:
        _trace_if_asked(arguments)
        trouble = file_trouble(error) if isinstance(error, OSError) else None
        return _end(console, trouble or defect(error))


def run() -> NoReturn:
    """Run as the installed command: read the command line, exit with its code."""
    code = main(sys.argv[1:])
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        _close_quietly()
    sys.exit(code)


def _said(arguments: Sequence[str], option: str) -> bool:
    """Tell whether a switch was given, even on a line that could not be parsed."""
    before = arguments[: arguments.index("--")] if "--" in arguments else arguments
    return option in before


def _command_in(arguments: Sequence[str]) -> str:
    """Return the command that a line calls, as far as it can be told without parsing it."""
    called = [ALIASES.get(one, one) for one in arguments]
    return next((f"weldtrial {one}" for one in called if one in COMMANDS), "weldtrial")


def _console_for(arguments: Sequence[str]) -> Console:
    names = ("json", "plain", "quiet", "no_color")
    said = {name: _said(arguments, "--" + name.replace("_", "-")) for name in names}
    return make_common(said).console


def _end(console: Console, error: WeldtrialError) -> int:
    try:
        console.error(error)
    except BrokenPipeError:
        _close_quietly()
    return int(error.exit_code)


def _trace_if_asked(arguments: Sequence[str]) -> None:
    if _said(arguments, "--debug"):
        import traceback

        traceback.print_exc()


def _close_quietly() -> None:
    """Point stdout nowhere, so that the interpreter's last flush finds no broken pipe."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    run()
