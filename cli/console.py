"""Everything a command says: lines, tables, JSON, warnings, questions, progress."""

from __future__ import annotations

import shlex
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, TextIO

import click

from weldtrial.cli.encoding import speakable
from weldtrial.shared.problems import Problem, WeldtrialError, WrongUsage

MAX_COLUMNS = 100
Align = Literal["left", "right", "centre"]


@dataclass(frozen=True, slots=True)
class Console:
    """How to speak: plainly, quietly, as JSON, in colour, with or without questions.

    `folder` is what was said with ``-C``, so that the command named last works from here.
    """

    json_only: bool = False
    plain: bool = False
    quiet: bool = False
    no_input: bool = False
    colour: bool = True
    folder: Path | None = None

    # ------------------------------------------------------------------ results, on stdout

    def line(self, text: str = "", *, hang: int | None = None, style: str | None = None) -> None:
        """Print a text, wrapped with a hanging indent of `hang` columns beyond its own.

        `style` is a colour name or ``bold``; it is seen on a terminal only and never carries
        meaning alone.  Nothing is printed with ``--json``.
        """
        if self.json_only:
            return
        text = speakable(text, sys.stdout.encoding)
        if not self.plain:
            text = wrap(text, width=_columns(sys.stdout), hang=hang)
        self._write(sys.stdout, text, style)

    def note(self, text: str = "", *, hang: int | None = None) -> None:
        """Print a line that ``-q`` leaves out."""
        if not self.quiet:
            self.line(text, hang=hang)

    def heading(self, text: str) -> None:
        """Print a blank line and a heading."""
        if not self.plain:
            self.line()
        self.line(text, style="bold")

    def table(
        self,
        headers: Sequence[str],
        rows: Iterable[Sequence[object]],
        align: Sequence[Align] | None = None,
    ) -> None:
        """Print a table under one thin rule, or with ``--plain`` one tab-separated row a line.

        Text stands left and numbers right unless `align` says otherwise; None is an empty cell.
        """
        if self.json_only:
            return
        from weldtrial.cli.tables import plain_table, ruled_table

        cells = [["" if cell is None else str(cell) for cell in row] for row in rows]
        encoding = sys.stdout.encoding
        spoken = [[speakable(cell, encoding) for cell in row] for row in cells]
        titles = [speakable(title, encoding) for title in headers]
        if self.plain:
            text = plain_table(titles, spoken)
        else:
            text = ruled_table(titles, spoken, align, _columns(sys.stdout))
        self._write(sys.stdout, speakable(text, encoding), None)

    def json(self, value: object) -> None:
        """Print `value` as JSON; what is not a number becomes null."""
        from weldtrial.cli.as_json import to_json

        self._write(sys.stdout, to_json(value, sys.stdout.encoding), None)

    def next(self, command: str, words: str = "") -> None:
        """Print the closing line that names the next command: ``Next:  weldtrial seal``."""
        if self.quiet or self.json_only:
            return
        command = command.removeprefix("weldtrial ")
        # A command that makes a folder, or names one already, needs no other.
        if self.folder is not None and command.split(" ", 1)[0] not in ("-C", "new"):
            command = f"-C {shlex.quote(str(self.folder))} {command}"
        command = f"weldtrial {command}"
        text = f"Next:  {command}" + (f"   {words}" if words else "")
        self.line(text, hang=7)

    def page(self, text: str) -> None:
        """Print a long text, through a pager where a terminal is too short for it."""
        text = speakable(text.rstrip("\n"), sys.stdout.encoding)
        if sys.stdout.isatty() and text.count("\n") + 2 > shutil.get_terminal_size().lines:
            click.echo_via_pager(text + "\n")
        else:
            self._write(sys.stdout, text, None)

    # ------------------------------------------------------------------ trouble, on stderr

    def warn(self, text: str) -> None:
        """Print a warning on stderr."""
        self._complain(text, style="yellow")

    def problems(self, problems: Iterable[Problem]) -> None:
        """Print problems on stderr, those of one file together, each with its place."""
        by_file: dict[str | None, list[Problem]] = {}
        for problem in problems:
            by_file.setdefault(problem.file, []).append(problem)
        for number, found in enumerate(by_file.values()):
            if number:
                self._complain("")
            for problem in sorted(found, key=lambda one: (one.line or 0, one.row or 0)):
                self._complain(str(problem), style="yellow" if problem.warning else "red")

    def error(self, error: WeldtrialError) -> None:
        """Print an error on stderr, and with ``--json`` as JSON on stdout too."""
        from weldtrial.cli.errors import as_record, problems_of

        self.problems(problems_of(error))
        if error.hint:
            self._complain("")
            self._complain(error.hint)
        if self.json_only:
            self.json(as_record(error))

    def _complain(self, text: str, style: str | None = None) -> None:
        text = speakable(text, sys.stderr.encoding)
        # Only a person needs wrapping here: a script searches stderr line by line.
        if sys.stderr.isatty() and not self.plain:
            text = wrap(text, width=_columns(sys.stderr))
        self._write(sys.stderr, text, style)

    # ------------------------------------------------------------------ questions

    @property
    def may_ask(self) -> bool:
        """Whether somebody sits at a terminal who may be asked."""
        return not (self.no_input or self.json_only) and sys.stdin.isatty()

    def ask(self, prompt: str, default: str | None = None, *, flag: str) -> str:
        """Ask for a text, again until there is one.

        Raises
        ------
        WrongUsage
            Where nobody may be asked; it names `flag`, the way to say it on the command line.
        """
        self._need_terminal(prompt, flag)
        shown = prompt if not default else f"{prompt} [{default}]"
        while True:
            answer = self._input(f"{shown} ").strip()
            if answer or default is not None:
                return answer or default or ""

    def confirm(self, question: str, default: bool = False, *, flag: str = "--yes") -> bool:
        """Ask a yes-or-no question; raises as `ask` does."""
        self._need_terminal(question, flag)
        choices = "[Y/n]" if default else "[y/N]"
        while True:
            answer = self._input(f"{question}  {choices} ").strip().lower()
            if not answer:
                return default
            if answer in ("y", "yes", "n", "no"):
                return answer.startswith("y")

    def _need_terminal(self, question: str, flag: str) -> None:
        if not self.may_ask:
            raise WrongUsage(
                f"This needs an answer and there is nobody to ask: {question.strip()}",
                hint=f"Say it on the command line:  {flag}",
            )

    def _input(self, prompt: str) -> str:
        try:
            return input(speakable(wrap(prompt, _columns(sys.stdout)), sys.stdout.encoding))
        except EOFError:
            raise click.Abort from None

    # ------------------------------------------------------------------ progress

    @contextmanager
    def progress(self, words: str, total: int) -> Iterator[Callable[[int], None]]:
        """Give a function to call with the number of steps just done.

        A bar appears on stderr once the work has taken two seconds, on a terminal only.
        """
        if self.quiet or not sys.stderr.isatty():
            yield lambda steps: None
            return
        from weldtrial.cli.progress import LateBar

        with LateBar(speakable(words, sys.stderr.encoding), total, colour=self.colour) as bar:
            yield bar.advance

    @contextmanager
    def waiting(self, words: str) -> Iterator[None]:
        """Say what is being worked on while it takes more than two seconds, on a terminal only.

        For work that has no steps to count.
        """
        if self.quiet or not sys.stderr.isatty():
            yield
            return
        from weldtrial.cli.progress import LateWait

        with LateWait(speakable(words, sys.stderr.encoding), colour=self.colour):
            yield

    def _write(self, stream: TextIO, text: str, style: str | None) -> None:
        if style and text and self.colour and stream.isatty():
            text = click.style(text, bold=True) if style == "bold" else click.style(text, fg=style)
        # click knows how to show colour on an old Windows console.
        click.echo(text, file=stream)


def wrap(text: str, width: int = MAX_COLUMNS, hang: int | None = None) -> str:
    """Return `text` with each of its lines wrapped, later pieces indented `hang` further (2)."""
    return "\n".join(_wrap_line(line, width, hang) for line in text.split("\n"))


def _wrap_line(line: str, width: int, hang: int | None) -> str:
    if len(line) <= width:
        return line.rstrip() if not line.strip() else line
    own = len(line) - len(line.lstrip())
    indent = min(own + (2 if hang is None else hang), width // 2)
    pieces = textwrap.wrap(
        line,
        width=width,
        subsequent_indent=" " * indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return "\n".join(pieces)


def _columns(stream: TextIO) -> int:
    if not stream.isatty():
        return MAX_COLUMNS
    return max(40, min(MAX_COLUMNS, shutil.get_terminal_size().columns))
