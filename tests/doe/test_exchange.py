"""Updates of rank two against matrices worked out anew, for every kind of exchange."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from weldtrial.doe import interchange
from weldtrial.doe.candidates import allowed_places, grid_of
from weldtrial.doe.draw import Draw
from weldtrial.doe.exchange import CoordinatePass
from weldtrial.doe.hard_exchange import move_units
from weldtrial.doe.optimal import Search, UnitAsked
from weldtrial.doe.optimal_problem import Problem, make_problem
from weldtrial.doe.optimal_starts import deal_choices, deal_kinds, deal_places
from weldtrial.doe.point_exchange import Listed, PointPass, list_places
from weldtrial.doe.rank_one import first_best
from weldtrial.shared.coding import model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import model_terms

GAS = Factor("gas", "category", ("a", "b", "c"))
X, Y = (
    Factor(name, "numeric", ("low", "high"), unit="V", settings={"": (-1.0, 1.0)}) for name in "xy"
)
KEPT = (
    (0, {"gas": "a", "x": 0.3, "y": -0.7}),
    (-1, {"gas": "b", "x": 0.0, "y": 0.2}),
    (-1, {"gas": "c", "x": 1.0, "y": -0.5}),
)
BASE = Search(
    (GAS, X, Y),
    model_terms((GAS, X, Y), "quadratic"),
    tuple(UnitAsked(4 + unit % 2, unit // 2) for unit in range(6)),
    kept=KEPT,
    ratio=2.5,
)
MAKES = [
    replace(BASE, criterion=criterion, hard=hard)
    for criterion in ("D", "I")
    for hard in ((), ("gas",))
]
RIDGE = 0.01


def ready(asked: Search) -> tuple[Problem, Listed]:
    problem = make_problem(asked)
    return problem, list_places(problem, allowed_places(problem.grid, asked.allowed))


def anew(problem: Problem, rows: np.ndarray) -> np.ndarray:
    return np.linalg.inv(problem.information(rows) + RIDGE * np.eye(problem.columns))


def measure(problem: Problem, inverse: np.ndarray) -> np.ndarray:
    """What is to grow: minus log det of the inverse, or minus the trace."""
    if problem.weight is None:
        return -np.linalg.slogdet(inverse)[1]
    return -np.trace(inverse @ problem.weight, axis1=1, axis2=2)


def test_rows_of_places_are_those_of_the_model_matrix() -> None:
    grid = grid_of(BASE)
    points = [grid.point(place) for place in grid.places()]
    whole = model_matrix(BASE.factors, BASE.terms, points).matrix
    np.testing.assert_allclose(grid.rows(grid.places()), whole[:, 1:])


@pytest.mark.parametrize("asked", MAKES)
def test_information_is_that_of_v_written_out(asked: Search) -> None:
    problem, listed = ready(replace(asked, kept=KEPT[:1]))
    kinds = deal_kinds(problem, Draw(bytes(32)), 1)
    rows = listed.rows[deal_choices(problem, Draw(bytes(32)), kinds, listed.kind)]
    kept = model_matrix(asked.factors, asked.terms, [KEPT[0][1]]).matrix[:, 1:]
    x = np.vstack([problem.with_blocks(rows)[0], np.hstack([np.eye(1, 3), kept])])
    unit = np.append(problem.unit, 0)
    v = np.eye(len(x)) + (2.5 if asked.hard else 0.0) * (unit[:, None] == unit)
    np.testing.assert_allclose(
        problem.information(rows)[0], x.T @ np.linalg.solve(v, x), atol=1e-10
    )


@pytest.mark.parametrize("asked", MAKES)
def test_after_a_pass_of_point_exchange_all_kept_numbers_are_true(asked: Search) -> None:
    problem, listed = ready(asked)
    kinds = deal_kinds(problem, Draw(bytes(32)), 5)
    choice = deal_choices(problem, Draw(bytes(32)), kinds, listed.kind)
    before = measure(problem, anew(problem, listed.rows[choice]))
    one = PointPass(problem, listed, choice, kinds, RIDGE, problem.weight)
    assert one.run().all()
    inverse, b = anew(problem, listed.rows[choice]), problem.blocks
    np.testing.assert_allclose(one.inverse, inverse, atol=1e-9 * np.abs(inverse).max())
    for kept, matrix in [(one.spread, inverse)] + (
        [] if problem.weight is None else [(one.spread_w, inverse @ problem.weight @ inverse)]
    ):
        fresh = ((listed.rows @ matrix[:, b:, b:]) * listed.rows).sum(axis=2)
        np.testing.assert_allclose(kept, fresh, atol=1e-9 * np.abs(fresh).max())
    assert (measure(problem, inverse) > before).all()


@pytest.mark.parametrize("asked", MAKES)
def test_after_a_pass_of_coordinate_exchange_the_inverse_is_true(asked: Search) -> None:
    problem, _ = ready(asked)
    kinds = deal_kinds(problem, Draw(bytes(32)), 5)
    places = deal_places(problem, Draw(bytes(32)), kinds)
    held = places[:, :, problem.hard].copy()
    one = CoordinatePass(problem, places, RIDGE, problem.weight)
    assert one.run().all()
    inverse = anew(problem, problem.grid.rows(places))
    np.testing.assert_allclose(one.inverse, inverse, atol=1e-9 * np.abs(inverse).max())
    assert (places[:, :, problem.hard] == held).all()


@pytest.mark.parametrize("asked", MAKES)
def test_changing_places_betters_and_keeps_the_settings(asked: Search) -> None:
    problem, listed = ready(asked)
    kinds = deal_kinds(problem, Draw(bytes(32)), 5)
    choice = deal_choices(problem, Draw(bytes(32)), kinds, listed.kind)
    before, old = measure(problem, anew(problem, listed.rows[choice])), choice.copy()
    moved = interchange.interchange(
        problem, choice, kinds, lambda state: listed.rows[state], RIDGE, problem.weight
    )
    after = measure(problem, anew(problem, listed.rows[choice]))
    assert moved.all()
    assert (after > before).all()
    assert (np.sort(choice, axis=1) == np.sort(old, axis=1)).all()
    assert (listed.kind[choice] == kinds[:, problem.unit]).all()
    # And nothing is left: every pair exchanged by hand gains nothing.
    for start in range(2):
        for one in range(len(problem.unit)):
            swapped = np.repeat(choice[start][None], one, axis=0)
            for other in range(one):
                swapped[other, [one, other]] = swapped[other, [other, one]]
            same = kinds[start, problem.unit[:one]] == kinds[start, problem.unit[one]]
            if one and same.any():
                reached = measure(problem, anew(problem, listed.rows[swapped]))[same]
                assert (reached <= after[start] + 1e-6 * abs(after[start])).all()


def test_a_badly_dealt_gas_is_put_right_by_moving_whole_setups() -> None:
    asked = replace(BASE, hard=("gas",), kept=(), units=(UnitAsked(4),) * 6)
    problem = make_problem(asked)
    places = deal_places(problem, Draw(bytes(32)), np.zeros((3, 6), dtype=np.intp))
    kinds = np.zeros((3, 6), dtype=np.intp)

    def moved_to(own: np.ndarray, kind: int) -> np.ndarray:
        made = own.copy()
        made[..., 0] = kind
        return made

    moved = move_units(problem, places, kinds, problem.grid.rows, moved_to, RIDGE, None)
    assert moved.all()
    assert all(set(own) == {0, 1, 2} for own in kinds.tolist())
    assert (places[:, :, 0] == kinds[:, problem.unit]).all()


def test_ties_are_broken_by_place() -> None:
    score = np.array([[1.0, 3.0, 3.0 + 1e-13], [2.0, 2.0 - 1e-13, 1.0]])
    assert first_best(score).tolist() == [1, 0]
