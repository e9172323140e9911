"""Designs known by name against published tables, and two published worked examples.

Sources stand in the cases: NIST/SEMATECH e-Handbook (Plackett-Burman, composites, Box-Behnken),
Jones & Nachtsheim (2011), Box, Hunter & Hunter (1978; from memory), and a published cladding trial.
"""

from __future__ import annotations

import json
from collections import Counter
from decimal import Decimal
from itertools import combinations, permutations
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.least_squares import fit_least_squares
from weldtrial.analysis.linear import estimate, term_test
from weldtrial.doe.box_behnken import edges
from weldtrial.doe.factorial import plackett_burman_signs
from weldtrial.doe.families import family
from weldtrial.doe.family import Family
from weldtrial.doe.latin import standard_square
from weldtrial.doe.plackett_burman import FIRST_ROW_OF_24
from weldtrial.shared.coding import model_matrix
from weldtrial.shared.factors import Factor


def numbers(many: int, low: float = -1.0, high: float = 1.0) -> list[Factor]:
    return [
        Factor(f"x{place}", "numeric", ("low", "high"), unit="mm", settings={"": (low, high)})
        for place in range(1, many + 1)
    ]


def category(name: str, *levels: str) -> Factor:
    return Factor(name, "category", levels)


def table(design: Family) -> np.ndarray:
    return np.array([[float(value) for value in point.values()] for point in design.points])


def geometry(reference: ModuleType) -> dict[str, Any]:
    """The handbook's composite case, which has no data file."""
    text = (reference.DATA / "nist-hb-ccd-geometry.json").read_text(encoding="utf-8")
    return dict(json.loads(text, parse_float=Decimal)["expected"])


@pytest.mark.parametrize("runs", [12, 20])
def test_handbook_tables_of_plackett_and_burman(reference: ModuleType, runs: int) -> None:
    columns = reference.load(f"nist-hb-plackett-burman-{runs}").columns
    printed = {tuple(int(columns[name][row]) for name in columns) for row in range(runs)}
    made = plackett_burman_signs(runs)
    if runs == 12:
        assert set(made) == printed
    else:
        # The same table read from the other end: the columns run the other way.
        assert {row[::-1] for row in made} == printed


def test_24_runs_are_the_published_first_row_and_its_shifts() -> None:
    """First row after Plackett & Burman (1946), from memory; checked as a Hadamard matrix."""
    made = table(family("plackett-burman", numbers(23)))
    assert (made.T @ made == 24 * np.eye(23)).all()
    assert (made.sum(axis=0) == 0).all()
    first = [1.0 if sign == "+" else -1.0 for sign in FIRST_ROW_OF_24]
    shifts = {tuple(np.roll(first, shift)) for shift in range(23)}
    assert set(map(tuple, made.tolist())) == shifts | {(-1.0,) * 23}


def test_no_interaction_of_the_published_24_runs_is_wholly_a_main_effect() -> None:
    """Where the library's 24 runs, the 12 doubled, have eleven such trios: why it is not used."""
    from pyDOE3 import pbdesign

    def worst(matrix: np.ndarray) -> Counter[int]:
        return Counter(
            abs(round(float(np.prod(matrix[:, list(three)], axis=1).sum())))
            for three in combinations(range(matrix.shape[1]), 3)
        )

    assert worst(table(family("plackett-burman", numbers(23)))) == {0: 1012, 8: 759}
    assert worst(pbdesign(23))[24] == 11


@pytest.mark.parametrize("many", [6, 8])
def test_definitive_screening_has_the_published_properties(
    reference: ModuleType, many: int
) -> None:
    case = reference.load(f"dsd-{many}")
    expected = case.expected
    factors = numbers(many)
    made = table(family("definitive-screening", factors))
    assert made.shape == (2 * many + 1, many)
    assert expected["CtC"] == f"{many - 1} I"
    assert (made.T @ made == expected["main_effect_XtX"] * np.eye(many)).all()
    squares = made**2 - (made**2).mean(axis=0)
    pairs = np.array([made[:, a] * made[:, b] for a, b in combinations(range(many), 2)]).T
    assert np.abs(made.T @ squares).max() < 1e-12
    assert np.abs(made.T @ pairs).max() < 1e-12
    of_squares = np.corrcoef(squares.T)
    off = of_squares[np.triu_indices(many, 1)]
    assert off == pytest.approx(1 / 3 - 1 / (many - 1), abs=1e-12)
    assert off == pytest.approx(float(expected["quadratic_pair_correlation"]), abs=1e-6)
    both = np.corrcoef(np.hstack([squares, pairs]).T)
    between = np.abs(both[many:, many:][np.triu_indices(pairs.shape[1], 1)])
    assert sorted(set(between.round(4))) == [
        float(one) for one in expected["abs_corr_between_interactions"]
    ]
    assert np.abs(both[:many, many:]).max() == pytest.approx(
        float(expected["max_abs_corr_quadratic_vs_interaction"]), abs=1e-6
    )
    one = np.column_stack([np.ones(len(made)), made])
    efficiency = np.linalg.det(one.T @ one) ** (1 / one.shape[1]) / len(one)
    assert efficiency == pytest.approx(
        float(expected["D_efficiency_main_effects_with_intercept"]), abs=1e-6
    )


@pytest.mark.parametrize("many", [6, 8])
def test_definitive_screening_is_the_published_one_but_for_names(
    reference: ModuleType, many: int
) -> None:
    """Rows, columns and signs may be swapped: each printed row is then one of ours."""
    case = reference.load(f"dsd-{many}")
    printed = np.column_stack([case.numbers(name) for name in case.columns])
    ours = table(family("definitive-screening", numbers(many)))
    rows = set(map(tuple, ours.tolist()))
    assert any(
        {tuple(row) for row in (printed[:, order] * signs).tolist()} == rows
        for order in permutations(range(many))
        for signs in (_signs_that_fit(printed[:, order], ours),)
    )


def _signs_that_fit(printed: np.ndarray, ours: np.ndarray) -> np.ndarray:
    """The signs that make the run with a zero in the first column equal."""

    def run(matrix: np.ndarray) -> np.ndarray:
        found = [row for row in matrix if row[0] == 0 and np.abs(row).sum() > 0]
        return np.array(found[0])

    signs: np.ndarray = run(printed) * run(ours)
    signs[0] = 1
    return signs


@pytest.mark.parametrize(
    ("case", "many", "whole"),
    [
        ("k2_full", 2, False),
        ("k3_full", 3, False),
        ("k4_full", 4, False),
        ("k5_half", 5, False),
        ("k5_full", 5, True),
        ("k6_half", 6, False),
        ("k6_full", 6, True),
    ],
)
def test_rotatable_distances_are_the_handbooks(
    reference: ModuleType, case: str, many: int, whole: bool
) -> None:
    made = family("central-composite", numbers(many), star="outside", whole_cube=whole)
    printed = geometry(reference)["alpha_rotatable"][case]
    assert reference.as_printed(made.star, printed)
    assert table(made).max() == made.star


@pytest.mark.parametrize(
    ("case", "many", "blocks", "centre"),
    [
        ("k2_2blocks(4+3c|4+3c)", 2, 2, 6),
        ("k3_3blocks(4+2c|4+2c|6+2c)", 3, 3, 6),
        ("k4_3blocks(8+2c|8+2c|8+2c)", 4, 3, 6),
        ("k5half_2blocks(16+6c|10+1c)", 5, 2, 7),
    ],
)
def test_blocked_composites_are_the_handbooks(
    reference: ModuleType, case: str, many: int, blocks: int, centre: int
) -> None:
    """Distance, and how many of each kind every block holds: the name of the case says it."""
    made = family(
        "central-composite", numbers(many), star="outside", blocks=blocks, centre_points=centre
    )
    assert reference.as_printed(made.star, geometry(reference)["blocked_alpha"][case])
    assert made.block is not None
    at_centre = (table(made) == 0).all(axis=1)
    block = np.array(made.block)
    held = [
        f"{int((~at_centre & (block == one)).sum())}+{int((at_centre & (block == one)).sum())}c"
        for one in range(1, blocks + 1)
    ]
    assert f"({'|'.join(held)})" == case[case.index("(") :]


def test_run_counts_and_settings_are_the_handbooks(reference: ModuleType) -> None:
    expected = geometry(reference)
    three = numbers(3, 10.0, 20.0)
    around = family("central-composite", three, star="outside")
    face = family("central-composite", three, star="face")
    inside = family("central-composite", three, star="inside")
    assert len(around.points) == expected["runs"]["CCC_k3_6centre"]
    assert len(face.points) == expected["runs"]["CCF_k3_6centre"]
    edge = family("box-behnken", three)
    assert len(edge.points) == expected["runs"]["BBD_k3_3centre"]
    settings = 15 + 5 * table(around)
    assert reference.as_printed(settings.min(), expected["CCC_10_20"]["star_low"])
    assert reference.as_printed(settings.max(), expected["CCC_10_20"]["star_high"])
    shrunk = sorted(set((15 + 5 * table(inside)).ravel().round(9)))
    assert shrunk[0] == 10
    assert shrunk[-1] == 20
    assert reference.as_printed(shrunk[1], expected["CCI_10_20"]["fact_low_printed"])
    assert reference.as_printed(shrunk[-2], expected["CCI_10_20"]["fact_high_printed"])
    assert sorted(set(table(face).ravel())) == [-1, 0, 1]


def test_box_behnken_of_three_is_the_handbooks(reference: ModuleType) -> None:
    assert set(edges(3)) == {tuple(row) for row in geometry(reference)["BBD_k3"]}


def test_box_behnken_runs_are_the_published_ones() -> None:
    """Box & Behnken (1960), from memory: 12, 24, 40, 48, 56 and 3, 3, 6, 6, 6 at the centre."""
    counted = {many: family("box-behnken", numbers(many)) for many in range(3, 8)}
    assert {many: (len(one.points) - one.centre, one.centre) for many, one in counted.items()} == {
        3: (12, 3),
        4: (24, 3),
        5: (40, 6),
        6: (48, 6),
        7: (56, 6),
    }


def test_inscribed_composite_of_the_handbook_is_ours(reference: ModuleType) -> None:
    """Chemical vapour deposition: two factors, three centre points, printed to two decimals."""
    case = reference.load("nist-hb-cvd-cci")
    printed = np.column_stack([case.numbers("pressure_coded"), case.numbers("h2_wf6_coded")])
    made = table(family("central-composite", numbers(2), star="inside", centre_points=3))
    assert sorted(map(tuple, made.round(2).tolist())) == sorted(map(tuple, printed.tolist()))


def test_composite_of_the_cladding_trial_is_ours(reference: ModuleType) -> None:
    """Five factors, half a cube, six centre points: the 32 runs that were welded."""
    case = reference.load("weld-gmaw-cladding-ccd32")
    printed = np.column_stack([case.numbers(name) for name in ("I", "S", "N", "T", "Ac")])
    made = table(family("central-composite", numbers(5), star="outside"))
    assert sorted(map(tuple, made.tolist())) == sorted(map(tuple, printed.tolist()))


@pytest.mark.parametrize("many", [2, 3, 4])
@pytest.mark.parametrize(("star", "face"), [("outside", "ccc"), ("inside", "cci"), ("face", "ccf")])
def test_whole_cubes_are_the_librarys(many: int, star: Any, face: str) -> None:
    from pyDOE3 import ccdesign

    made = family("central-composite", numbers(many), star=star, centre_points=4)
    theirs = ccdesign(many, center=(2, 2), alpha="rotatable", face=face)
    assert sorted(map(tuple, table(made).round(9).tolist())) == sorted(
        map(tuple, theirs.round(9).tolist())
    )


def test_published_latin_square_is_ours_but_for_the_shuffle(reference: ModuleType) -> None:
    """Gasoline additives: the square is a standard one with rows, columns and letters swapped.

    Of the two kinds of 4 by 4 square it is the cyclic one, which is the one made here.
    """
    printed = reference.load("latin-gasoline").codes("additive").reshape(4, 4)
    ours = np.array(standard_square(4))
    shuffles = [list(order) for order in permutations(range(4))]
    found = [
        renamed
        for rows in shuffles
        for columns in shuffles
        for renamed in (_in_first_row_order(printed[np.ix_(rows, columns)]),)
        if (renamed == ours).all()
    ]
    other = np.bitwise_xor.outer(np.arange(4), np.arange(4))
    assert found
    assert not any(
        (_in_first_row_order(other[np.ix_(rows, columns)]) == ours).all()
        for rows in shuffles
        for columns in shuffles
    )


def _in_first_row_order(square: np.ndarray) -> np.ndarray:
    """The square with its letters renamed so that the first row reads 0, 1, 2, 3."""
    named: np.ndarray = np.argsort(square[0])[square]
    return named


def test_gasoline_additives_worked_example(reference: ModuleType) -> None:
    """Sums of squares, F and means as printed, from the blocks that a Latin square gives."""
    case = reference.load("latin-gasoline")
    expected = case.expected
    additive = category("additive", "A", "B", "C", "D")
    design = family("latin-square", [additive], rows="driver", columns="car")
    y = case.numbers("reduction")
    parts = [case.coded(name) for name in ("driver", "car", "additive")]
    fit = fit_least_squares(np.column_stack([np.ones(16), *parts]), y)
    # As many coupons, blocks and degrees of freedom as the design that is offered.
    assert len(design.points) == len(y)
    assert f"{fit.df_resid} degrees of freedom" in " ".join(design.notes)
    assert fit.df_resid == expected["df"]["residual"]
    assert fit.residual_variance * fit.df_resid == pytest.approx(expected["SS"]["residual"])
    assert reference.as_printed(fit.residual_variance, expected["residual_mean_square"])
    for place, name in enumerate(("driver", "car", "additive")):
        picks = np.eye(10)[1 + 3 * place : 4 + 3 * place]
        test = term_test(fit, picks)
        assert test.statistic == pytest.approx(float(expected["F"][name]), rel=1e-9)
        mean_square = test.statistic * fit.residual_variance
        assert mean_square * 3 == pytest.approx(float(expected["SS"][name]), rel=1e-9)


def test_boys_shoes_worked_example(reference: ModuleType) -> None:
    """A pair is a block: its analysis is the paired t test, digit for digit."""
    case = reference.load("paired-shoes")
    expected = case.expected
    material = category("material", "A", "B")
    design = family("paired", [material], replicates=10)
    assert design.block is not None
    assert [int(boy) for boy in case.columns["boy"]] == list(design.block)
    assert [str(point["material"]) for point in design.points] == case.columns["material"]
    pairs = np.eye(10)[np.array(design.block) - 1]
    coded = model_matrix([material], design.model, design.points).matrix
    x = np.column_stack([pairs, coded[:, 1]])
    y = case.numbers("wear")
    fit = fit_least_squares(x, y)
    found = estimate(fit, [*[0.0] * 10, -2.0])
    assert reference.as_printed(found.estimate, expected["mean_difference"])
    assert reference.as_printed(found.se, expected["standard_error"])
    assert reference.as_printed(found.estimate / found.se, expected["t"])
    assert fit.df_resid == expected["df"]
    p = 2 * stats.t.sf(found.estimate / found.se, fit.df_resid)
    assert reference.as_printed(float(p), expected["p_two_sided"])
    same = stats.ttest_rel(y[1::2], y[0::2])
    assert found.estimate / found.se == pytest.approx(same.statistic, rel=1e-12)
    difference = y[1::2] - y[0::2]
    assert reference.as_printed(float(difference.std(ddof=1)), expected["sd_of_differences"])
