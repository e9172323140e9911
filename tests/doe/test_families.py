"""Designs known by name: promises that hold for any factors, and refusals in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weldtrial.doe.box_behnken import BLOCKS
from weldtrial.doe.conference import ORDERS, conference
from weldtrial.doe.families import TAKES, FamilyKind, family
from weldtrial.doe.family import Family
from weldtrial.doe.latin import standard_square
from weldtrial.doe.partial_aliases import partial_aliases
from weldtrial.doe.plackett_burman import _signs, best_columns
from weldtrial.shared.coding import model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.terms import Term, model_terms


def number(name: str, *at: float) -> Factor:
    at = at or (20.0, 28.0)
    return Factor(name, "numeric", tuple(f"{value:g}" for value in at), unit="V", settings={"": at})


def numbers(many: int) -> list[Factor]:
    return [number(f"x{place}") for place in range(1, many + 1)]


GAS = Factor("gas", "category", ("mix", "co2"))
GASES = replace(GAS, levels=("mix", "co2", "m20"))
TORCH = Factor("torch", "category", ("push", "drag"))


@st.composite
def mixed(draw: st.DrawFn, low: int, high: int, *, three: bool = True) -> list[Factor]:
    """Numbers, so many, among none to two categories of two or three levels."""
    made: list[Factor] = list(numbers(draw(st.integers(low, high))))
    pool = [GAS, TORCH, *([GASES] if three else [])]
    chosen = draw(st.lists(st.sampled_from(pool), unique_by=lambda one: one.name, max_size=2))
    for category in chosen:
        made.insert(draw(st.integers(0, len(made))), category)
    return made


def columns(made: Family, factors: Sequence[Factor], terms: Sequence[Term]) -> np.ndarray:
    return model_matrix(factors, terms, made.points).matrix[:, 1:]


def pairs_of(factors: Sequence[Factor]) -> list[Term]:
    return [Term(((a.name, 1), (b.name, 1))) for a, b in combinations(factors, 2)]


def squares_of(factors: Sequence[Factor]) -> list[Term]:
    return [Term(((one.name, 2),)) for one in factors if one.kind == "numeric"]


def crossed(left: np.ndarray, right: np.ndarray) -> float:
    """The largest product of a column of one with a column of the other, both centred."""
    a, b = left - left.mean(axis=0), right - right.mean(axis=0)
    return float(np.abs(a.T @ b).max(initial=0.0))


def blocks_of(made: Family) -> np.ndarray:
    assert made.block is not None
    of = np.array(made.block)
    return np.column_stack([of == one for one in sorted(set(made.block))]).astype(float)


def is_whole(made: Family, factors: Sequence[Factor]) -> None:
    """What every design promises: legal points, centre points counted, categories in balance."""
    names = [factor.name for factor in factors]
    assert all(list(point) == names for point in made.points)
    assert made.block is None or len(made.block) == len(made.points)
    middle = [
        point
        for point in made.points
        if all(point[one.name] == 0.0 for one in factors if one.kind == "numeric")
    ]
    if any(factor.kind == "numeric" for factor in factors):
        assert len(middle) == made.centre
    for factor in factors:
        if factor.kind == "category":
            for points in (made.points, middle):
                held = Counter(point[factor.name] for point in points)
                assert set(held) <= set(factor.levels)
                assert not points or len(set(held.values())) == 1
                assert not points or set(held) == set(factor.levels)
    assert made.notes
    assert all(note[0] == note[0].upper() for note in made.notes)
    assert all(note.endswith(".") for note in made.notes)


@settings(max_examples=60, deadline=None)
@given(factors=mixed(4, 8), fold=st.booleans(), blocks=st.sampled_from([1, 2]), data=st.data())
def test_plackett_burman_main_effects_are_clear_of_one_another_and_of_blocks(
    factors: list[Factor], fold: bool, blocks: int, data: st.DataObject
) -> None:
    under = int(np.prod([len(one.levels) for one in factors if one.kind == "category"]))
    centre = data.draw(st.sampled_from([0, under * blocks, 2 * under * blocks]))
    made = family("plackett-burman", factors, fold_over=fold, blocks=blocks, centre_points=centre)
    is_whole(made, factors)
    mains = [columns(made, factors, [term]) for term in model_terms(factors, "main")]
    assert max(crossed(a, b) for a, b in combinations(mains, 2)) < 1e-9
    if blocks == 2:
        assert crossed(np.hstack(mains), blocks_of(made)) < 1e-9
    if fold:
        assert partial_aliases(made.points, factors) == ()


@settings(max_examples=60, deadline=None)
@given(factors=mixed(3, 9), blocks=st.integers(1, 3), larger=st.booleans())
def test_definitive_screening_main_effects_are_clear_of_all_that_bends(
    factors: list[Factor], blocks: int, larger: bool
) -> None:
    two = [one for one in factors if one.kind == "category" and len(one.levels) == 2]
    many = len([one for one in factors if len(one.levels) == 2])
    order = next(one for one in ORDERS if one >= many) + (2 if larger else 0)
    blocks = min(blocks, order // 2)
    runs = (2 * order + 1 + bool(two)) if larger else None
    made = family("definitive-screening", factors, runs=runs, blocks=blocks)
    is_whole(made, factors)
    mains = columns(made, factors, model_terms(factors, "main"))
    bends = columns(made, factors, [*pairs_of(factors), *squares_of(factors)])
    assert crossed(mains, bends) < 1e-9
    assert np.abs(mains.mean(axis=0)).max() < 1e-12
    if blocks > 1:
        assert crossed(mains, blocks_of(made)) < 1e-9
    if not two:
        every = [columns(made, factors, [term]) for term in model_terms(factors, "main")]
        assert max(crossed(a, b) for a, b in combinations(every, 2)) < 1e-9


@pytest.mark.parametrize("order", ORDERS)
def test_conference_matrices(order: int) -> None:
    made = np.array(conference(order))
    assert (made.T @ made == (order - 1) * np.eye(order)).all()
    assert (np.abs(made) == 1 - np.eye(order)).all()


@pytest.mark.parametrize("order", ORDERS[:-2])
def test_squares_of_a_definitive_screening_design_share_the_published_part(order: int) -> None:
    """1/3 - 1/(m - 1), Jones & Nachtsheim (2011), for every order from 4 to 18."""
    factors = numbers(order)
    made = family("definitive-screening", factors)
    assert len(made.points) == 2 * order + 1
    found = np.corrcoef(columns(made, factors, squares_of(factors)).T)
    assert found[np.triu_indices(order, 1)] == pytest.approx(1 / 3 - 1 / (order - 1), abs=1e-12)


@pytest.mark.parametrize(
    ("factors", "asked", "words"),
    [
        (numbers(6), {}, "two squares share 13 % of"),
        (numbers(6), {"blocks": 2}, "two squares share up to 44 % of"),
        (numbers(6), {"centre_points": 5}, "two squares share 51 % of"),
        ([*numbers(5), GAS], {}, "two squares share 30 % of"),
    ],
)
def test_what_squares_share_is_said_of_the_coupons_there_are(
    factors: list[Factor], asked: dict[str, int], words: str
) -> None:
    """Blocks and further middles change it: by residuals on the blocks, least squares."""
    made = family("definitive-screening", factors, **asked)
    assert any(words in note for note in made.notes)
    block = np.array(made.block or [1] * len(made.points))
    dummies = (block[:, None] == np.unique(block)).astype(float)
    squares = columns(made, factors, squares_of(factors))
    left = squares - dummies @ np.linalg.lstsq(dummies, squares, rcond=None)[0]
    largest = np.abs(np.corrcoef(left.T) - np.eye(left.shape[1])).max()
    assert f"{100 * largest:.0f} %" in words


@pytest.mark.parametrize("many", [5, 6, 7, 8, 9, 10, 12])
def test_any_three_numbers_of_a_definitive_screening_design_can_be_fitted_whole(many: int) -> None:
    """From six columns on (Jones & Nachtsheim 2011); of four columns it is not said."""
    made = family("definitive-screening", numbers(many))
    assert any("only three factors" in note for note in made.notes)
    for three in combinations(numbers(many), 3):
        matrix = model_matrix(three, model_terms(three, "quadratic"), made.points).matrix
        assert np.linalg.matrix_rank(matrix) == 10
    assert not any(
        "only three factors" in note for note in family("definitive-screening", numbers(4)).notes
    )


@pytest.mark.parametrize(("numeric", "two"), [(5, 1), (4, 2), (3, 3), (6, 2), (4, 8)])
def test_what_a_category_costs_a_definitive_screening_design(numeric: int, two: int) -> None:
    """2m + 2 runs (Jones & Nachtsheim 2013), and main effects that share no more than it says."""
    categories = [replace(GAS, name=f"c{place}") for place in range(two)]
    factors = [*numbers(numeric), *categories]
    made = family("definitive-screening", factors)
    order = next(one for one in ORDERS if one >= numeric + two)
    assert len(made.points) == 2 * order + 2
    found = np.corrcoef(columns(made, factors, made.model).T)
    shared = np.abs(found[np.triu_indices(len(factors), 1)]).max()
    assert f"share up to {100 * shared:.0f} %" in " ".join(made.notes)
    # A zero given a sign, and the pair at the middle, shift a sum of products by 2 to 4 runs.
    assert shared <= 4 / (2 * order - 2)


@settings(max_examples=40, deadline=None)
@given(
    factors=mixed(2, 5),
    star=st.sampled_from(["inside", "outside"]),
    blocks=st.integers(1, 3),
    times=st.integers(1, 2),
)
def test_composites_tell_their_model_and_blocks_touch_nothing(
    factors: list[Factor], star: Any, blocks: int, times: int
) -> None:
    in_cube = len([one for one in factors if one.kind == "numeric" or len(one.levels) == 2])
    if blocks == 3 and in_cube in (2, 5):
        # Four runs cannot be halved, and half of five factors has pairs for all its triples.
        with pytest.raises(PlanRefused, match="Use 2 blocks"):
            family("central-composite", factors, star=star, blocks=blocks)
        return
    made = family("central-composite", factors, star=star, blocks=blocks, replicates=times)
    is_whole(made, factors)
    matrix = columns(made, factors, made.model)
    whole = np.column_stack([np.ones(len(matrix)), matrix])
    assert np.linalg.matrix_rank(whole) == whole.shape[1]
    if blocks > 1:
        assert crossed(matrix, blocks_of(made)) < 1e-8
    far = max(
        abs(float(point[one.name]))
        for point in made.points
        for one in factors
        if one.kind == "numeric"
    )
    assert made.star is not None
    assert far == pytest.approx(1.0 if star == "inside" else made.star)


@settings(max_examples=40, deadline=None)
@given(factors=mixed(2, 6), star=st.sampled_from(["inside", "outside"]))
def test_rotatable_composites_are_rotatable(factors: list[Factor], star: Any) -> None:
    """Sums of fourth powers are three times those of squares by squares (Box & Hunter 1957)."""
    made = family("central-composite", factors, star=star)
    x = np.array(
        [[float(p[one.name]) for one in factors if one.kind == "numeric"] for p in made.points]
    )
    fourth = (x**4).sum(axis=0)
    mixed_sums = [float((x[:, a] ** 2 * x[:, b] ** 2).sum()) for a, b in _two(x.shape[1])]
    assert fourth == pytest.approx(3 * mixed_sums[0])
    assert mixed_sums == pytest.approx([mixed_sums[0]] * len(mixed_sums))


def test_spherical_composites_have_all_but_the_centre_on_a_sphere() -> None:
    made = family("central-composite", numbers(3), star="outside", distance="spherical")
    far = {round(sum(float(v) ** 2 for v in point.values()), 9) for point in made.points}
    assert far == {0.0, 3.0}
    with pytest.raises(PlanRefused, match="Add centre points"):
        family(
            "central-composite",
            numbers(3),
            star="outside",
            distance="spherical",
            centre_points=0,
        )


def _two(many: int) -> list[tuple[int, int]]:
    return list(combinations(range(many), 2))


@settings(max_examples=30, deadline=None)
@given(factors=mixed(2, 6), centre=st.integers(0, 2))
def test_by_default_nothing_outside_the_range_is_welded(factors: list[Factor], centre: int) -> None:
    under = int(np.prod([len(one.levels) for one in factors if one.kind == "category"]))
    made = family("central-composite", factors, centre_points=centre * under)
    is_whole(made, factors)
    values = {p[one.name] for p in made.points for one in factors if one.kind == "numeric"}
    assert values == {-1.0, 0.0, 1.0}
    assert made.star == 1.0


@pytest.mark.parametrize("many", range(3, 8))
@pytest.mark.parametrize("categories", [(), (GAS,), (GASES, TORCH)])
def test_box_behnken_blocks_touch_nothing(many: int, categories: tuple[Factor, ...]) -> None:
    factors = [*numbers(many), *categories]
    made = family("box-behnken", factors, blocks=BLOCKS[many])
    is_whole(made, factors)
    matrix = columns(made, factors, made.model)
    assert np.linalg.matrix_rank(np.column_stack([np.ones(len(matrix)), matrix])) == (
        matrix.shape[1] + 1
    )
    if made.block is None:
        assert BLOCKS[many] == 1
        return
    assert crossed(matrix, blocks_of(made)) < 1e-9
    assert len(set(Counter(made.block).values())) == 1


@pytest.mark.parametrize("many", range(3, 8))
def test_box_behnken_never_welds_a_corner(many: int) -> None:
    made = family("box-behnken", numbers(many))
    away = {sum(abs(float(value)) for value in point.values()) for point in made.points}
    assert away == {0.0, 3.0 if many > 5 else 2.0}


@pytest.mark.parametrize(("runs", "shares"), [(12, {1 / 3}), (20, {1 / 5, 3 / 5}), (24, {1 / 3})])
def test_partial_aliases_of_plackett_burman(runs: int, shares: set[float]) -> None:
    """A third for 12 runs, whichever the pair and the factor (Lin & Draper 1992, from memory)."""
    factors = numbers(runs - 1)
    made = family("plackett-burman", factors, runs=runs)
    found = partial_aliases(made.points, factors)
    assert {round(abs(one.share), 9) for one in found} == {round(one, 9) for one in shares}
    signs = columns(made, factors, model_terms(factors, "main"))
    names = [one.name for one in factors]
    for one in found[::97]:
        a, b = one.pair.split(":")
        main, left, right = (signs[:, names.index(name)] for name in (one.main, a, b))
        assert one.share == pytest.approx(float(main @ (left * right)) / runs)
        assert one.main not in (a, b)
    if runs == 12:
        # Every main effect meets all 45 pairs of the other ten factors.
        assert set(Counter(one.main for one in found).values()) == {45}


def test_partial_aliases_need_main_effects_apart() -> None:
    with pytest.raises(ValueError, match="cannot be told"):
        partial_aliases([{"x1": 1.0, "x2": 1.0}, {"x1": -1.0, "x2": -1.0}], numbers(2))


@pytest.mark.parametrize(("runs", "many"), [(20, 4), (20, 6), (20, 8), (24, 4), (24, 6)])
def test_chosen_columns_mix_least_of_all_choices(runs: int, many: int) -> None:
    """Complete search over all sets of columns; the greedy choice may lose a little, and says so.

    Of 20 runs and up to 8 columns it is the best; of 24 runs and 6 it is too.
    """
    signs = np.array(_signs(runs))
    square = np.zeros((runs - 1,) * 3)
    for a, b, c in combinations(range(runs - 1), 3):
        square[a, b, c] = float((signs[:, a] * signs[:, b] * signs[:, c]).sum()) ** 2

    def mixing(chosen: Sequence[int]) -> float:
        return float(sum(square[three] for three in combinations(chosen, 3)))

    every = np.array(list(combinations(range(runs - 1), many)))
    best = sum(
        square[every[:, a], every[:, b], every[:, c]] for a, b, c in combinations(range(many), 3)
    )
    assert mixing(best_columns(runs, many)) == np.min(best)


@pytest.mark.parametrize("many", range(2, 13))
@pytest.mark.parametrize("squares", [1, 3])
def test_latin_squares(many: int, squares: int) -> None:
    square = standard_square(many)
    assert square[0] == tuple(range(many))
    assert tuple(row[0] for row in square) == tuple(range(many))
    factor = replace(GAS, levels=tuple(f"g{place}" for place in range(many)))
    if many == squares + 1 == 2:
        with pytest.raises(PlanRefused, match="nothing to judge"):
            family("latin-square", [factor])
        return
    made = family("latin-square", [factor], replicates=squares)
    assert made.block is not None
    assert made.columns is not None
    for where, times in ((made.block, 1), (made.columns, squares)):
        met = Counter(zip(where, (p["gas"] for p in made.points), strict=True))
        assert set(met.values()) == {times}
    rows = blocks_of(made)
    across = np.eye(many)[np.array(made.columns) - 1]
    main = columns(made, [factor], made.model)
    rank = np.linalg.matrix_rank(np.hstack([rows, across, main]))
    left = len(made.points) - rank
    assert f"{left} degree" in " ".join(made.notes)


@pytest.mark.parametrize("many", [2, 3, 4])
@pytest.mark.parametrize("times", [2, 5])
def test_pairs_hold_every_two_levels_equally_often(many: int, times: int) -> None:
    factor = replace(GAS, levels=tuple(f"g{place}" for place in range(many)))
    made = family("paired", [factor], replicates=times)
    held: dict[int, list[str]] = {}
    assert made.block is not None
    for block, point in zip(made.block, made.points, strict=True):
        held.setdefault(block, []).append(str(point["gas"]))
    met = Counter(tuple(sorted(two)) for two in held.values())
    assert met == dict.fromkeys(combinations(sorted(factor.levels), 2), times)
    rank = np.linalg.matrix_rank(np.hstack([blocks_of(made), columns(made, [factor], made.model)]))
    left = len(made.points) - rank
    assert f"{left} degree" in " ".join(made.notes)


def test_a_number_of_three_levels_keeps_its_place_in_pairs_and_squares() -> None:
    bent = number("v", 20.0, 22.0, 28.0)
    made = family("latin-square", [bent])
    assert {point["v"] for point in made.points} == {-1.0, -0.5, 1.0}


def test_levels_between_the_ends_that_are_not_welded_are_said() -> None:
    bent = number("v", 20.0, 22.0, 28.0)
    assert any("not welded as written" in one for one in _notes([bent, *numbers(2)]))
    middle = number("v", 20.0, 24.0, 28.0)
    assert not any("not welded as written" in one for one in _notes([middle, *numbers(2)]))


def _notes(factors: list[Factor]) -> tuple[str, ...]:
    return family("box-behnken", factors).notes


def test_names_keep_their_capitals_in_notes() -> None:
    made = family("box-behnken", [*numbers(3), replace(GAS, label="CO2 grade")])
    assert any(note.startswith("CO2 grade has no middle") for note in made.notes)


@pytest.mark.parametrize(
    ("kind", "factors", "asked", "words"),
    [
        ("plackett-burman", numbers(6), {"runs": 16}, 'kind = "fraction"  with  runs = 16'),
        ("plackett-burman", numbers(6), {"runs": 13}, "Use  runs = 12 or 20 or 24"),
        ("plackett-burman", numbers(3), {}, "tells their pairs"),
        ("plackett-burman", numbers(24), {}, "more than the 23"),
        ("plackett-burman", [*numbers(4), number("v", 1, 2, 3)], {}, "'v' has more levels"),
        ("plackett-burman", numbers(6), {"blocks": 3}, "2 blocks at most"),
        ("plackett-burman", numbers(11), {"runs": 12, "blocks": 2}, "Use  runs = 20 or 24"),
        ("plackett-burman", [*numbers(4), GAS], {"centre_points": 3}, "centre_points = 4"),
        ("definitive-screening", numbers(6), {"runs": 45}, "21 is not a sum of two squares"),
        ("definitive-screening", numbers(6), {"runs": 14}, "runs = 13, 17, 21"),
        ("definitive-screening", numbers(25), {}, "more than the 24"),
        ("definitive-screening", numbers(2), {}, "three factors or more"),
        ("definitive-screening", numbers(6), {"blocks": 4}, "rounds = 3"),
        ("definitive-screening", [*numbers(4), GAS], {"centre_points": 3}, "centre_points = 4"),
        ("central-composite", numbers(1), {}, "two numeric factors"),
        ("central-composite", numbers(9), {}, "512 coupons"),
        ("central-composite", numbers(2), {"star": "far"}, "'far' is none"),
        ("central-composite", numbers(2), {"star": "face", "blocks": 2}, 'star = "inside"'),
        ("central-composite", numbers(2), {"distance": "spherical"}, "no star distance to choose"),
        ("central-composite", numbers(2), {"distance": "rotatable", "blocks": 2}, "in one block"),
        ("central-composite", numbers(2), {"star": "inside", "distance": "x"}, "'x' is neither"),
        ("central-composite", numbers(2), {"star": "inside", "centre_points": 0}, "Add centre"),
        ("central-composite", [*numbers(2), GASES], {"centre_points": 4}, "centre_points = 6"),
        ("central-composite", numbers(5), {"blocks": 3}, "Use 2 blocks"),
        ("box-behnken", numbers(2), {}, "3 to 7 numeric factors"),
        ("box-behnken", numbers(8), {}, "Screen first"),
        ("box-behnken", numbers(4), {"blocks": 2}, "1 or 3 blocks"),
        ("box-behnken", numbers(4), {"centre_points": 0}, "centre_points = 3"),
        ("latin-square", [GAS, TORCH], {}, "one factor"),
        ("latin-square", [GAS], {}, "replicates = 3"),
        ("latin-square", [GASES], {"centre_points": 3}, "design.centre_points has no meaning"),
        ("paired", [GAS], {}, "1 pair leaves nothing"),
        ("paired", [GAS, TORCH], {"replicates": 8}, "one factor"),
        ("paired", [GAS], {"replicates": 0, "star": "face"}, "replicates = 0"),
    ],
)
def test_refusals_say_what_to_do(
    kind: FamilyKind, factors: list[Factor], asked: dict[str, Any], words: str
) -> None:
    with pytest.raises(PlanRefused) as refused:
        family(kind, factors, **asked)
    assert words in str(refused.value)


def test_order_22_is_refused_in_words() -> None:
    with pytest.raises(PlanRefused, match="21 is not a sum of two squares"):
        conference(22)


def test_same_call_same_points() -> None:
    for kind in TAKES:
        factors = [GAS] if kind in ("latin-square", "paired") else numbers(5)
        one, other = (family(kind, factors, replicates=4) for _ in range(2))  # type: ignore[arg-type]
        assert one == other
