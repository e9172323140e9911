"""Desirability against the tyre tread compound of Derringer & Suich 1980; fronts against brute."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize

from weldtrial.analysis.desirability import Wish, desirability
from weldtrial.analysis.pareto import not_beaten

# Derringer & Suich 1980, J. Qual. Technol. 12, 214-219: fitted surfaces over x1 (silica), x2
# (coupling agent), x3 (sulfur), from memory; the four means that they print at their optimum come
# out of these coefficients, which is how the memory was checked.
TYRE = {
    "abrasion": (139.12, 16.49, 17.88, 10.91, -4.01, -3.45, -1.57, 5.13, 7.13, 7.88),
    "modulus": (1261.11, 268.15, 246.50, 139.48, -83.55, -124.79, 199.17, 69.38, 94.13, 104.38),
    "elongation": (400.38, -99.67, -31.40, -73.92, 7.93, 17.31, 0.43, 8.75, 6.25, 1.25),
    "hardness": (68.91, -1.41, 4.32, 1.63, 1.56, 0.06, -0.32, -1.63, 0.13, -0.25),
}
WISHES = (
    Wish("abrasion", 170, worthless_below=120),
    Wish("modulus", 1300, worthless_below=1000),
    Wish("elongation", 500, worthless_below=400, worthless_above=600),
    Wish("hardness", 67.5, worthless_below=60, worthless_above=75),
)
OPTIMUM = (-0.05, 0.145, -0.868)
MEANS = {"abrasion": 129.5, "modulus": 1300.0, "elongation": 465.7, "hardness": 68.0}
PRINTED = 0.583


def tyre(x) -> dict[str, np.ndarray]:
    a, b, c = np.asarray(x, float)
    columns = np.array([1.0, a, b, c, a * a, b * b, c * c, a * b, a * c, b * c])
    return {name: np.array(columns @ np.array(row)) for name, row in TYRE.items()}


def test_the_tyre_tread_compound_as_printed() -> None:
    found = tyre(OPTIMUM)
    # Their settings are printed to two or three digits, so their means agree to about 0.1 %.
    for name, printed in MEANS.items():
        assert float(found[name]) == pytest.approx(printed, rel=1e-3)
    assert float(desirability(WISHES, found)) == pytest.approx(PRINTED, abs=0.0005)


def test_no_settings_of_the_tyre_do_better_than_printed() -> None:
    def loss(x) -> float:
        return -float(desirability(WISHES, tyre(x)))

    # Within the axial points of their central composite design, 1.633.
    starts = np.random.default_rng(1).uniform(-1.2, 1.2, (12, 3))
    ends = [optimize.minimize(loss, s, method="Nelder-Mead", bounds=[(-1.633, 1.633)] * 3)
            for s in (*starts, OPTIMUM)]  # fmt: skip
    best = min(ends, key=lambda one: one.fun)
    assert -best.fun == pytest.approx(PRINTED, abs=0.001)
    assert best.x == pytest.approx(OPTIMUM, abs=0.02)


def test_each_shape_by_hand() -> None:
    up = Wish("r", 10, worthless_below=0, bend_below=2)
    assert up.worth(np.array([-1, 0, 5, 10, 99.0])).tolist() == [0, 0, 0.25, 1, 1]
    down = Wish("r", 10, worthless_above=20)
    assert down.worth(np.array([5, 15, 20, 30.0])).tolist() == [1, 0.5, 0, 0]
    both = Wish("r", 10, 0, 20, bend_above=0.5)
    assert both.worth(np.array([5, 10, 17.5, 21.0])).tolist() == [0.5, 1, 0.5, 0]


def test_weights_and_one_that_is_no_good() -> None:
    wishes = (Wish("a", 1, 0, weight=3), Wish("b", 1, 0))
    values = {"a": np.array([0.5, 1.0]), "b": np.array([0.25, 0.0])}
    assert desirability(wishes, values) == pytest.approx([(0.5**3 * 0.25) ** 0.25, 0.0])


@pytest.mark.parametrize(
    "arguments",
    [
        {"enough": 1},
        {"enough": 1, "worthless_below": 1},
        {"enough": 1, "worthless_above": 0},
        {"enough": 1, "worthless_below": 0, "weight": 0},
        {"enough": 1, "worthless_below": 0, "bend_below": -1},
    ],
)
def test_wishes_out_of_order_are_refused(arguments) -> None:
    with pytest.raises(ValueError, match="r:"):
        Wish("r", **arguments)
    with pytest.raises(ValueError, match="at least one"):
        desirability((), {})


tables = st.lists(st.tuples(*[st.integers(0, 4)] * 3), min_size=1, max_size=25)


@given(tables, st.tuples(*[st.booleans()] * 3), st.data())
def test_the_front_is_what_brute_force_finds(table, higher, data) -> None:
    values = np.array(table, dtype=float)
    feasible = np.array(data.draw(st.lists(st.booleans(), min_size=len(table),
                                           max_size=len(table))))  # fmt: skip
    good = values * np.where(higher, 1, -1)
    kept = np.flatnonzero(feasible)
    brute = {
        i for i in kept
        if not any(np.all(good[j] >= good[i]) and np.any(good[j] > good[i]) for j in kept)
    }  # fmt: skip
    found = not_beaten(values, higher, feasible)
    assert set(found.tolist()) == brute
    assert len(found) == len(brute)


def test_front_is_quick_and_checks_its_table() -> None:
    values = np.random.default_rng(1).normal(size=(1458, 3))
    assert 10 < len(not_beaten(values, (True, True, False))) < 200
    with pytest.raises(ValueError, match="2 columns"):
        not_beaten(values, (True, False))
    with pytest.raises(ValueError, match="finite"):
        not_beaten(np.array([[np.nan]]), (True,))
