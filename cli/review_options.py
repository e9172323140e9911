"""The options that say what is reviewed, for ``review`` and for ``new --from-review``."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import click

COLUMN_ROLES = ("value", "group", "coupon", "setup", "day", "order", "time", "reader", "plate")
_Command = TypeVar("_Command", bound=Callable[..., Any])
_TEXTS = (
    ("counts", "TEXT", 'Events of coupons, the new side first: "new 3/4, before 0/12".'),
    ("summary", "TEXT", 'Name, mean, sd, coupons: "new 68.2 4.4 4, old 70.3 3.8 4".'),
    ("claim", "TEXT", 'What is said: "ratio 0.97", "at least 5 % worse", "alike" …'),
    ("margin", "SIZE", "The loss that would not matter: 5% or 5."),
    ("unit", "UNIT", "Of the figures, such as kN."),
    ("what", "TEXT", "What was counted or measured, such as porous."),
    ("thing", "TEXT", "What the sides are, such as spool."),
    ("new", "NAME", "With a file: the side that is claimed about."),
    ("old", "NAME", "With a file: the side it is compared with."),
)
_NUMBERS = (
    ("step", "Smallest step of the gauge: can those means come from it?"),
    ("least", "Least the gauge can show."),
    ("most", "Most the gauge can show."),
    ("sd-setup", "Scatter between set-ups, to size the honest test."),
)
_KEYS = (
    "counts", "summary", "study", "claim", "margin", "unit", "what", "thing", "new", "old",
    "step", "least", "most", "sd_setup", "better", "picked_from", "decimal", "answers", "say",
    *COLUMN_ROLES,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Wishes:
    """What was said on the command line, as typed; empty where nothing was."""

    place: Path | None = None
    counts: str = ""
    summary: str = ""
    study: tuple[str, ...] = ()
    claim: str = ""
    margin: str = ""
    unit: str = ""
    what: str = ""
    thing: str = ""
    new: str = ""
    old: str = ""
    step: float | None = None
    least: float | None = None
    most: float | None = None
    sd_setup: float | None = None
    better: str = ""
    picked_from: int = 1
    decimal: str = ""
    answers: Path | None = None
    say: tuple[str, ...] = ()
    columns: tuple[tuple[str, str], ...] = ()

    @property
    def kinds(self) -> tuple[str, ...]:
        """The kinds of input that were given; exactly one is wanted."""
        given = {
            "--counts": bool(self.counts),
            "--summary": bool(self.summary),
            "--study": bool(self.study),
            f"{self.place}": self.place is not None,
        }
        return tuple(name for name, said in given.items() if said)


def review_options(hidden: bool = False) -> Callable[[_Command], _Command]:
    """Give a command the options of `Wishes`, `hidden` where another page describes them."""

    def add(function: _Command) -> _Command:
        for option in reversed(_options(hidden)):
            function = option(function)
        return function

    return add


def _options(hidden: bool) -> list[Callable[[Any], Any]]:
    path = click.Path(path_type=Path)
    made = [
        click.option(f"--{name}", default="", metavar=meta, help=words, hidden=hidden)
        for name, meta, words in _TEXTS
    ]
    made.insert(2, click.option(
        "--study", multiple=True, metavar="TEXT", hidden=hidden,
        help='One of several studies: "shop A -2.1 se 0.9".'))  # fmt: skip
    made += [
        click.option(f"--{name}", type=float, metavar="X", help=words, hidden=hidden)
        for name, words in _NUMBERS
    ]
    made += [
        click.option("--better", type=click.Choice(["higher", "lower"]), hidden=hidden,
                     help="Which way is good (counts: lower, else higher)."),
        click.option("--picked-from", type=click.IntRange(1, 10_000), default=1, metavar="N",
                     hidden=hidden, help="How many results this one was picked from."),
        click.option("--decimal", type=click.Choice([".", ","]), hidden=hidden,
                     help="Decimal sign of a file."),
        click.option("--answers", type=path, metavar="FILE", hidden=hidden,
                     help="A TOML file of answers to the questions."),
        click.option("--say", multiple=True, metavar="KEY=ANSWER", hidden=hidden,
                     help="Answer one question: controls=remembered."),
    ]  # fmt: skip
    made += [
        click.option(f"--{role}", default="", metavar="COL", hidden=hidden,
                     help=f"With a file: the column of the {role}.")
        for role in COLUMN_ROLES
    ]  # fmt: skip
    return made


def take_wishes(said: dict[str, Any], place: Path | None) -> Wishes:
    """Take what `review_options` gave out of a command's arguments."""
    found = {key: said.pop(key) for key in _KEYS}
    columns = tuple((role, found.pop(role)) for role in COLUMN_ROLES)
    found = {key: "" if value is None and key in ("better", "decimal") else value
             for key, value in found.items()}  # fmt: skip
    return Wishes(
        place=place, columns=tuple((role, name) for role, name in columns if name), **found
    )
