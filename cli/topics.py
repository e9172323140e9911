"""The reference pages that travel with the program, one Markdown file a topic."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources

_ORDER = ("words", "trial-file", "statistics", "arithmetic", "json")
"""The pages a newcomer wants first; others follow by name."""


@dataclass(frozen=True, slots=True)
class Topic:
    """One page: its name, what its first line says, and its whole text."""

    name: str
    title: str
    summary: str
    text: str


@cache
def names() -> tuple[str, ...]:
    """Return the names of the pages there are."""
    folder = resources.files("weldtrial.cli").joinpath("help")
    found = {one.name.removesuffix(".md") for one in folder.iterdir() if one.name.endswith(".md")}
    first = [name for name in _ORDER if name in found]
    return (*first, *sorted(found.difference(_ORDER)))


def read(name: str) -> Topic:
    """Return the page `name`; its first line reads ``# Title — one-line summary``."""
    page = resources.files("weldtrial.cli").joinpath("help", f"{name}.md")
    text = page.read_text(encoding="utf-8")
    first = text.partition("\n")[0].removeprefix("#").strip()
    title, _, summary = first.partition(" — ")
    return Topic(name, title, summary or title, text)
