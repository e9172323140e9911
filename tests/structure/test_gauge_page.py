"""The example of the gauge page is what the commands print, from the readings that it shows."""

from __future__ import annotations

import csv
import re
import shlex
from collections.abc import Callable
from pathlib import Path
from typing import Any

PAGE = (Path(__file__).resolve().parents[2] / "cli" / "help" / "gauge.md").read_text(
    encoding="utf-8"
)


def squeezed(text: str) -> str:
    return " ".join(text.split())


def fill(folder: Path, example: str) -> None:
    """Type in the readings of the page's table."""
    path = folder / "readings" / "penetration.csv"
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    lines = re.findall(r"^ +([A-Z]\d[A-Z](?: +\d\.\d){4})$", example, re.MULTILINE)
    table = {line.split()[0]: line.split()[1:] for line in lines}
    columns = [(f"reader {reader}", str(repeat)) for reader in (1, 2) for repeat in (1, 2)]
    for row in rows:
        row["reading"] = table[row["stamp"]][columns.index((row["reader"], row["repeat"]))]
    with path.open("w", newline="", encoding="utf-8") as out:
        writer = csv.DictWriter(out, rows[0])
        writer.writeheader()
        writer.writerows(rows)


def test_every_command_prints_what_stands_below_it(
    weldtrial: Callable[..., Any], tmp_path: Path
) -> None:
    example = PAGE.partition("## An example")[2]
    _, *parts = re.split(r"^    \$ weldtrial (.+)$", example, flags=re.M)
    commands = dict(zip(parts[::2], parts[1::2], strict=True))
    assert list(commands) == ["new pen --for gauge", "-C pen plan", "-C pen analyse"]
    compared = 0
    for command, below in commands.items():
        if command.endswith("analyse"):
            assert weldtrial("-C", "pen", "sheets").code == 0
            fill(tmp_path / "pen", example)
        outcome = weldtrial(*shlex.split(command))
        assert (outcome.code, outcome.err) == (0, "")
        for block in re.findall(r"(?:^    .+\n)+", below, re.MULTILINE):
            if re.search(r"^ +[A-Z]\d[A-Z] ", block):
                continue  # the readings, which were typed in
            assert squeezed(block) in squeezed(outcome.out), block
            compared += 1
    assert compared >= 5
