"""A command whose many options are listed in its help under headings, one for each question."""

from __future__ import annotations

from typing import Any

import click


class GroupedCommand(click.Command):
    """A click command with a `groups` attribute: headings with the names of their options.

    Options that no heading names stand last, under "Options".
    """

    def __init__(self, *args: Any, groups: dict[str, tuple[str, ...]], **settings: Any) -> None:
        super().__init__(*args, **settings)
        self.groups = groups

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options, heading by heading."""
        rows = {}
        for param in self.get_params(ctx):
            record = param.get_help_record(ctx)
            if record is not None:
                rows[param.name] = record
        for heading, names in self.groups.items():
            with formatter.section(heading):
                formatter.write_dl([rows.pop(name) for name in names if name in rows])
        with formatter.section("Options"):
            formatter.write_dl(list(rows.values()))
