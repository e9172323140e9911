"""The tables of the designs page are the catalogue and the blocks that the program makes."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from weldtrial.doe.blocks import block
from weldtrial.doe.box_behnken import BLOCKS
from weldtrial.doe.catalogue import LETTERS, catalogue
from weldtrial.doe.families import family
from weldtrial.doe.fractions import fraction
from weldtrial.shared.coding import model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused

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
    before = PAGE.split("## Designs by name")[0]
    rows = re.findall(r"^ +(\d) +(\d+) {6,}(\d[\d ]*)$", before, re.MULTILINE)
    assert [int(factors) for factors, _, _ in rows] == [2, 3, 4, 5, 6]
    for factors, runs, counts in rows:
        design = fraction(tuple(LETTERS[: int(factors)]), int(runs))
        hidden = [len(block(design, 2**power).two_factor) for power in range(1, int(factors))]
        assert [int(count) for count in counts.split()] == hidden


def numbers(many: int) -> list[Factor]:
    return [
        Factor(f"x{place}", "numeric", ("a", "b"), unit="V", settings={"": (0.0, 1.0)})
        for place in range(many)
    ]


def section(name: str) -> str:
    return PAGE.split(f"### {name}")[1].split("##")[0]


def test_table_of_composites_is_what_is_made() -> None:
    rows = re.findall(
        r"^ +(\d) +(\d+) +(\d+) +(\d\.\d{3}) +([\d ]+)$", section("Central"), re.MULTILINE
    )
    assert [int(row[0]) for row in rows] == list(range(2, 9))
    for many, cube, star, distance, blocks in rows:
        made = family("central-composite", numbers(int(many)), star="outside")
        assert made.notes[0].startswith(f"{cube} coupons in the cube, {star} star points")
        assert f"{made.star:.3f}" == distance
        allowed = []
        for cut in range(2, 18):
            try:
                family("central-composite", numbers(int(many)), blocks=cut)
            except PlanRefused:
                continue
            allowed.append(cut)
        assert allowed == [int(one) for one in blocks.split()]


def test_table_of_what_star_points_cost_is_what_is_found() -> None:
    """Three factors, every digit printed; averages over the cube, exact for fourth powers."""
    rows = re.findall(
        r"^ +(face|inside|outside) +([\d.]+) +([\d.]+) +([\d.]+) +([\d.]+)$",
        section("Central"),
        re.MULTILINE,
    )
    assert len(rows) == 3
    at, weight = np.polynomial.legendre.leggauss(3)
    points = [{"x0": a, "x1": b, "x2": c} for a in at for b in at for c in at]
    share = np.kron(np.kron(weight, weight), weight) / 8
    for star, *printed in rows:
        made = family("central-composite", numbers(3), star=star)
        x = model_matrix(numbers(3), made.model, made.points)
        spread = np.linalg.inv(x.matrix.T @ x.matrix)
        se = [spread[x.columns[name][0], x.columns[name][0]] ** 0.5 for name in ("x0", "x0:x1")]
        se.append(spread[x.columns["x0^2"][0], x.columns["x0^2"][0]] ** 0.5)
        grid = model_matrix(numbers(3), made.model, points).matrix
        average = float(share @ np.einsum("ij,jk,ik->i", grid, spread, grid))
        assert [*(f"{one:.3f}" for one in se), f"{average:.2f}"] == printed


def test_table_of_box_behnken_is_what_is_made() -> None:
    rows = re.findall(r"^ +(\d) +(\d+) +(\d) +([\d-])$", section("Box"), re.MULTILINE)
    assert [int(row[0]) for row in rows] == list(range(3, 8))
    for many, coupons, centre, blocks in rows:
        made = family("box-behnken", numbers(int(many)))
        assert (len(made.points) - made.centre, made.centre) == (int(coupons), int(centre))
        assert BLOCKS[int(many)] == (1 if blocks == "-" else int(blocks))
