"""Blocks: what they hide is listed, and nothing else; the cut is the cheapest there is."""

from __future__ import annotations

from collections import Counter
from itertools import combinations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from weldtrial.doe.blocks import Blocked, block, block_by, confounded_words, halves
from weldtrial.doe.catalogue import LETTERS, catalogue
from weldtrial.doe.fractions import Fraction, fold_over, fraction
from weldtrial.doe.words import Word
from weldtrial.shared.problems import PlanRefused

NAMES = ("voltage", "wire_feed", "travel", "gap")


@st.composite
def cuts(draw: st.DrawFn) -> Blocked:
    """Any catalogued fraction or full factorial of up to 32 runs and 8 factors, cut somehow."""
    small = [entry for entry in catalogue() if entry.runs <= 32 and entry.factors <= 8]
    sizes = [(entry.factors, entry.runs) for entry in small] + [(k, 2**k) for k in range(2, 6)]
    factors, runs = draw(st.sampled_from(sizes))
    design = fraction(tuple(LETTERS[:factors]), runs)
    if factors == 7 and runs < 64 and draw(st.booleans()):
        design = fold_over(design, "D")
    try:
        return block(design, 2 ** draw(st.integers(1, design.runs.bit_length() - 2)))
    except PlanRefused:
        assume(False)
        raise


def column(design: Fraction, names: tuple[str, ...]) -> np.ndarray:
    signs = np.array(design.signs)
    return np.prod(signs[:, [design.factors.index(name) for name in names]], axis=1)


@given(cut=cuts())
@settings(max_examples=50, deadline=None)
def test_blocks_are_equal_and_hide_just_what_is_listed(cut: Blocked) -> None:
    design = cut.design
    numbers = np.array(cut.numbers)
    assert set(Counter(cut.numbers).values()) == {design.runs // cut.blocks}
    assert sorted(set(cut.numbers)) == list(range(1, cut.blocks + 1))
    hidden = {word.factors for word in cut.up_to(len(design.factors))}
    assert len(cut.confounded) == cut.blocks - 1
    constant = {word.factors for word in design.defining}
    for size in range(1, len(design.factors) + 1):
        for names in combinations(design.factors, size):
            effect = column(design, names)
            sums = [int(effect[numbers == one].sum()) for one in range(1, cut.blocks + 1)]
            if names in hidden:
                assert {abs(total) for total in sums} == {design.runs // cut.blocks}
            elif names not in constant:
                assert set(sums) == {0}
    assert all(len(word) > 1 for word in hidden)
    assert {word.factors for word in cut.two_factor} == {one for one in hidden if len(one) == 2}


@pytest.mark.parametrize(("factors", "runs", "blocks"), [
    (3, 8, 2), (4, 16, 2), (4, 16, 4), (4, 16, 8), (5, 16, 4), (6, 16, 2), (6, 16, 4), (6, 8, 2),
    (7, 16, 4), (5, 32, 4), (6, 32, 4),
])  # fmt: skip
def test_no_other_cut_hides_less(factors: int, runs: int, blocks: int) -> None:
    """Every cut by products of the factors, judged by what it hides."""
    design = fraction(tuple(LETTERS[:factors]), runs)
    words = [
        Word(names)
        for size in range(1, len(design.base) + 1)
        for names in combinations(design.base, size)
    ]
    judged = []
    for chosen in combinations(words, blocks.bit_length() - 1):
        try:
            judged.append(cost(block_by(design, chosen)))
        except PlanRefused:
            continue
    assert cost(block(design, blocks)) == min(one for one in judged if one[0] == 0)


def cost(cut: Blocked) -> tuple[int, ...]:
    many = len(cut.design.factors)
    sizes = Counter(len(word.factors) for word in cut.up_to(many))
    return tuple(sizes[size] for size in range(1, many + 1))


def test_interaction_that_must_be_hidden_is_of_the_factors_named_last() -> None:
    cut = block(fraction(NAMES, 16), 4)
    assert cut.two_factor == (Word(("travel", "gap")),)
    assert confounded_words(cut, "day") == (
        "travel × gap cannot be told from the difference between days",
        "voltage × wire feed × travel cannot be told from the difference between days",
        "voltage × wire feed × gap cannot be told from the difference between days",
    )


def test_one_block_hides_nothing() -> None:
    cut = block(fraction(NAMES, 8), 1)
    assert (cut.blocks, cut.words, cut.confounded) == (1, (), ())
    assert cut.numbers == (1,) * 8
    assert confounded_words(cut) == ()


def test_same_design_is_always_cut_the_same_way() -> None:
    cut = block(fraction(NAMES, 16), 4)
    assert cut == block(fraction(NAMES, 16), 4)
    assert [word.title for word in cut.words] == [
        "voltage × wire feed × gap",
        "voltage × wire feed × travel",
    ]
    assert cut.numbers[:8] == (1, 4, 4, 1, 3, 2, 2, 3)


@pytest.mark.parametrize(("factors", "runs", "blocks", "told"), [
    (4, 16, 3, "16 combinations cannot be cut into 3 equal blocks. Take 2, 4 or 8."),
    (4, 8, 16, "8 combinations cannot be cut into 16 equal blocks. Take 2 or 4."),
    (4, 8, 0, "8 combinations cannot be cut into 0 equal blocks"),
    (3, 4, 2, "cannot be cut into 2 blocks without hiding a main effect"),
    (8, 256, 2, "256 combinations are too many to cut into blocks here; 128 are the most"),
])  # fmt: skip
def test_cut_that_cannot_be_made_says_why(factors: int, runs: int, blocks: int, told: str) -> None:
    with pytest.raises(PlanRefused, match=told):
        block(fraction(tuple(LETTERS[:factors]), runs), blocks)


def test_products_that_cannot_number_blocks_are_refused() -> None:
    design = fraction(NAMES[:3], 4)
    with pytest.raises(PlanRefused, match="never changes in this design"):
        block_by(design, [Word(NAMES[:3])])
    with pytest.raises(PlanRefused, match="was not folded over"):
        halves(design)
