"""Optimal designs: every enumerable optimum reached, the bound never passed, nothing forbidden."""

from __future__ import annotations

import importlib.util
import math
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from weldtrial.doe import optimal
from weldtrial.doe.optimal import Found, Search, UnitAsked, coupons_needed, rank_of, search
from weldtrial.shared.coding import Point, model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.terms import model_terms


def beside(name: str) -> ModuleType:
    """A module of this folder, which is no package."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


every = beside("enumerate_designs")
cases = beside("optimal_cases")
draw: Callable[..., Any] = cases.draw

X, Y, Z = (cases.number(name) for name in "xyz")
GAS = cases.category("gas", "abc")
TWO = dict.fromkeys("xyz", (-1.0, 1.0))
THREE = dict.fromkeys("xyz", (-1.0, 0.0, 1.0))
FIVE = dict.fromkeys("xyz", (-1.0, -0.5, 0.0, 0.5, 1.0))
EARLIER = ((-1, {"x": 1.0, "y": 1.0}), (-1, {"x": -1.0, "y": 1.0}), (-1, {"x": -0.5, "y": 0.25}))
IN_SETUP = ((1, {"x": 1.0, "y": -1.0}), (1, {"x": 1.0, "y": 0.5}))
U = UnitAsked


def corner(point: Point) -> bool:
    return float(point["x"]) + float(point["y"]) <= 0.5


def asked(factors: tuple[Factor, ...], model: Any, *units: UnitAsked, **more: Any) -> Search:
    return Search(factors, model_terms(factors, model), units, **more)


SMALL = {
    "2 x 2 in four": asked((X, Y), "two-factor", U(4), grid=TWO),
    "2 x 2 in six": asked((X, Y), "two-factor", U(6), grid=TWO),
    "half of 2^3": asked((X, Y, Z), "main", U(4), grid=TWO),
    "six of 2^3": asked((X, Y, Z), "main", U(6), grid=TWO),
    "seven of 2^3, saturated": asked((X, Y, Z), "two-factor", U(7), grid=TWO),
    "eight of 2^3": asked((X, Y, Z), "two-factor", U(8), grid=TWO),
    "curve, six": asked((X, Y), "quadratic", U(6), grid=THREE),
    "curve, seven": asked((X, Y), "quadratic", U(7), grid=THREE),
    "curve, seven, I": asked((X, Y), "quadratic", U(7), grid=THREE, criterion="I"),
    "forbidden corner": asked((X, Y), "two-factor", U(4), grid=FIVE, allowed=corner),
    "gas and curve": asked((GAS, X), "quadratic", U(7), grid=THREE),
    "gas and curve, I": asked((GAS, X), "quadratic", U(7), grid=THREE, criterion="I"),
    "blocks": asked((X, Y), "two-factor", U(3), U(3, 1), grid=TWO),
    "blocks of unequal size, I": asked((X, Y), "main", U(3), U(1, 1), grid=THREE, criterion="I"),
    "three blocks": asked((X,), "quadratic", U(3), U(3, 1), U(2, 2), grid=THREE),
    "set-ups": asked((X, Y), "two-factor", *(U(2),) * 4, grid=TWO, hard=("x",)),
    "set-ups, curve": asked((X, Y), "quadratic", *(U(2),) * 4, grid=THREE, hard=("x",)),
    "set-ups, ratio ten": asked(
        (X, Y), "quadratic", *(U(2),) * 4, grid=THREE, hard=("x",), ratio=10.0
    ),
    "set-ups, I": asked(
        (GAS, X), "two-factor", *(U(2),) * 4, grid=TWO, hard=("gas",), criterion="I"
    ),
    "set-ups prescribed": asked(
        (GAS, X),
        "quadratic",
        *(U(2, 0, {"gas": gas}) for gas in "abc"),
        U(2),
        grid=THREE,
        hard=("gas",),
    ),
    "set-ups in blocks": asked(
        (GAS, X), "main", U(2), U(2), U(2, 1), U(2, 1), grid=TWO, hard=("gas",)
    ),
    "set-ups, forbidden corner": asked(
        (X, Y), "two-factor", U(2), U(2), U(1), grid=FIVE, hard=("x",), allowed=corner
    ),
    "added to": asked((X, Y), "quadratic", U(4), grid=THREE, kept=EARLIER),
    "added to, I": asked((X, Y), "quadratic", U(4), grid=THREE, kept=EARLIER, criterion="I"),
    "a set-up filled up": asked(
        (X, Y), "two-factor", U(2), U(1), U(2), grid=TWO, hard=("x",), kept=IN_SETUP
    ),
}


@pytest.mark.parametrize("name", SMALL)
def test_the_best_of_all_designs_is_found(name: str) -> None:
    best = every.best_of_all(SMALL[name])
    found = search(SMALL[name], draw())
    assert found.value == pytest.approx(best, rel=1e-9, abs=1e-9)
    # The value is that of the design handed back, worked out with V written out.
    assert every.criterion(SMALL[name], found.units) == pytest.approx(best, rel=1e-9, abs=1e-9)
    assert found.bound is not None
    assert found.efficiency is not None
    assert found.bound >= best - 1e-9 if found_is_d(name) else found.bound <= best + 1e-9
    assert 0 < found.efficiency <= 1
    assert 1 <= found.same <= found.starts == 64


def found_is_d(name: str) -> bool:
    return SMALL[name].criterion == "D"


@pytest.mark.parametrize(
    "name", [name for name, one in SMALL.items() if one.allowed is None and "I" not in name]
)
def test_coordinate_exchange_finds_it_too(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(optimal, "_POINTS_UP_TO", 0)
    by_coordinates = search(SMALL[name], draw()).value
    monkeypatch.undo()
    assert by_coordinates == pytest.approx(search(SMALL[name], draw()).value, rel=1e-9)


# The largest determinants of matrices of -1 and +1 (OEIS A003433, from memory; by Hadamard 1893
# for 4, 8, 12, Galil & Kiefer 1980 and Ehlich 1964 for others): main effects in as many coupons
# as unknowns.
LARGEST = {3: 4, 4: 16, 5: 48, 6: 160, 7: 576, 8: 4096, 9: 14336, 10: 73728, 12: 2985984}


@pytest.mark.parametrize("n", LARGEST)
def test_saturated_main_effects_reach_the_largest_determinant(n: int) -> None:
    factors = tuple(cases.number(f"f{at}") for at in range(n - 1))
    found = search(asked(factors, "main", U(n)), draw())
    assert math.exp(found.value * n / 2) == pytest.approx(LARGEST[n], rel=1e-9)


def test_the_curve_in_two_factors_as_published() -> None:
    # Box & Draper (1971), Technometrics 13: 731: six points, |X'X|/6^6 = 5.74e-3; efficiencies
    # .8915 there, and of the 3 x 3 factorial in nine .974 (Atkinson & Donev 1992). Farrell,
    # Kiefer & Walbran (1967): the continuous optimum has 1.14e-2. All from memory.
    fine = tuple(sorted({*(at / 5 for at in range(-5, 6)), *(s * v for s in (-1, 1) for v in BD)}))
    six = search(asked((X, Y), "quadratic", U(6), grid={"x": fine, "y": fine}), draw())
    assert six.bound is not None
    assert six.efficiency is not None
    assert round(math.exp(6 * six.value) / 6**6, 5) == 0.00574
    assert round(math.exp(6 * six.bound) / 6**6, 4) == 0.0114
    assert round(six.efficiency, 4) == 0.8915
    nine = search(asked((X, Y), "quadratic", U(9), grid=THREE), draw())
    assert nine.efficiency is not None
    assert round(math.exp(6 * nine.value)) == 5184
    assert round(nine.efficiency, 3) == 0.974


BD = (0.1315, 0.3945)
"""Where Box and Draper's six points lie, besides the corners."""


# Found by search(bench_search(name, 6400), draw("long")): a hundred times the starts.
LONG = {
    "quadratic D free 24": 2.4074290558139544,  # 719 of them end there
    "quadratic I free 24": 0.4820870184458896,
    "quadratic I free 48": 0.2199074074074073,
    "quadratic I free 8x6 set-ups": 0.6140078868737404,
    "quadratic D rules 24": 1.896102869730169,
    "quadratic I rules 24": 0.4769879618260264,
    "quadratic D free 8x6 blocks": 3.1089152870323375,
    "two-factor D free 8x6 blocks": 3.5546811267984535,
    "quadratic D free 8x6 set-ups": 2.788575299734061,
    "quadratic D rules 8x6 set-ups": 2.274372819536931,
    "quadratic D free 8x6 set-ups in 4 blocks": 2.754346670727847,
    "quadratic D free 12x4 set-ups gas volts": 2.4724510996461295,
}


@pytest.mark.parametrize("name", LONG)
def test_sixty_four_starts_come_near_a_hundred_times_as_many(name: str) -> None:
    found = search(cases.bench_search(name), draw())
    ratio = math.exp(found.value - LONG[name]) if " D " in name else LONG[name] / found.value
    assert ratio > 0.99


def test_the_known_numbers_of_three_gases_and_three_numbers() -> None:
    pairs = search(cases.bench_search("two-factor D free 24"), draw())
    assert pairs.efficiency == pytest.approx(1.0, abs=1e-6)
    tenths = tuple(at / 5 for at in range(-5, 6))
    wide = replace(
        cases.bench_search("quadratic D free 24"),
        grid=dict.fromkeys(("volts", "feed", "travel"), tenths),
    )
    efficiency = search(wide, draw()).efficiency
    assert efficiency is not None
    # An earlier search, apart from this code, had .956.
    assert efficiency >= 0.956


@pytest.mark.parametrize(("region", "least", "most"), [("free", 0.3, 0.55), ("rules", 0.3, 0.55)])
def test_most_information_is_not_least_prediction_error(
    region: str, least: float, most: float
) -> None:
    # An earlier search, apart from this code: a D-optimal quadratic has 34 % more average variance
    # of a prediction.
    best = search(cases.bench_search(f"quadratic I {region} 24"), draw())
    other = search(cases.bench_search(f"quadratic D {region} 24"), draw())
    problem = optimal.make_problem(cases.bench_search(f"quadratic I {region} 24"))
    points = other.units[0]
    rows = model_matrix(cases.BENCH, problem.asked.terms, points).matrix[None, :, 1:]
    assert problem.weight is not None
    variance = float(np.trace(np.linalg.inv(problem.information(rows)[0]) @ problem.weight))
    assert least < variance / best.value - 1 < most


@pytest.mark.parametrize("model", ["two-factor", "quadratic"])
def test_a_free_optimum_sorted_and_chopped_into_setups_loses(model: str) -> None:
    whole = cases.bench_search(f"{model} D free 48")
    points = sorted(search(whole, draw()).units[0], key=lambda point: str(point["gas"]))
    setups = cases.bench_search(f"{model} D free 8x6 set-ups")
    chopped = tuple(tuple(points[at : at + 6]) for at in range(0, 48, 6))
    loss = 1 - math.exp(every.criterion(setups, chopped) - search(setups, draw()).value)
    # An earlier search, apart from this code: 16 to 31 % over its problems.
    assert 0.14 < loss < 0.33


@st.composite
def searches(pick: st.DrawFn) -> Search:
    """Small problems of any make."""
    factors = [cases.number("x"), cases.number("y")]
    if pick(st.booleans()):
        factors.insert(0, cases.category("gas", "abc"[: pick(st.integers(2, 3))]))
    names = [factor.name for factor in factors]
    hard = tuple(pick(st.sets(st.sampled_from(names), max_size=2)))
    blocks = pick(st.integers(1, 2))
    units = tuple(
        U(
            pick(st.integers(1, 5)),
            at % blocks,
            {"x": 1.0} if "x" in hard and pick(st.booleans()) else None,
        )
        for at in range(pick(st.integers(1, 4)))
    )
    kept = tuple(
        (-1, {"gas": "a", "x": 1.0, "y": pick(st.sampled_from((-1.0, 0.25)))})
        for _ in range(pick(st.integers(0, 2)))
    )
    limit = pick(st.sampled_from((None, 1.1, 0.5)))
    return asked(
        tuple(factors),
        pick(st.sampled_from(("main", "two-factor", "quadratic"))),
        *units,
        hard=tuple(name for name in names if name in hard),
        kept=tuple((at, {name: point[name] for name in names}) for at, point in kept),
        allowed=None if limit is None else lambda p: float(p["x"]) + float(p["y"]) <= limit,
        criterion=pick(st.sampled_from("DI")),
        ratio=pick(st.sampled_from((0.0, 1.0, 5.0))),
        starts=6,
    )


@settings(max_examples=40)
@given(one=searches(), seed=st.sampled_from("abc"))
def test_any_design_keeps_what_was_asked(one: Search, seed: str) -> None:
    try:
        found = search(one, draw(seed))
    except PlanRefused:
        unknowns, reached = rank_of(one)
        assert reached < unknowns
        return
    assert [len(held) for held in found.units] == [unit.coupons for unit in one.units]
    for unit, held in zip(one.units, found.units, strict=True):
        assert len({tuple(point[name] for name in one.hard) for point in held}) <= 1
        for point in held:
            assert one.allowed is None or one.allowed(point)
            assert all(point[name] == level for name, level in (unit.hard or {}).items())
    if one.allowed is None or one.criterion == "D":
        assert found.value == pytest.approx(every.criterion(one, found.units), rel=1e-6, abs=1e-7)
    assert found.efficiency is not None
    assert 0 < found.efficiency <= 1
    assert search(one, draw(seed)) == found
    assert rank_of(one)[0] == rank_of(one)[1]


def test_numbers_drawn_otherwise_start_otherwise() -> None:
    one = replace(cases.bench_search("quadratic D free 8x6 set-ups"), starts=4)
    assert search(one, draw("a")) == search(one, draw("a"))
    assert search(one, draw("a")).units != search(one, draw("b")).units


def test_moments_are_taken_over_the_allowed_region_alone() -> None:
    # The region x + y <= 0 of the square is a triangle: means of x, x^2 and xy are known.
    half = asked(
        (X, Y), "quadratic", U(8), allowed=lambda p: float(p["x"]) + float(p["y"]) <= 0,
        criterion="I",
    )  # fmt: skip
    weight = optimal.make_problem(half).weight
    assert weight is not None
    # Columns: intercept, x, y, xy, x^2, y^2; cells of the grid leave an error of about 1/41.
    assert weight[0, :5] == pytest.approx([1.0, -1 / 3, -1 / 3, 0.0, 1 / 3], abs=0.02)


def refusal(one: Search) -> str:
    with pytest.raises(PlanRefused) as caught:
        search(one, draw())
    return caught.value.words


def test_too_few_coupons_are_refused_in_numbers() -> None:
    one = asked((X, Y), "quadratic", U(5))
    assert refusal(one) == (
        "The model has 6 unknowns; 5 coupons differ enough to tell. Drop terms, or add at least "
        "1 coupon."
    )
    assert rank_of(one) == (6, 5)
    assert coupons_needed(one) == 6
    assert coupons_needed(replace(one, kept=EARLIER)) == 4


def test_limits_that_leave_too_few_settings_are_refused() -> None:
    line = asked((X, Y), "quadratic", U(12), allowed=lambda p: p["x"] == p["y"])
    assert rank_of(line) == (6, 3)
    assert refusal(line).startswith(
        "The model has 6 unknowns; after the limits 3 coupons differ enough to tell. More coupons "
        "alone do not help"
    )


def test_limits_that_leave_nothing_are_refused() -> None:
    nothing = asked((X, Y), "main", U(6), allowed=lambda p: False)
    assert "rule out every setting" in refusal(nothing)
    held = asked(
        (GAS, X), "main", U(3, 0, {"gas": "b"}), U(3), hard=("gas",),
        allowed=lambda p: p["gas"] != "b",
    )  # fmt: skip
    assert refusal(held).startswith("The limits on settings leave nothing for set-up 1 (gas b).")
    assert "no one combination" in refusal(replace(held, units=(U(3, 0, {"gas": "z"}), U(3))))
    empty = asked((X,), "main", U(3), U(0, 1))
    assert [len(held) for held in search(empty, draw()).units] == [3, 0]
    with pytest.raises(ValueError, match="none of the factors"):
        search(replace(empty, hard=("gas",)), draw())
    assert "no coupon to place" in refusal(asked((X,), "main", U(0)))


def test_a_ruled_grid_too_large_to_look_at_whole_is_sampled_and_not_bounded() -> None:
    factors = tuple(cases.number(f"f{at}") for at in range(12))
    one = asked(
        factors, "main", U(16), allowed=lambda p: float(p["f0"]) + float(p["f1"]) <= 0.7, starts=8
    )
    found = search(one, draw())
    assert found.bound is None
    assert all(one.allowed is not None and one.allowed(point) for point in found.units[0])
    # Free, no design of 16 coupons has more than log 16 a column (Hadamard).
    assert math.log(16) - 0.5 < found.value < math.log(16)


def test_a_grid_too_large_to_list_is_searched_by_coordinates() -> None:
    factors = tuple(cases.number(f"f{at}") for at in range(16))
    found: Found = search(replace(asked(factors, "main", U(24)), starts=8), draw())
    assert found.efficiency is None
    assert found.bound is None
    # No design of 24 coupons has more than log 24 a column (Hadamard).
    assert math.log(24) - 0.15 < found.value <= math.log(24)
