"""The example of the budget page is what the commands print."""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

PAGE = (Path(__file__).resolve().parents[2] / "cli" / "help" / "budget.md").read_text(
    encoding="utf-8"
)


def squeezed(text: str) -> str:
    return " ".join(text.split())


def test_every_command_prints_what_stands_below_it(weldtrial: Callable[..., Any]) -> None:
    _, *parts = re.split(r"^    \$ weldtrial (.+)$", PAGE.partition("## An example")[2], flags=re.M)
    commands = list(zip(parts[::2], parts[1::2], strict=True))
    assert len(commands) == 3
    for command, below in commands:
        outcome = weldtrial(*shlex.split(command))
        assert (outcome.code, outcome.err) == (0, "")
        # Blocks are indented by four; the text between them is the page's own.
        blocks = re.findall(r"(?:^    .+\n)+", below, re.MULTILINE)
        printed = squeezed(outcome.out)
        for block in blocks:
            for part in re.split(r"\n(?=    [→▸]|      \[)|\n(?=    In |    That )", block):
                assert squeezed(part) in printed, part
