"""Fractions, aliases, fold-overs and blocks against published tables and lists.

Sources stand in the cases: Fries & Hunter (1980), Chen, Sun & Wu (1993), Box, Hunter & Hunter
(1978), NIST/SEMATECH e-Handbook, and the railway welding fraction of Taguchi & Wu (1980).
"""

from __future__ import annotations

import json
from itertools import combinations
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from weldtrial.doe.aliases import AliasSet, alias_sets, estimable
from weldtrial.doe.blocks import block, block_by, halves
from weldtrial.doe.catalogue import LETTERS, Entry, catalogue, catalogued
from weldtrial.doe.fractions import Fraction, fold_over, fraction, fraction_from
from weldtrial.doe.words import Word

ROMAN = {3: "III", 4: "IV", 5: "V", 6: "VI", 7: "VII"}
ENTRIES = [pytest.param(entry, id=f"{entry.factors} in {entry.runs}") for entry in catalogue()]
SEARCHED = [
    pytest.param(entry, id=f"{entry.factors} in {entry.runs}", marks=pytest.mark.slow)
    if (entry.factors, entry.runs) == (11, 64)
    else pytest.param(entry, id=f"{entry.factors} in {entry.runs}")
    for entry in catalogue()
]
SEVEN = tuple("1234567")


def pattern(text: str) -> tuple[int, ...]:
    return tuple(int(count) for count in text.split())


def from_columns(matrix: np.ndarray) -> tuple[int, ...]:
    """Word-length pattern counted from the columns alone: products that never change."""
    many = matrix.shape[1]
    return tuple(
        sum(
            abs(int(np.prod(matrix[:, list(places)], axis=1).sum())) == len(matrix)
            for places in combinations(range(many), size)
        )
        for size in range(3, many + 1)
    )


def spelled(words: tuple[Word, ...]) -> dict[str, int]:
    return {"".join(word.factors): word.sign for word in words}


def sums(sets: tuple[AliasSet, ...]) -> set[str]:
    return {"+".join("".join(word.factors) for word in one.effects) for one in sets}


def in_any_order(listed: list[str]) -> set[frozenset[str]]:
    return {frozenset("".join(sorted(word)) for word in one.split("+")) for one in listed}


def foldover(reference: ModuleType) -> dict[str, Any]:
    """The handbook's fold-over case, which has no data file."""
    text = (reference.DATA / "nist-hb-foldover-2x7-4.json").read_text(encoding="utf-8")
    return dict(json.loads(text)["expected"])


def seven_in_eight() -> Fraction:
    return fraction_from(SEVEN, 8, ["4 = 1 * 2", "5 = 1 * 3", "6 = 2 * 3", "7 = 1 * 2 * 3"])


@pytest.mark.parametrize("entry", ENTRIES)
def test_catalogue_keeps_its_promise_in_the_columns(entry: Entry) -> None:
    made = fraction(LETTERS[: entry.factors], entry.runs)
    signs = np.array(made.signs)
    assert signs.shape == (entry.runs, entry.factors)
    assert from_columns(signs) == made.word_lengths == entry.word_lengths
    shortest = next(size for size, count in enumerate(entry.word_lengths, 3) if count)
    assert made.resolution == entry.resolution == shortest


def test_catalogue_is_the_published_one(reference: ModuleType) -> None:
    published = reference.load("min-aberration-catalogue").columns
    compared = 0
    for factors, runs, resolution, lengths in zip(
        published["factors"],
        published["runs"],
        published["resolution"],
        published["wlp_A3_onwards"],
        strict=True,
    ):
        if int(factors) > len(LETTERS):
            continue
        entry = catalogued(int(factors), int(runs))
        assert entry is not None
        assert (entry.resolution, entry.word_lengths) == (int(resolution), pattern(lengths))
        compared += 1
    # All but the half fraction of three factors, and 11 in 64 (see the search below).
    assert compared == len(catalogue()) - 2


def test_every_fraction_of_the_handbook_table_is_matched(reference: ModuleType) -> None:
    case = reference.load("nist-hb-fraction-table")
    columns = case.columns
    compared = set()
    for factors, p, runs, lengths, printed in zip(
        columns["k"],
        columns["p"],
        columns["runs"],
        columns["wlp_A3_onwards_computed"],
        columns["generators_printed"],
        strict=True,
    ):
        k, n = int(factors), int(runs)
        if not (3 <= k <= 11 and 4 <= n <= 64):
            continue
        entry = catalogued(k, n)
        assert entry is not None
        assert ROMAN[entry.resolution] == case.expected["table_3_17"][f"{k}-{p}"]
        assert entry.word_lengths == pattern(lengths)
        ours = {
            f"{number(made)}={''.join(str(number(one)) for one in product)}"
            for made, product in entry.generators
        }
        assert set(printed.split()) <= ours
        compared.add((k, n))
    assert compared == {(entry.factors, entry.runs) for entry in catalogue()}


def number(letter: str) -> int:
    return LETTERS.index(letter) + 1


@pytest.mark.parametrize("entry", SEARCHED)
def test_no_choice_of_generators_has_less_aberration(entry: Entry) -> None:
    """Complete search over the products of base factors, for every entry up to 400 000 choices.

    With 11 factors in 64 runs, 4.2 million choices, the counts of words of length 3 to 5 are
    searched: they are Chen, Sun & Wu's (0, 4, 14; from memory).
    """
    base = entry.runs.bit_length() - 1
    needed = entry.factors - base
    long = entry.factors == 11 and entry.runs == 64
    depth = 3 if long else len(entry.word_lengths)
    products = np.array([bits for bits in range(entry.runs) if bits.bit_count() >= 2])
    ones = np.array([bits.bit_count() for bits in range(entry.runs)])
    chosen = np.array(list(combinations(range(len(products)), needed)), dtype=np.int8)
    counts = np.zeros((len(chosen), depth), dtype=np.int16)
    for which in range(1, 2**needed):
        places = [place for place in range(needed) if which >> place & 1]
        word = np.bitwise_xor.reduce(products[chosen[:, places]], axis=1)
        length = ones[word] + len(places)
        for size in range(3, 3 + depth):
            counts[:, size - 3] += length == size
    best = min(map(tuple, np.unique(counts, axis=0).tolist()))
    assert entry.word_lengths[:depth] == best


def test_handbook_defining_relation_and_aliases_of_seven_factors_in_eight_runs(
    reference: ModuleType,
) -> None:
    expected = foldover(reference)
    made = seven_in_eight()
    assert spelled(made.defining) == dict.fromkeys(expected["defining_relation"], 1)
    found = {
        one.effects[0].factors[0]: ["".join(word.factors) for word in one.effects[1:]]
        for one in alias_sets(made)
    }
    assert found == expected["main_effect_aliases_2fi"]


def test_catalogue_has_the_handbook_fraction_of_seven_factors_in_eight_runs() -> None:
    assert fraction(SEVEN, 8).signs == seven_in_eight().signs


def test_handbook_mirror_image_fold_over(reference: ModuleType) -> None:
    expected = foldover(reference)
    first = seven_in_eight()
    both = fold_over(first)
    mirror = [
        text.replace("=", " = ").replace("-", "- ")
        for text in expected["mirror_foldover_generators"]
    ]
    turned = fraction_from(SEVEN, 8, [spaced(text) for text in mirror])
    assert both.signs[:8] == first.signs
    assert set(both.signs[8:]) == set(turned.signs)
    assert ROMAN[both.resolution] == expected["combined_resolution"]
    assert spelled(both.defining) == dict.fromkeys(expected["combined_words_length4"], 1)
    assert all(one.alone for one in estimable(both) if len(one.effects[0].factors) == 1)


def spaced(text: str) -> str:
    """`4 = - 12` as `4 = -1*2`."""
    left, _, right = text.partition("=")
    sign = "-" if "-" in right else ""
    return f"{left.strip()} = {sign}{'*'.join(right.replace('-', '').strip())}"


def test_handbook_fold_over_of_one_factor(reference: ModuleType) -> None:
    both = fold_over(seven_in_eight(), "4")
    printed = foldover(reference)["reverse_x4_estimable"]
    assert in_any_order(sorted(sums(estimable(both)))) == in_any_order(printed)
    assert halves(both).numbers == (1,) * 8 + (2,) * 8
    assert halves(both).two_factor == ()
    # The fifteenth comparison of sixteen runs: the day of the second half, a three-factor word.
    assert len(estimable(both)) == 14
    assert "124" in spelled(halves(both).up_to(3))


def test_handbook_quarter_fraction_of_five_factors(reference: ModuleType) -> None:
    made = fraction_from(tuple("12345"), 8, ["4 = 1*2", "5 = 1*3"])
    printed = foldover(reference)["2x5-2_example"]["defining_relation"]
    assert spelled(made.defining) == dict.fromkeys(printed, 1)


def test_handbook_blocks_of_three_factors(reference: ModuleType) -> None:
    case = reference.load("nist-hb-block-2x3")
    cut = block(fraction(("x1", "x2", "x3"), 8), 2)
    rows = np.column_stack([case.numbers(name) for name in ("x1", "x2", "x3")])
    printed = dict(zip(map(tuple, rows.tolist()), case.columns["block"], strict=True))
    assert [printed[row] for row in cut.design.signs] == ["I" * one for one in cut.numbers]
    first = [row for row, one in enumerate(cut.numbers, 1) if one == 1]
    assert first == case.expected["block_I_rows_standard_order"]
    assert ["".join(word.factors) for word in cut.up_to(3)] == [case.expected["confounded"]]
    assert cut.two_factor == ()


def test_railway_welds_have_the_published_defining_words(reference: ModuleType) -> None:
    """Generators are read off the published matrix; all words must follow, signs and all."""
    case = reference.load("weld-railway-2x9-5")
    names = tuple(list(case.columns)[:9])
    rows = {tuple(int(case.columns[name][row]) for name in names) for row in range(16)}
    made = fraction_from(
        names,
        16,
        [
            "Thickness = -Drying * Material",
            "Angle = Rods * Drying * Material",
            "Method = Rods * Drying * Current",
            "Opening = Drying * Material * Current",
            "Preheating = -Rods * Drying * Material * Current",
        ],
    )
    assert set(made.signs) == rows
    short = {
        ("-" if word.sign < 0 else "") + ".".join(word.factors)
        for word in made.defining
        if len(word.factors) <= 4
    }
    printed = case.expected["defining_words_length3"] + case.expected["defining_words_length4"]
    assert short == set(printed)
    assert ROMAN[made.resolution] == case.expected["resolution"]
    # Six three-factor words: the catalogue's fraction of nine factors in 16 runs has four.
    assert made.word_lengths[0] == 6 > fraction(names, 16).word_lengths[0]


@pytest.mark.parametrize(("factors", "blocks", "confounded"), [
    (3, 2, 0), (3, 4, 3), (4, 2, 0), (4, 4, 1), (4, 8, 6), (5, 2, 0), (5, 4, 0), (5, 8, 2),
    (5, 16, 10), (6, 2, 0), (6, 4, 0), (6, 8, 0), (6, 16, 3), (6, 32, 15),
])  # fmt: skip
def test_blocks_of_full_factorials_hide_as_little_as_the_printed_ones(
    factors: int, blocks: int, confounded: int
) -> None:
    """The two-factor interactions hidden by the blocks of Box, Hunter & Hunter (1978), p. 346.

    The block generators of that table from memory; what they hide is worked out here.  The ones
    remembered for six factors in 16 blocks hide one interaction more than ours.
    """
    printed = {
        (3, 2): "123", (3, 4): "12 13", (4, 2): "1234", (4, 4): "124 134", (4, 8): "12 23 34",
        (5, 2): "12345", (5, 4): "123 345", (5, 8): "125 235 345", (5, 16): "12 13 34 45",
        (6, 2): "123456", (6, 4): "1236 3456", (6, 8): "136 1234 3456",
        (6, 16): "126 136 346 456", (6, 32): "12 23 34 45 56",
    }[factors, blocks]  # fmt: skip
    design = fraction(tuple("123456"[:factors]), 2**factors)
    theirs = block_by(design, [Word(tuple(word)) for word in printed.split()])
    ours = block(design, blocks)
    assert theirs.blocks == ours.blocks == blocks
    assert len(ours.two_factor) == confounded
    assert len(theirs.two_factor) == confounded + ((factors, blocks) == (6, 16))
