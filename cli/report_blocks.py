"""What a page is made of: texts, lists, tables, boxes and figures, laid out by one template."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import ClassVar

_NUMBER = re.compile(r"[+−<> ]*\d[\d.,]*(\s*%)?( to [+−]?\d[\d.,]*)?")
_LONG = 18
"""Rows beyond which a narrow table is folded into columns side by side."""
_ACROSS = 112
"""Letters of small type that fit across a page."""


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph; `strong` sets its first words in bold."""

    words: str
    strong: str = ""
    kind: ClassVar[str] = "text"


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading within a section."""

    words: str
    kind: ClassVar[str] = "heading"


@dataclass(frozen=True, slots=True)
class Items:
    """A list, each item with a mark before it (a plus, a minus, a tick) or a dot."""

    items: tuple[tuple[str, str], ...]
    kind: ClassVar[str] = "items"


@dataclass(frozen=True, slots=True)
class Terms:
    """Names with their meaning, one a line."""

    pairs: tuple[tuple[str, str], ...]
    kind: ClassVar[str] = "terms"


@dataclass(frozen=True, slots=True)
class Box:
    """A boxed statement: a head sentence and further lines."""

    head: str
    lines: tuple[str, ...] = ()
    tag: str = ""
    kind: ClassVar[str] = "box"


@dataclass(frozen=True, slots=True)
class Flowchart:
    """Boxes in rows: for each name, what went from stage to stage."""

    rows: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    kind: ClassVar[str] = "flow"


@dataclass(frozen=True, slots=True)
class Table:
    """A table; columns of numbers are set right."""

    headers: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    kind: ClassVar[str] = "table"

    @property
    def right(self) -> tuple[bool, ...]:
        """Whether each column holds numbers only."""
        return tuple(_is_numeric(row[place] for row in self.rows) for place in range(len(self)))

    @property
    def pieces(self) -> tuple[tuple[tuple[str, ...], ...], ...]:
        """The rows, in pieces to stand side by side when they are many and narrow."""
        count = min(3, _ACROSS // self._letters()) if len(self.rows) > _LONG else 1
        if count < 2:
            return (self.rows,)
        size = -(-len(self.rows) // count)
        return tuple(self.rows[start : start + size] for start in range(0, len(self.rows), size))

    def __len__(self) -> int:
        return len(self.headers)

    def _letters(self) -> int:
        """Return how many letters a row is wide, headers wrapped at their words."""
        return sum(
            2 + max(len(word) for word in (*header.split(), *cells))
            for header, *cells in zip(self.headers, *self.rows, strict=True)
        )


@dataclass(frozen=True, slots=True)
class FigureBlock:
    """A figure with its caption and the numbers that were drawn."""

    svg: str
    caption: str
    table: Table
    kind: ClassVar[str] = "figure"


Block = Text | Heading | Items | Terms | Box | Flowchart | Table | FigureBlock


@dataclass(frozen=True, slots=True)
class Section:
    """A numbered section of a report."""

    number: int
    title: str
    blocks: tuple[Block, ...] = field(default_factory=tuple)


def table(headers: Sequence[str], rows: Iterable[Sequence[str]], caption: str = "") -> Table:
    """Return a table, leaving out columns that are empty in every row."""
    filled = [tuple(row) for row in rows]
    kept = [place for place in range(len(headers)) if any(row[place] for row in filled)]
    return Table(
        tuple(headers[place] for place in kept),
        tuple(tuple(row[place] for place in kept) for row in filled),
        caption,
    )


def bullets(items: Iterable[str], mark: str = "•") -> Items:
    """Return a list with the same mark before each item."""
    return Items(tuple((mark, item) for item in items))


def _is_numeric(cells: Iterable[str]) -> bool:
    found = [cell for cell in cells if cell]
    return bool(found) and all(_NUMBER.fullmatch(cell) for cell in found)
