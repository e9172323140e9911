"""A group of commands that are imported only when one of them is called."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import click

from weldtrial.shared.problems import WrongUsage, nearest


@dataclass(frozen=True, slots=True)
class Entry:
    """Where a command lives, and the line that stands for it in the list.

    Attributes
    ----------
    target
        ``module:object`` of the click command.
    summary
        One line, stated here so that listing the commands imports none of them.
    section
        Heading it is listed under.
    """

    target: str
    summary: str
    section: str


class LazyGroup(click.Group):
    """A click group over a map of entries, with aliases."""

    def __init__(
        self,
        *args: Any,
        entries: Mapping[str, Entry],
        aliases: Mapping[str, str],
        **settings: Any,
    ) -> None:
        super().__init__(*args, **settings)
        self.entries = dict(entries)
        self.aliases = dict(aliases)

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the commands in the order of the map."""
        return list(self.entries)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return a command, or None where there is none of that name."""
        name = self.aliases.get(cmd_name, cmd_name)
        entry = self.entries.get(name)
        if entry is None:
            return None
        module, _, attribute = entry.target.partition(":")
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that `args` begin with, under its one real name."""
        typed = args[0]
        command = self.get_command(ctx, typed)
        if command is None:
            raise self.unknown(typed)
        return self.aliases.get(typed, typed), command, args[1:]

    def unknown(self, typed: str) -> WrongUsage:
        """Return the error for a command that does not exist, naming the nearest."""
        close = nearest(typed, [*self.entries, *self.aliases])
        if close is None:
            return WrongUsage(f"No command '{typed}'. All commands:  weldtrial --help")
        name = self.aliases.get(close, close)
        return WrongUsage(f"No command '{typed}'. Did you mean  weldtrial {name} ?")

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands under their sections, from the map alone."""
        sections: dict[str, list[tuple[str, str]]] = {}
        for name, entry in self.entries.items():
            sections.setdefault(entry.section, []).append((name, entry.summary))
        for section, lines in sections.items():
            with formatter.section(section):
                formatter.write_dl(lines)
