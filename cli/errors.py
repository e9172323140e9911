"""From what went wrong to words and an exit code."""

from __future__ import annotations

import errno
import os
import re
from collections.abc import Sequence
from typing import Any

import click

from weldtrial.shared.problems import (
    ExitCode,
    Problem,
    ProblemsFound,
    WeldtrialError,
    WrongUsage,
    nearest,
)

INTERRUPTED = 130
"""What a shell expects of a command that Ctrl-C stopped."""

_PLAINER = (
    (re.compile(r"(.+) is not a valid integer( range)?\."), r"\1 is not a whole number"),
    (re.compile(r"(.+) is not a valid float( range)?\."), r"\1 is not a number"),
    (re.compile(r"Got unexpected extra arguments? \((.+)\)"), r"does not take \1"),
)


def problems_of(error: WeldtrialError) -> tuple[Problem, ...]:
    """Return the problems an error carries, or the error itself as one problem."""
    if isinstance(error, ProblemsFound):
        return error.problems
    return (Problem(error.words),)


def as_record(error: WeldtrialError) -> dict[str, Any]:
    """Return the error as ``--json`` prints it."""
    problems = [
        {
            "file": problem.file,
            "line": problem.line,
            "row": problem.row,
            "column": problem.column,
            "value": problem.value,
            "words": problem.words,
        }
        for problem in problems_of(error)
    ]
    return {"error": {"exit": int(error.exit_code), "problems": problems, "hint": error.hint}}


def in_our_words(error: click.ClickException, command: str) -> WrongUsage:
    """Say a command line that click could not read in the words of this tool.

    `command` names the command where the error does not.
    """
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else command
    return WrongUsage(_usage_words(error, command), hint=f"All options:  {command} --help")


def _usage_words(error: click.ClickException, command: str) -> str:
    if isinstance(error, click.NoSuchOption):
        return _no_option(error, command)
    if isinstance(error, click.BadOptionUsage):
        return f"{command}: {error.option_name} needs a value."
    if isinstance(error, click.MissingParameter) and error.param is not None:
        return f"{command} needs {_name_of(error.param)}."
    if isinstance(error, click.BadParameter) and error.param is not None:
        return f"{command}: {_name_of(error.param)}: {_plainer(error.message)}."
    words = _plainer(error.format_message())
    return f"{command} {words}." if words.startswith("does not") else f"{command}: {words}."


def _no_option(error: click.NoSuchOption, command: str) -> str:
    words = f"{command} has no option {error.option_name}."
    known: Sequence[str] = ()
    if error.ctx is not None:
        known = [name for param in error.ctx.command.get_params(error.ctx) for name in param.opts]
    close = nearest(error.option_name, known)
    return f"{words} Did you mean {close} ?" if close else words


def _name_of(param: click.Parameter) -> str:
    if isinstance(param, click.Argument):
        return (param.metavar or param.name or "a value").upper()
    return max(param.opts, key=len)


def _plainer(message: str) -> str:
    for pattern, words in _PLAINER:
        message = pattern.sub(words, message)
    return message.strip().rstrip(".")


def file_trouble(error: OSError) -> WeldtrialError | None:
    """Return what to say of a file that the machine will not let us use, or None for a defect."""
    if isinstance(error, PermissionError):
        remedy = "Close it in other programs, or see who may write there."
    elif error.errno == errno.ENOSPC:
        remedy = "Make room and run the command again."
    elif error.errno == errno.EROFS:
        remedy = "Copy the folder to where you may write."
    elif isinstance(error, (IsADirectoryError, NotADirectoryError)):
        remedy = "Move it away or give another name."
    else:
        return None
    name = os.path.relpath(error.filename) if isinstance(error.filename, str) else "output"
    return ProblemsFound([Problem(f"{error.strerror}. {remedy}", file=name)])


def defect(error: BaseException) -> WeldtrialError:
    """Return what to say of an exception that nobody expected."""
    kind = type(error).__name__
    said = f"{kind}: {error}" if str(error) else kind
    found = WeldtrialError(
        f"weldtrial has a defect: {' '.join(said.split())} (run again with --debug to see where)"
    )
    found.exit_code = ExitCode.OUR_FAULT
    return found
