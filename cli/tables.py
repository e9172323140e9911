"""Tables as text: one thin rule under the header, or tab-separated."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from weldtrial.cli.console import Align

# Eight lines of four characters: top, head, rule under the head, and so on (rich.box.Box).
_THIN_RULE = "    \n    \n ── \n    \n    \n    \n    \n    \n"
GAP = 2
"""Cells between two columns."""
_NUMBER = re.compile(r"^[<>≥≤±+−-]{0,2}\s?\d[\d .,]*\s?%?$")


def plain_table(headers: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return one line a row, cells and headers separated by tabs."""
    lines = ["\t".join(headers)]
    lines += ["\t".join(" ".join(cell.split()) for cell in row) for row in rows]
    return "\n".join(lines)


def ruled_table(
    headers: Sequence[str],
    rows: Sequence[Sequence[str]],
    align: Sequence[Align] | None,
    width: int,
) -> str:
    """Return an aligned table, cells wrapped so that no line passes `width` columns."""
    from rich import box
    from rich.console import Console as RichConsole
    from rich.table import Table
    from rich.text import Text

    rule = box.Box(_THIN_RULE)
    sides = align or [_side(column, rows) for column in range(len(headers))]
    table = Table(box=rule, padding=(0, 1, 0, 0), pad_edge=False, show_edge=False)
    columns = [
        [title, *(row[column] for row in rows if column < len(row))]
        for column, title in enumerate(headers)
    ]
    for title, side, wide in zip(headers, sides, _widths(columns, width), strict=True):
        justify = "center" if side == "centre" else side
        table.add_column(Text(title), justify=justify, overflow="fold", width=wide)
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    out = io.StringIO()
    RichConsole(file=out, width=width, color_system=None, legacy_windows=False).print(table)
    return "\n".join(line.rstrip() for line in out.getvalue().rstrip("\n").split("\n"))


def _widths(columns: Sequence[Sequence[str]], width: int) -> list[int | None]:
    """Return how wide each column is, so that no word is cut in two where all of them fit."""
    from rich.cells import cell_len

    def longest(pattern: str, cells: Sequence[str]) -> int:
        return max(cell_len(part) for cell in cells for part in re.split(pattern, cell))

    wide = [longest(r"\n", cells) for cells in columns]
    least = [longest(r"[ \n]", cells) for cells in columns]
    spare = width - GAP * (len(columns) - 1)
    if sum(least) > spare:
        return [None] * len(columns)
    while sum(wide) > spare:
        # The widest gives way, one cell at a time.
        at = max((n for n, one in enumerate(wide) if one > least[n]), key=wide.__getitem__)
        wide[at] -= 1
    return list(wide)


def _side(column: int, rows: Sequence[Sequence[str]]) -> Align:
    """Numbers stand right, so that their digits line up."""
    cells = [row[column] for row in rows if column < len(row) and row[column].strip()]
    return "right" if cells and all(_NUMBER.match(cell.strip()) for cell in cells) else "left"
