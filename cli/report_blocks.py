"""What a page is made of: texts, lists, tables, boxes and figures, laid out by one template."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import ClassVar

_NUMBER = re.compile(r"[+−<> ]*\d[\d.,]*(\s*%)?( to [+−]?\d[\d.,]*)?")
_LONG = 5
"""Rows beyond which a narrow table is folded into pieces side by side."""
_COLUMN, _PAGE = 82, 130
"""Letters of small type that fit across a column and across a page."""
_PIECES = 66
"""Letters that fit across a column where they stand in two pieces."""
_WRAPPED = 18
"""Letters of a cell in a column before it takes a second line."""


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
    wide: bool = False
    kind: ClassVar[str] = "table"

    @property
    def spans(self) -> bool:
        """Whether the table needs the whole width of the page."""
        return self.wide or self._letters(wrapped=_WRAPPED) > _COLUMN

    @property
    def right(self) -> tuple[bool, ...]:
        """Whether each column holds numbers only."""
        return tuple(_is_numeric(row[place] for row in self.rows) for place in range(len(self)))

    @property
    def pieces(self) -> tuple[tuple[tuple[str, ...], ...], ...]:
        """The rows, in pieces to stand side by side when they are many and narrow."""
        across = _PAGE if self.spans else _PIECES
        count = min(3, across // self._letters()) if len(self.rows) > _LONG else 1
        if count < 2:
            return (self.rows,)
        size = -(-len(self.rows) // count)
        return tuple(self.rows[start : start + size] for start in range(0, len(self.rows), size))

    def __len__(self) -> int:
        return len(self.headers)

    def _letters(self, wrapped: int = _PAGE) -> int:
        """Return how many letters a row is wide, headers wrapped at words, texts at `wrapped`."""
        return sum(
            2 + max(min(len(word), wrapped) for word in (*header.split(), *cells))
            for header, *cells in zip(self.headers, *self.rows, strict=True)
        )


@dataclass(frozen=True, slots=True)
class FigureBlock:
    """A figure with its caption and the numbers that were drawn.

    `rest` says, where `table` does not hold every number, which columns of the section of all
    readings hold the others.  A `wide` figure takes the whole width of the page.
    """

    svg: str
    caption: str
    table: Table
    rest: str = ""
    wide: bool = False
    kind: ClassVar[str] = "figure"


@dataclass(frozen=True, slots=True)
class Beside:
    """Blocks side by side, in two halves of the page."""

    left: tuple[Block, ...]
    right: tuple[Block, ...]
    kind: ClassVar[str] = "beside"


Block = Text | Heading | Items | Terms | Box | Flowchart | Table | FigureBlock | Beside


@dataclass(frozen=True, slots=True)
class Section:
    """A numbered section of a report."""

    number: int
    title: str
    blocks: tuple[Block, ...] = field(default_factory=tuple)

    @property
    def stretches(self) -> tuple[tuple[bool, tuple[Block, ...]], ...]:
        """The blocks in stretches, each across the page (True) or in two columns.

        A heading goes with the block below it.
        """
        found: list[tuple[bool, list[Block]]] = []
        waiting: list[Block] = []
        for block in self.blocks:
            waiting.append(block)
            if isinstance(block, Heading):
                continue
            if not found or found[-1][0] != _spans(block):
                found.append((_spans(block), []))
            found[-1][1].extend(waiting)
            waiting = []
        if waiting:
            found.append((True, waiting))
        return tuple((across, tuple(blocks)) for across, blocks in found)


def table(
    headers: Sequence[str],
    rows: Iterable[Sequence[str]],
    caption: str = "",
    *,
    wide: bool = False,
) -> Table:
    """Return a table, leaving out columns that are empty in every row."""
    filled = [tuple(row) for row in rows]
    kept = [place for place in range(len(headers)) if any(row[place] for row in filled)]
    return Table(
        tuple(headers[place] for place in kept),
        tuple(tuple(row[place] for place in kept) for row in filled),
        caption,
        wide,
    )


def bullets(items: Iterable[str], mark: str = "•") -> Items:
    """Return a list with the same mark before each item."""
    return Items(tuple((mark, item) for item in items))


def _spans(block: Block) -> bool:
    if isinstance(block, Table):
        return block.spans
    if isinstance(block, FigureBlock):
        return block.wide
    return isinstance(block, Box | Flowchart | Beside)


def _is_numeric(cells: Iterable[str]) -> bool:
    found = [cell for cell in cells if cell]
    return bool(found) and all(_NUMBER.fullmatch(cell) for cell in found)
