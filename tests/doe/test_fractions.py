"""Fractions: promises that hold for any generators; generators in words; fold-overs."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weldtrial.doe.aliases import alias_sets, alias_words, effects_up_to, estimable, travellers
from weldtrial.doe.catalogue import LETTERS, catalogue
from weldtrial.doe.fractions import Fraction, fold_over, fraction, fraction_from
from weldtrial.doe.words import Signed, Word, to_word
from weldtrial.shared.problems import PlanRefused, Problem, ProblemsFound

SHOP = ("voltage", "wire_feed", "travel", "gap", "stickout")


@st.composite
def fractions(draw: st.DrawFn) -> Fraction:
    """Any regular fraction of up to seven factors, its generated factors anywhere."""
    many = draw(st.integers(3, 7))
    names = LETTERS[:many]
    base_size = draw(st.integers(max(2, (many + 1).bit_length() - 1), many))
    if 2**base_size - 1 - base_size < many - base_size:
        base_size = many
    order = draw(st.permutations(names))
    base, made = sorted(order[:base_size]), order[base_size:]
    products = [c for size in range(2, base_size + 1) for c in combinations(base, size)]
    chosen = draw(
        st.lists(st.sampled_from(products), unique=True, min_size=len(made), max_size=len(made))
        if made
        else st.just([])
    )
    signs = draw(st.lists(st.sampled_from("-+"), min_size=len(made), max_size=len(made)))
    texts = [
        f"{one} = {sign if sign == '-' else ''}{' * '.join(product)}"
        for one, sign, product in zip(made, signs, chosen, strict=True)
    ]
    return fraction_from(tuple(names), 2**base_size, texts)


@st.composite
def designs(draw: st.DrawFn) -> Fraction:
    """A fraction, or the fold-over of one where it frees something."""
    design = draw(fractions())
    turn = draw(st.sampled_from([None, "none", *design.factors]))
    if turn == "none":
        return design
    try:
        return fold_over(design, turn)
    except PlanRefused:
        return design


def column(design: Fraction, word: Word) -> np.ndarray:
    signs = np.array(design.signs)
    places = [design.factors.index(name) for name in word.factors]
    return word.sign * np.prod(signs[:, places], axis=1)


def all_effects(design: Fraction, order: int) -> list[Word]:
    return [to_word(one, design.factors) for one in effects_up_to(len(design.factors), order)]


@given(design=designs())
@settings(max_examples=60, deadline=None)
def test_columns_are_balanced_and_at_right_angles(design: Fraction) -> None:
    signs = np.array(design.signs)
    assert signs.shape == (design.runs, len(design.factors))
    assert (signs.T @ signs == design.runs * np.eye(len(design.factors))).all()
    assert (signs.sum(axis=0) == 0).all()
    assert len(set(design.signs)) == design.runs


@given(design=designs())
@settings(max_examples=60, deadline=None)
def test_defining_words_are_just_the_products_that_never_change(design: Fraction) -> None:
    many = len(design.factors)
    constant = {
        Word(word.factors, int(column(design, word)[0]))
        for word in all_effects(design, many)
        if len(set(column(design, word).tolist())) == 1
    }
    assert set(design.defining) == constant
    assert len(design.defining) == len(constant) == 2**many // design.runs - 1
    lengths = [len(word.factors) for word in constant]
    assert design.resolution == min(lengths, default=0)
    assert design.word_lengths == tuple(lengths.count(size) for size in range(3, many + 1))


@given(design=designs())
@settings(max_examples=60, deadline=None)
def test_generators_hold_in_every_run(design: Fraction) -> None:
    made = {generator.factor for generator in design.generators}
    for generator in design.generators:
        assert not made & set(generator.product)
        product = column(design, Word(generator.product, generator.sign))
        assert (column(design, Word((generator.factor,))) == product).all()
    assert 2 ** len(design.base) == design.runs


@given(design=designs(), order=st.integers(1, 4))
@settings(max_examples=60, deadline=None)
def test_effects_share_a_column_if_and_only_if_they_are_listed_together(
    design: Fraction, order: int
) -> None:
    sets = estimable(design, order)
    place = {word.factors: (at, word.sign) for at, one in enumerate(sets) for word in one.effects}
    effects = all_effects(design, order)
    listed = [Word(())] if 0 < design.resolution <= order else []
    assert sorted(place) == sorted(word.factors for word in effects + listed)
    for one, other in combinations(effects + listed, 2):
        shared = int(column(design, one) @ column(design, other))
        (left, sign), (right, turned) = place[one.factors], place[other.factors]
        assert shared == (design.runs * sign * turned if left == right else 0)


@given(design=designs())
@settings(max_examples=30, deadline=None)
def test_travellers_are_all_effects_with_that_column(design: Fraction) -> None:
    first = Word((design.factors[0],))
    everything = [Word(()), *all_effects(design, len(design.factors))]
    expected = {
        Word(word.factors, int(np.sign(column(design, word) @ column(design, first))))
        for word in everything
        if column(design, word) @ column(design, first)
    }
    found = travellers(design, Signed(1)).effects
    assert {Word(one.factors, one.sign * found[0].sign) for one in found} == expected


def test_full_factorial_is_a_fraction_without_generators() -> None:
    made = fraction(("voltage", "travel"), 4)
    assert made.signs == ((-1, -1), (1, -1), (-1, 1), (1, 1))
    assert (made.generators, made.defining, made.resolution) == ((), (), 0)
    assert alias_sets(made) == ()
    assert fraction_from(("voltage", "travel"), 4, ()) == made


def test_first_factor_changes_fastest_among_those_without_generator() -> None:
    made = fraction_from(("travel", "voltage", "wire_feed"), 4, ["travel = voltage * wire_feed"])
    assert made.signs == ((1, -1, -1), (-1, 1, -1), (-1, -1, 1), (1, 1, 1))


def test_aliases_are_said_in_the_words_of_the_trade() -> None:
    made = fraction_from(SHOP[:3], 4, ["travel = -voltage * wire_feed"])
    assert alias_words(alias_sets(made)) == (
        "voltage cannot be told from wire feed × travel (turned)",
        "wire feed cannot be told from voltage × travel (turned)",
        "travel cannot be told from voltage × wire feed (turned)",
    )
    assert alias_sets(made)[2].text == "travel − voltage × wire feed"


def test_several_aliases_and_products_that_never_change_are_listed() -> None:
    made = fraction(SHOP, 8)
    assert [made.text for made in made.generators] == [
        "gap = voltage * wire_feed",
        "stickout = voltage * travel",
    ]
    assert alias_words(alias_sets(made))[0] == (
        "voltage cannot be told from wire feed × gap or travel × stickout"
    )
    third = alias_words(alias_sets(made, 3))[0]
    assert third == (
        "voltage × wire feed × gap and voltage × travel × stickout never change in this design, "
        "and cannot be told from the mean"
    )


def test_half_fraction_folded_over_is_the_full_factorial() -> None:
    both = fold_over(fraction(SHOP[:3], 4))
    assert sorted(both.signs) == sorted(fraction(SHOP[:3], 8).signs)
    assert (both.resolution, both.generators) == (0, ())
    assert both.turned == SHOP[:3]
    assert both.half == Word(SHOP[:3])


def test_fold_over_that_frees_nothing_is_refused() -> None:
    with pytest.raises(PlanRefused, match=r"even number of factors.*Fold over another factor"):
        fold_over(fraction(SHOP[:4], 8))
    with pytest.raises(PlanRefused, match=r"full factorial again.*replicates = 2"):
        fold_over(fraction(SHOP[:3], 8), "travel")
    with pytest.raises(PlanRefused, match="'gas' cannot be folded over"):
        fold_over(fraction(SHOP[:3], 4), "gas")
    loose = fraction_from(SHOP[:4], 8, ["travel = voltage * wire_feed"])
    with pytest.raises(PlanRefused, match="gap is in no product that never changes"):
        fold_over(loose, "gap")


@pytest.mark.parametrize(("factors", "runs", "told"), [
    (5, 4, "Take 8, 16 runs, or all 32 combinations"),
    (7, 100, "Take 8, 16, 32, 64 runs, or all 128 combinations"),
    (2, 2, "Take all 4 combinations, or a fraction of 3 to 11 factors"),
    (12, 16, "Take all 4096 combinations, or a fraction of 3 to 11 factors"),
])  # fmt: skip
def test_fraction_that_is_not_in_the_catalogue_says_which_are(
    factors: int, runs: int, told: str
) -> None:
    with pytest.raises(PlanRefused, match=told):
        fraction(tuple(f"f{place}" for place in range(factors)), runs)


def test_catalogue_runs_from_three_to_eleven_factors_and_four_to_sixty_four_runs() -> None:
    held = {(entry.factors, entry.runs) for entry in catalogue()}
    assert held == {
        (factors, runs)
        for factors in range(3, 12)
        for runs in (4, 8, 16, 32, 64)
        if factors < runs < 2**factors
    }


def problems(texts: list[str], runs: int = 16) -> tuple[Problem, ...]:
    with pytest.raises(ProblemsFound) as caught:
        fraction_from(SHOP, runs, texts)
    return caught.value.problems


@pytest.mark.parametrize(("text", "told"), [
    ("gap", "'gap' is not a generator. Write it like 'travel = voltage * wire_feed'."),
    ("gap =", "'gap =' is not a generator. Write it like 'travel = voltage * wire_feed'."),
    ("gap = voltage * trvel", "'trvel' in the generator 'gap = voltage * trvel' is not a factor "
     "of this fraction. Did you mean 'travel'?"),
    ("gap = voltage *", "a factor is missing in the generator 'gap = voltage *'. Name one on each "
     "side of every '*'."),
    ("gap = gap * travel",
     "'gap' is on both sides of the generator 'gap = gap * travel'. Set it to a product of "
     "others."),
    ("gap = travel * travel * voltage", "'travel' is in the product 'gap = travel * travel * "
     "voltage' more than once, and times itself it is always +1. Name it once."),
    ("gap = -travel", "'gap = -travel' would move gap with travel in every run, and the two could "
     "never be told apart. Name at least two factors."),
])  # fmt: skip
def test_generator_that_cannot_be_read_says_why(text: str, told: str) -> None:
    found = problems([text])
    assert [one.words for one in found] == [told]
    assert (found[0].column, found[0].value) == ("design.generators", text)


def test_generators_that_do_not_go_together_say_why() -> None:
    words = [
        one.words for one in problems(["gap = voltage*travel", "stickout = travel*voltage"], 8)
    ]
    assert words == [
        "'stickout' and 'gap' are set to one product, and could never be told apart. Give one of "
        "them another."
    ]
    words = [one.words for one in problems(["gap = voltage*travel", "stickout = gap*voltage"], 8)]
    assert words == [
        "'gap' in the generator 'stickout = gap*voltage' is set by a generator itself. Write the "
        "product with factors that are not."
    ]
    words = [one.words for one in problems(["gap = voltage*travel", "gap = travel*wire_feed"], 8)]
    assert words == [
        "'gap' has two generators, 'gap = voltage*travel' and 'gap = travel*wire_feed'. Keep one."
    ]


def test_all_problems_are_told_at_once() -> None:
    found = problems(["gap = voltage * trvel", "stickout"], 16)
    assert [one.value for one in found] == ["gap = voltage * trvel", "stickout", None]
    assert found[2].words == (
        "5 factors in 16 runs take 1 generator, and 2 are given. Take out those too many."
    )


@pytest.mark.parametrize(("runs", "told"), [
    (12, "4, 8, 16, 32 or 64 runs, not 12"),
    (64, "5 factors have only 32 combinations, fewer than 64 runs"),
    (8, "5 factors in 8 runs take 2 generators, and none are given. Add the missing ones."),
])  # fmt: skip
def test_runs_that_do_not_fit_the_factors_are_told(runs: int, told: str) -> None:
    assert told in problems([], runs)[0].words


@pytest.mark.parametrize(
    "text",
    [
        "gap=voltage*travel",
        "gap = voltage × travel",
        " gap = travel:voltage ",
        "gap = +voltage*travel",
    ],
)
def test_generators_may_be_spelled_in_several_ways(text: str) -> None:
    made = fraction_from(SHOP[:4], 8, [text])
    assert made.generators == (("gap", ("voltage", "travel"), 1),)


def test_names_of_adopted_columns_may_hold_spaces_and_signs() -> None:
    made = fraction_from(("-x", "wire feed", "y"), 4, ["y = -x * wire feed"])
    assert made.generators == (("y", ("-x", "wire feed"), 1),)
    made = fraction_from(("-x", "wire feed", "y"), 4, ["y = --x * wire feed"])
    assert made.generators == (("y", ("-x", "wire feed"), -1),)
