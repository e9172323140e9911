"""The options ``--tells`` and ``--compare`` of ``weldtrial plan``, and what is wrong with them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import click

from weldtrial.shared.problems import WrongUsage

_Command = TypeVar("_Command", bound=Callable[..., Any])

MOST = 4
"""Alternatives that fit beside the file's own plan in 100 columns."""

_OPTIONS = (
    click.option(
        "--tells", is_flag=True, help="Show in numbers what the design can and cannot tell."
    ),
    click.option(
        "--compare",
        metavar="KEY=VALUE,...",
        multiple=True,
        help="Lay an alternative beside the file's plan: design.kind=fraction,design.runs=8. "
        "Repeatable.",
    ),
)


def tells_options(function: _Command) -> _Command:
    """Put ``--tells`` and ``--compare`` on a command."""
    for option in reversed(_OPTIONS):
        function = option(function)
    return function


def asked_to_tell(said: dict[str, Any], besides: Mapping[str, object]) -> bool:
    """Tell whether ``--tells`` or ``--compare`` was said.

    Parameters
    ----------
    besides
        Options that have tables of their own, and what was said of each.

    Raises
    ------
    WrongUsage
        When they do not go together, or there are too many alternatives.
    """
    tells, compare = said["tells"], said["compare"]
    if not tells and not compare:
        return False
    others = [name for name, value in besides.items() if value]
    if tells and compare:
        raise WrongUsage(
            "weldtrial plan: --tells and --compare are two screens. Ask for one, then the other."
        )
    if others:
        own = "--tells" if tells else "--compare"
        verb = "does" if len(others) == 1 else "do"
        raise WrongUsage(
            f"weldtrial plan: {' and '.join(others)} {verb} not go with {own}. Leave "
            f"{'it' if len(others) == 1 else 'them'} out; --if and --pilot do."
        )
    if len(compare) > MOST:
        raise WrongUsage(
            f"weldtrial plan: {len(compare)} alternatives are too many to lay side by side. Say "
            f"--compare {MOST} times at most."
        )
    return True


def settings_said(text: str) -> tuple[str, ...]:
    """Return the ``KEY=VALUE`` parts of one ``--compare``, split at commas outside of brackets.

    Raises
    ------
    WrongUsage
        When there is none, or a bracket or quote does not close.
    """
    parts, deep, quote = [""], 0, ""
    for sign in text:
        if quote:
            quote = "" if sign == quote else quote
        elif sign in "\"'":
            quote = sign
        elif sign in "[{":
            deep += 1
        elif sign in "]}":
            deep -= 1
        if sign == "," and not quote and deep == 0:
            parts.append("")
        else:
            parts[-1] += sign
    found = tuple(part.strip() for part in parts)
    if quote or deep or not all("=" in part for part in found):
        raise WrongUsage(
            "weldtrial plan: --compare needs keys and values joined by commas, such as  --compare "
            f"design.kind=fraction,design.runs=8; '{text}' is not that."
        )
    return found
