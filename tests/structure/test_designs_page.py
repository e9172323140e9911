"""The tables of the designs page are the catalogue and the blocks that the program makes."""

from __future__ import annotations

import re
from pathlib import Path

from weldtrial.doe.blocks import block
from weldtrial.doe.catalogue import LETTERS, catalogue
from weldtrial.doe.fractions import fraction

PAGE = (Path(__file__).resolve().parents[2] / "cli" / "help" / "designs.md").read_text(
    encoding="utf-8"
)
ROMAN = {"III": 3, "IV": 4, "V": 5, "VI": 6, "VII": 7}


def test_table_of_fractions_is_the_catalogue() -> None:
    rows = re.findall(
        r"^ +(\d+) +(\d+) +([IV]+) +([\d-]+) +([\d-]+) +([\d-]+) +([A-Z=]+(?: [A-Z=]+)*)$",
        PAGE,
        re.MULTILINE,
    )
    told = [
        (
            int(factors),
            int(runs),
            ROMAN[resolution],
            tuple(int(count) for count in counts if count != "-"),
            tuple(tuple(made.split("=")) for made in generators.split()),
        )
        for factors, runs, resolution, *counts, generators in rows
    ]
    assert told == [
        (one.factors, one.runs, one.resolution, one.word_lengths[:3], one.generators)
        for one in catalogue()
    ]


def test_table_of_blocks_is_what_the_cut_hides() -> None:
    rows = re.findall(r"^ +(\d) +(\d+) {6,}(\d[\d ]*)$", PAGE, re.MULTILINE)
    assert [int(factors) for factors, _, _ in rows] == [2, 3, 4, 5, 6]
    for factors, runs, counts in rows:
        design = fraction(tuple(LETTERS[: int(factors)]), int(runs))
        hidden = [len(block(design, 2**power).two_factor) for power in range(1, int(factors))]
        assert [int(count) for count in counts.split()] == hidden
