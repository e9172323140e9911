"""The continuous optimum against known ones, and that its bound holds before it has converged."""

from __future__ import annotations

import math

import numpy as np
import pytest

from weldtrial.doe import continuous_bound as module
from weldtrial.doe.candidates import allowed_places
from weldtrial.doe.continuous_bound import Bound, continuous_bound
from weldtrial.doe.optimal import Search, UnitAsked
from weldtrial.doe.optimal_problem import make_problem
from weldtrial.doe.point_exchange import list_places
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term, model_terms

X, Y = (
    Factor(name, "numeric", ("low", "high"), unit="V", settings={"": (-1.0, 1.0)}) for name in "xy"
)
FINE = tuple(at / 20 for at in range(-20, 21))


def bound_of(asked: Search) -> tuple[Bound, np.ndarray]:
    problem = make_problem(asked)
    listed = list_places(problem, allowed_places(problem.grid, asked.allowed))
    return continuous_bound(problem, listed), listed.places


def test_polynomials_on_a_line_have_their_known_optima() -> None:
    # Guest (1958), Hoel (1958): equal shares at the ends and the roots of Legendre's P'; for a
    # parabola at -1, 0, 1 with determinant 4/27.
    parabola = Search((X,), model_terms((X,), "quadratic"), (UnitAsked(1),), grid={"x": FINE})
    bound, places = bound_of(parabola)
    assert math.exp(3 * bound.value) == pytest.approx(4 / 27, rel=1e-3)
    assert bound.gap < 1e-4
    assert [FINE[place] for place in places[bound.use > 0.9999, 0]] == [-1.0, 0.0, 1.0]
    root = 1 / math.sqrt(5)
    cubic = Search(
        (X,),
        tuple(Term((("x", power),)) for power in (1, 2, 3)),
        (UnitAsked(1),),
        grid={"x": tuple(sorted({*FINE, root, -root}))},
    )
    rows = np.vander([-1.0, -root, root, 1.0], increasing=True)
    known = np.linalg.slogdet(rows.T @ rows / 4)[1] / 4
    assert bound_of(cubic)[0].value == pytest.approx(known, abs=2e-4)


def test_least_prediction_variance_of_a_parabola_is_the_known_one() -> None:
    # Studden (1977), Annals of Statistics 5: I-optimal shares 1/4, 1/2, 1/4; from memory.
    asked = Search(
        (X,), model_terms((X,), "quadratic"), (UnitAsked(1),), grid={"x": FINE}, criterion="I"
    )
    rows = np.vander([-1.0, 0.0, 1.0], increasing=True)
    moments = np.array([[1, 0, 1 / 3], [0, 1 / 3, 0], [1 / 3, 0, 1 / 5]])
    shares = np.array([0.25, 0.5, 0.25])
    known = np.trace(np.linalg.inv((rows.T * shares) @ rows) @ moments)
    assert bound_of(asked)[0].value == pytest.approx(known, rel=1e-3)


def test_setups_of_one_coupon_are_noisier_coupons() -> None:
    terms = model_terms((X, Y), "quadratic")
    plain, _ = bound_of(Search((X, Y), terms, (UnitAsked(8),)))
    apart, _ = bound_of(Search((X, Y), terms, (UnitAsked(1),) * 8, hard=("x",), ratio=3.0))
    assert apart.value == pytest.approx(plain.value - math.log(4), abs=2e-4)


@pytest.mark.parametrize("criterion", ["D", "I"])
@pytest.mark.parametrize("hard", [(), ("x",)])
def test_an_early_bound_is_looser_and_never_wrong(
    criterion: str, hard: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = Search(
        (X, Y),
        model_terms((X, Y), "quadratic"),
        (UnitAsked(3),) * 4,
        hard=hard,
        allowed=lambda point: float(point["x"]) + float(point["y"]) <= 0.6,
        criterion="I" if criterion == "I" else "D",
    )
    late, _ = bound_of(asked)
    assert late.gap < 1e-3
    monkeypatch.setattr(module, "_ROUNDS", 1)
    monkeypatch.setattr(module, "_FIRST_STEPS", 1)
    early, _ = bound_of(asked)
    assert early.gap > 0.01
    # Within its own gap the late bound is the optimum, so that no early one may cut below it.
    if criterion == "D":
        assert early.value >= late.value - late.gap
    else:
        assert early.value <= late.value * (1 + late.gap)
