"""The options that every command shares, before or after its name."""

from __future__ import annotations

import functools
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import click

from weldtrial.cli.console import Console

_PREFIX = "common_"
_Command = TypeVar("_Command", bound=Callable[..., Any])


@dataclass(frozen=True, slots=True)
class Common:
    """What the shared options say.

    Attributes
    ----------
    folder
        The folder named with ``-C``, or None: look here and in the folders above.
    json, plain, no_input, quiet, debug
        The switches of those names.
    colour
        False with ``--no-color`` or where ``NO_COLOR`` is set.
    console
        Speaks as these options ask.
    """

    folder: Path | None = None
    json: bool = False
    plain: bool = False
    no_input: bool = False
    quiet: bool = False
    debug: bool = False
    colour: bool = True
    console: Console = field(default_factory=Console)


def make_common(said: dict[str, Any]) -> Common:
    """Return the record of what was said, options left out standing at their defaults."""
    json, plain = bool(said.get("json")), bool(said.get("plain"))
    quiet, no_input = bool(said.get("quiet")), bool(said.get("no_input"))
    colour = not (said.get("no_color") or os.environ.get("NO_COLOR"))
    return Common(
        folder=said.get("folder"),
        json=json,
        plain=plain,
        no_input=no_input,
        quiet=quiet,
        debug=bool(said.get("debug")),
        colour=colour,
        console=Console(
            json_only=json,
            plain=plain,
            quiet=quiet,
            no_input=no_input,
            colour=colour,
            folder=said.get("folder"),
        ),
    )


_OPTIONS = (
    click.option(
        "-C",
        "--folder",
        _PREFIX + "folder",
        metavar="DIR",
        type=click.Path(path_type=Path),
        help="The trial's folder (without it: here, or a folder above).",
    ),
    click.option("--json", _PREFIX + "json", is_flag=True, help="Print JSON for a program."),
    click.option(
        "--plain", _PREFIX + "plain", is_flag=True, help="One record a line, tab-separated."
    ),
    click.option("--no-input", _PREFIX + "no_input", is_flag=True, help="Never ask; stop instead."),
    click.option("-q", "--quiet", _PREFIX + "quiet", is_flag=True, help="Only what was asked."),
    click.option("--debug", _PREFIX + "debug", is_flag=True, help="Show where a defect happened."),
    click.option("--no-color", _PREFIX + "no_color", is_flag=True, help="No colour (NO_COLOR)."),
)


def add_options(function: _Command) -> _Command:
    """Put the shared options on a command, without packing them."""
    for option in reversed(_OPTIONS):
        function = option(function)
    return function


def take_said(arguments: dict[str, Any]) -> dict[str, Any]:
    """Take the shared options that were given out of a command's `arguments`."""
    names = [name for name in arguments if name.startswith(_PREFIX)]
    said = {name.removeprefix(_PREFIX): arguments.pop(name) for name in names}
    return {name: value for name, value in said.items() if value}


def common_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the shared options, packed into a `Common` as its first argument.

    What is said after the command's name adds to what was said before it, and wins.

    Examples
    --------
    >>> @click.command()
    ... @click.option("--strict", is_flag=True)
    ... @common_options
    ... def command(common: Common, strict: bool) -> None: ...
    """

    @functools.wraps(function)
    def packed(*args: Any, **arguments: Any) -> Any:
        context = click.get_current_context()
        before = context.find_root().obj or {}
        return function(make_common({**before, **take_said(arguments)}), *args, **arguments)

    return add_options(packed)
