"""The joint chance against closed forms of scipy: Student's t, multivariate normal and t."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.joint import Held, Joint, Limit, Passing, chances
from weldtrial.analysis.settings_grid import (
    evaluate,
    lay_grid,
    places_at,
    polynomial,
    shifted,
)
from weldtrial.analysis.together import joint_of, nearest_correlation
from weldtrial.shared.coding import model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.terms import Term, model_terms, parse_term

_spec = importlib.util.spec_from_file_location(
    "window_bench", Path(__file__).with_name("window_bench.py")
)
bench = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(bench)
FACTORS, GAS, TERMS, Fitted = bench.FACTORS, bench.GAS, bench.TERMS, bench.Fitted
fitted, layout, observations = bench.fitted, bench.layout, bench.observations

X = Factor("x", "numeric", ("0", "10"), unit="V", settings={"": (0.0, 10.0)})
LINE = (Term((("x", 1),)),)
MANY = 40_000
ERROR = 3 * 0.5 / MANY**0.5
"""Three Monte-Carlo errors, at their largest."""


def line(name="r", mean=10.0, slope=1.0, df=12.0, sd=2.0, setup=0.0, df_setup=None, n=16):
    covariance = np.diag([sd**2 / n, sd**2 / n])
    return Fitted(
        name, "kN", (X,), LINE, np.array([mean, slope]), covariance, df, df_setup, sd, setup
    )


def alone(surface, limits, points=({"x": 0.0},), **more):
    joint = Joint((surface,), np.eye(1), np.eye(1), more.pop("per_setup", 1.0))
    return chances(joint, limits, places_at((X,), points), draws=MANY, **more)


@pytest.mark.parametrize("df", [3.0, 12.0, 40.5])
@pytest.mark.parametrize("x", [-1.0, 0.3])
def test_one_response_is_students_t(df: float, x: float) -> None:
    surface = line(df=df)
    mean, sd = (one[0] for one in surface.new_coupon([{"x": x}]))
    found = alone(surface, [Limit("r", at_least=9.0, at_most=13.0)], ({"x": x},))
    exact = stats.t.cdf((13 - mean) / sd, df) - stats.t.cdf((9 - mean) / sd, df)
    assert found.together[0] == pytest.approx(exact, abs=ERROR)
    assert found.own[0, 0] == found.together[0]


def three(df: float):
    surfaces = tuple(
        line(name, mean, slope, df, sd)
        for name, mean, slope, sd in [("a", 10, 1, 2), ("b", 80, -3, 5), ("c", 2, 0.1, 0.3)]
    )
    correlation = np.array([[1, 0.6, -0.3], [0.6, 1, 0.2], [-0.3, 0.2, 1.0]])
    limits = [Limit("a", at_least=9), Limit("b", at_least=76), Limit("c", at_most=2.3)]
    return Joint(surfaces, correlation, np.eye(3)), limits


def both_ways(joint, x: float):
    """Mean and covariance of a new coupon's distance from its limits, all to be above 0."""
    values = np.array([one.mean([{"x": x}])[0] for one in joint.surfaces])
    sd = np.array([one.new_coupon([{"x": x}])[1][0] for one in joint.surfaces])
    sign = np.array([1, 1, -1.0])
    cut = np.array([9, 76, 2.3])
    cov = joint.correlation * np.outer(sd, sd) * np.outer(sign, sign)
    return sign * (values - cut), cov


@pytest.mark.parametrize("x", [-0.8, 0.0, 1.0])
def test_known_scatter_is_the_multivariate_normal(x: float) -> None:
    joint, limits = three(1e7)
    found = chances(joint, limits, places_at((X,), [{"x": x}]), draws=MANY)
    centre, cov = both_ways(joint, x)
    exact = stats.multivariate_normal(np.zeros(3), cov).cdf(centre)
    assert found.together[0] == pytest.approx(exact, abs=ERROR)


@pytest.mark.parametrize("df", [6.0, 20.0])
def test_close_to_petersons_multivariate_t(df: float) -> None:
    # Peterson 2004: multivariate t at n - p - R + 1, all responses over one chi-squared.  Here each
    # has its own, correlated by the square of the correlation: where df are few the two differ a
    # little, at most 0.015.
    joint, limits = three(df)
    found = chances(joint, limits, places_at((X,), [{"x": 0.0}]), draws=MANY)
    centre, cov = both_ways(joint, 0.0)
    exact = stats.multivariate_t(shape=cov * df / (df - 2), df=df - 2, seed=1)
    assert found.together[0] == pytest.approx(
        float(exact.cdf(centre, maxpts=10**6)), abs=ERROR + 0.015
    )
    # Each limit by itself is Student's t at the same degrees of freedom, exactly.
    scaled = centre / np.sqrt(np.diag(cov) * df / (df - 2))
    assert found.own[0] == pytest.approx(stats.t.cdf(scaled, df - 2), abs=ERROR)


def test_weakest_link_and_averages() -> None:
    joint, limits = three(15.0)
    places = places_at((X,), [{"x": -1.0}, {"x": 1.0}])
    found = chances(joint, limits, places, draws=2000)
    assert found.weakest(0) == found.limits[int(np.argmin(found.own[0]))]
    assert np.all(found.together <= found.own.min(axis=1))
    # a = 9 at x = -1 (just met), c = 2.1 at x = 1; b = 77.
    assert found.on_average.tolist() == [True, True]
    tight = [replace(limits[0], at_least=9.01), *limits[1:]]
    assert chances(joint, tight, places, draws=500).on_average.tolist() == [False, True]


def test_a_coupon_in_a_fresh_set_up_has_the_degrees_of_freedom_of_both_scatters() -> None:
    # Satterthwaite 1946: the sum of (4 - 1)/4 of the coupons' mean square, known, and 1/4 of the
    # set-ups' at 3 df; the mean known, so Student's t of scipy serves.
    surface = replace(
        line(mean=10, slope=0, df=1e8, sd=1.0, setup=1.5, df_setup=3.0), covariance=np.zeros((2, 2))
    )
    found = alone(surface, [Limit("r", at_least=9.0)], per_setup=4.0)
    between, within = 0.25 + 1.5**2, 0.75
    df = (between + within) ** 2 / (between**2 / 3.0)
    exact = stats.t.cdf(1.0 / np.sqrt(between + within), df)
    assert found.together[0] == pytest.approx(exact, abs=ERROR)


def test_one_coupon_in_every_set_up_is_judged_by_set_ups_alone() -> None:
    # Nothing is left of the coupons' mean square then: Student's t at the set-ups' 3 df.
    surface = replace(
        line(mean=10, slope=0, df=20.0, sd=0.8, setup=0.6, df_setup=3.0),
        covariance=np.zeros((2, 2)),
    )
    found = alone(surface, [Limit("r", at_least=9.0)], per_setup=1.0)
    assert found.together[0] == pytest.approx(stats.t.cdf(1.0, 3.0), abs=ERROR)


def test_settings_held_loosely() -> None:
    # A straight line of slope 1.6 a coded unit, 5 V to the unit: normal within 2.5 V in 95 of 100
    # adds (1.6 * 0.5 / 1.96)^2; uniform within 2.5 V adds (1.6 * 0.5)^2 / 3.
    surface = replace(line(slope=1.6, df=1e8, sd=0.5), covariance=np.zeros((2, 2)))
    limit = [Limit("r", at_least=9.4)]
    normal = alone(surface, limit, held=[Held("x", 2.5)])
    sd = np.hypot(0.5, 1.6 * 0.5 / 1.959964)
    assert normal.together[0] == pytest.approx(stats.norm.cdf(0.6 / sd), abs=ERROR)
    uniform = alone(surface, limit, held=[Held("x", 2.5, "uniform")])
    shift = 1.6 * 0.5 * ((np.arange(4000) + 0.5) / 2000 - 1)
    exact = np.mean(stats.norm.cdf((0.6 + shift) / 0.5))
    assert uniform.together[0] == pytest.approx(exact, abs=ERROR)


def test_passes_enter_by_their_own_share() -> None:
    passing = Passing("bend", (("mix", (9, 10)), ("co2", (7, 10))), "gas")
    surface = fitted("b", FACTORS, TERMS, _bench(1)[0][0])
    joint = Joint((surface,), np.eye(1), np.eye(1), 5.0, (passing,))
    grid = lay_grid(FACTORS, 2)
    with_it = chances(joint, [Limit("b", at_least=-99)], grid, draws=200)
    mix = grid.of({"gas": "mix"})
    assert np.allclose(with_it.together[mix], 9.5 / 11)
    assert np.allclose(with_it.together[~mix], 7.5 / 11)
    assert with_it.limits == ("b", "bend")
    assert with_it.weakest(0) == "bend"
    only = chances(joint, [], grid, draws=200)
    assert np.allclose(only.together, with_it.together)


def _bench(responses: int, seed=5, correlation=0.7):
    rng = np.random.default_rng(seed)
    points, setup, rounds = layout(rng, setups=40)
    cov = np.full((responses, responses), correlation) + (1 - correlation) * np.eye(responses)
    root = np.linalg.cholesky(cov)
    e = (root @ rng.standard_normal((responses, len(points)))).T
    u = (root @ rng.standard_normal((responses, 40))).T[setup]
    rows = [observations(points, setup, rounds, (e + u)[:, r]) for r in range(responses)]
    return rows, points


def test_correlation_is_found_from_the_same_coupons() -> None:
    rows, _ = _bench(2)
    surfaces = [fitted(name, FACTORS, TERMS, one) for name, one in zip("ab", rows, strict=True)]
    joint = joint_of(surfaces, rows)
    # 200 coupons and 40 set-ups: standard errors about 0.04 and 0.1.
    assert joint.correlation[0, 1] == pytest.approx(0.7, abs=0.12)
    assert joint.correlation_setup[0, 1] == pytest.approx(0.7, abs=0.3)
    assert joint.per_setup == pytest.approx(5.0)
    # Coupons read for one response only are not paired.
    other = joint_of(surfaces, [rows[0], rows[1][:3]])
    assert other.correlation[0, 1] == 0.0


def test_correlations_that_do_not_fit_together_are_mended() -> None:
    odd = np.array([[1, 0.9, -0.9], [0.9, 1, 0.9], [-0.9, 0.9, 1.0]])
    mended = nearest_correlation(odd)
    assert np.linalg.eigvalsh(mended)[0] > -1e-12
    assert np.allclose(np.diag(mended), 1)
    fine = np.array([[1, 0.3], [0.3, 1.0]])
    assert nearest_correlation(fine) is fine


def test_polynomials_are_the_model_matrix_and_move() -> None:
    terms = (*model_terms(FACTORS, "quadratic"), parse_term("gas:travel^2", FACTORS))
    rng = np.random.default_rng(2)
    grid = lay_grid(FACTORS, 3)
    matrix = model_matrix(FACTORS, terms, grid.points()).matrix
    beta = rng.normal(size=(matrix.shape[1], 4))
    shift = rng.normal(size=(3, 4)) * 0.2
    for which, levels in enumerate(grid.levels):
        mine = grid.which == which
        surface = polynomial(FACTORS, terms, levels, beta)
        assert np.allclose(evaluate(surface, grid.coded[mine]), matrix[mine] @ beta)
        moved = evaluate(shifted(surface, shift), grid.coded[mine])
        for draw in range(4):
            there = grid.coded[mine] + shift[:, draw]
            assert np.allclose(moved[:, draw], evaluate(surface, there)[:, draw])


def test_a_grid_is_in_real_units_of_each_gas_and_leaves_out_what_is_ruled_out() -> None:
    grid = lay_grid(FACTORS, 3, allowed=lambda s: s["voltage"] * s["wire_feed"] <= 250)
    voltages = {
        gas: sorted({grid.settings(i)["voltage"] for i in np.flatnonzero(grid.of({"gas": gas}))})
        for gas in GAS.levels
    }
    assert voltages == {"mix": [24.0, 25.5, 27.0], "co2": [25.5, 27.0, 28.5]}
    assert all(
        grid.settings(i)["voltage"] * grid.settings(i)["wire_feed"] <= 250 for i in range(len(grid))
    )
    assert len(lay_grid(FACTORS, 3)) == 54 > len(grid) > 0


def test_nothing_to_meet_and_unknown_scatter_are_refused() -> None:
    joint, _ = three(10.0)
    places = places_at((X,), [{"x": 0.0}])
    with pytest.raises(NotEstimable, match="no response has a limit"):
        chances(joint, [], places)
    with pytest.raises(NotEstimable, match="no surface was fitted for bend"):
        chances(joint, [Limit("bend", 80)], places)
    with pytest.raises(NotEstimable, match="fresh set-up"):
        Joint((line(setup=float("nan"), df_setup=None),), np.eye(1), np.eye(1))
