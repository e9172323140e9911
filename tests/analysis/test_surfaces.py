"""Surfaces: cut per gas, in real units, level points, cones, ridges, what was welded."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import null_space
from scipy.optimize import linprog, minimize
from scipy.stats import f

from weldtrial.analysis.canonical import canonical
from weldtrial.analysis.inside import Welded
from weldtrial.analysis.lack_of_fit import lack_of_fit_by_setups
from weldtrial.analysis.left_out_prediction import leave_one_out, leave_one_setup_out
from weldtrial.analysis.linear import Denominator
from weldtrial.analysis.model import fit_model
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.pruned import contains, pruned_terms, with_marginal
from weldtrial.analysis.ridge import best_on_sphere, ridge_path
from weldtrial.analysis.stationary import directions, stationary_point
from weldtrial.analysis.steepest import round_cone, steepest
from weldtrial.analysis.surface import Surface, fit_surface, per_category, surface_of
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.terms import model_terms, parse_term

GAS = Factor("gas", "category", ("mix", "co2"), hard_to_change=True)
VOLTAGE = Factor(
    "voltage", "numeric", ("low", "high"), label="Arc voltage", unit="V",
    settings={"mix": (24.0, 27.0), "co2": (26.0, 30.0)}, slides_with="gas",
)  # fmt: skip
WIRE = Factor(
    "wire", "numeric", ("low", "high"), label="Wire feed", unit="m/min", settings={"": (7.0, 9.0)}
)
FACTORS = (GAS, VOLTAGE, WIRE)
TERMS = (
    *model_terms(FACTORS, "quadratic"),
    *(parse_term(text, FACTORS) for text in ("gas:voltage^2", "gas:wire^2", "gas:voltage:wire")),
)
GRID = tuple(itertools.product((-1.0, 0.0, 1.0), repeat=2))


def truth(gas: str, v: float, w: float) -> float:
    if gas == "mix":
        return 50 + 2 * v - 3 * w - 4 * v * v - 2 * w * w + v * w
    return 47 + 1 * v + 2 * w - 3 * v * v - 3 * w * w


def weld(*, rounds=3, sd_setup=1.0, sd_coupon=0.8, seed=5, setups=True, mean=truth):
    """Rounds of one set-up a gas, nine settings in each."""
    made, draw, setup = [], np.random.default_rng(seed), 0
    for block in range(1, rounds + 1):
        for gas in ("mix", "co2"):
            setup += 1
            shift = draw.normal(0, sd_setup) if setups else 0.0
            for v, w in GRID:
                y = mean(gas, v, w) + shift + draw.normal(0, sd_coupon)
                made.append(
                    Observation(
                        f"X{len(made)}",
                        len(made),
                        block if setups else None,
                        setup if setups else None,
                        {"gas": gas},
                        {"gas": gas, "voltage": v, "wire": w},
                        y,
                        (y,),
                    )
                )
    return made


def plain(names="vw", settings=(-1.0, 1.0)) -> tuple[Factor, ...]:
    return tuple(
        Factor(n, "numeric", ("a", "b"), unit=None, settings={"": settings}) for n in names
    )


def composite(k: int, axial: float, centre: int) -> np.ndarray:
    cube = np.array(list(itertools.product((-1.0, 1.0), repeat=k)))
    return np.vstack([cube, axial * np.eye(k), -axial * np.eye(k), np.zeros((centre, k))])


def at_points(x: np.ndarray, y, factors=None):
    """Coupons at coded points of numeric factors, nothing hard to change."""
    names = [one.name for one in factors or plain("abcdefg"[: x.shape[1]])]
    return [
        Observation(f"X{i}", i, None, None, {}, dict(zip(names, map(float, row), strict=True)),
                    float(value), (float(value),))
        for i, (row, value) in enumerate(zip(x, y, strict=True))
    ]  # fmt: skip


def cut_of(x: np.ndarray, y, model="quadratic", factors=None):
    factors = factors or plain("abcdefg"[: x.shape[1]])
    found = fit_surface(factors, model_terms(factors, model), at_points(x, y, factors))
    return per_category(found)[0][1]


def random_cut(seed: int, k: int = 2, sd: float = 1.0, shift: float = 1.0):
    draw = np.random.default_rng(seed)
    x = composite(k, 1.5, 4)
    bend = draw.normal(0, 2, (k, k))
    slopes = shift * draw.normal(0, 3, k)
    y = 10 + x @ slopes + np.einsum("ij,jk,ik->i", x, bend, x) + draw.normal(0, sd, len(x))
    return cut_of(x, y)


def test_surface_is_the_fit_that_analyse_makes():
    observations = weld()
    found = fit_surface(FACTORS, TERMS, observations, response="load", unit="kN")
    fit = fit_model(FACTORS, TERMS, observations)
    points = [one.point for one in observations]
    p = fit.model.matrix.shape[1]
    assert fit.x.shape[1] == p + 2  # rounds
    assert found.coefficients == pytest.approx(fit.core.coefficients[:p])
    # At the average round: the mean of the fitted values of a point over its three rounds.
    assert found.mean(points[:1])[0] == pytest.approx(fit.fitted[[0, 18, 36]].mean())
    mean, sd = found.new_coupon(points)
    assert mean == pytest.approx(found.mean(points))
    setup, coupon = fit.core.setup_variance, fit.core.coupon_variance
    assert setup > 0
    assert sd**2 == pytest.approx(found.se_mean(points) ** 2 + setup + coupon)
    one = found.estimate(found.rows(points[:1])[0])
    assert one.se == pytest.approx(found.se_mean(points[:1])[0])
    assert (found.df, found.df_setup) == (fit.core.df_within, fit.core.df_setup)


def test_set_up_spread_below_zero_is_held_at_zero_for_predictions():
    observations = [
        replace(one, value=one.value + 0.0) for one in weld(sd_setup=0.0, seed=11, rounds=4)
    ]
    found = fit_surface(FACTORS, TERMS, observations)
    assert found.fit.core.setup_variance < 0
    assert found.sd_setup == 0.0


def test_nothing_left_between_set_ups_makes_no_word_on_a_fresh_one():
    found = fit_surface(FACTORS, TERMS, weld(rounds=1))
    assert np.isnan(found.sd_setup)
    with pytest.raises(NotEstimable, match="fresh set-up"):
        found.new_coupon([{"gas": "mix", "voltage": 0.0, "wire": 0.0}])


def test_each_gas_has_its_own_surface_and_units():
    found = fit_surface(FACTORS, TERMS, weld(rounds=6, sd_coupon=0.01, sd_setup=0.01))
    draw = np.random.default_rng(2)
    for levels, cut in per_category(found):
        gas = levels["gas"]
        x = draw.uniform(-1, 1, (7, 2))
        assert cut.value(x) == pytest.approx(found.mean([cut.point(one) for one in x]))
        assert cut.value(x) == pytest.approx([truth(gas, *one) for one in x], abs=0.1)
        rows = cut.gradient_rows(x)
        assert rows @ found.coefficients == pytest.approx(np.array([cut.gradient(o) for o in x]))
        low, high = VOLTAGE.settings[gas]
        assert cut.real(np.array([[-1, -1], [1, 1]])) == pytest.approx(
            np.array([[low, 7.0], [high, 9.0]])
        )
        assert cut.coded(cut.real(x)) == pytest.approx(x)
        point = stationary_point(cut)
        exact = minimize(lambda z, gas=gas: -truth(gas, *z), [0, 0]).x
        assert point.x == pytest.approx(exact, abs=0.02)
        assert point.settings[0] == pytest.approx((low + high) / 2 + exact[0] * (high - low) / 2,
                                                  abs=0.05)  # fmt: skip


def test_terms_of_third_order_have_no_stationary_point():
    factors = plain()
    found = fit_surface(
        factors,
        [*model_terms(factors, "quadratic"), parse_term("v^3", factors)],
        at_points(np.tile([(v, w) for v in (-1, -0.4, 0.4, 1) for w in (-1, 0, 1)], (2, 1)),
                  np.random.default_rng(1).normal(size=24), factors),
    )  # fmt: skip
    with pytest.raises(NotEstimable, match="third order"):
        per_category(found)


def test_saturated_data_make_no_surface():
    with pytest.raises(NotEstimable, match="nothing is left over"):
        cut_of(
            np.array([(-1, -1), (1, -1), (-1, 1), (1, 1)], dtype=float), [1, 2, 4, 9], "two-factor"
        )


def test_readings_past_the_gauge_go_in():
    x = np.tile(composite(2, 1.0, 3), (3, 1))
    draw = np.random.default_rng(4)
    y = 10 + 2 * x[:, 0] - 2 * x[:, 0] ** 2 - 1.5 * x[:, 1] ** 2 + draw.normal(0, 0.5, len(x))
    observations = [
        replace(one, value=10.5, ends=(10.5, np.inf)) if one.value > 10.5 else one
        for one in at_points(x, y)
    ]
    factors = plain("ab")
    found = fit_surface(factors, model_terms(factors, "quadratic"), observations)
    assert found.at_limit
    cut = per_category(found)[0][1]
    exact = stationary_point(cut_of(x, y))
    assert stationary_point(cut).x == pytest.approx(exact.x, abs=0.2)
    assert np.diag(cut.B) == pytest.approx([-2.0, -1.5], abs=0.7)
    left = leave_one_out(found.fit, observations)
    assert len(left.at_limit) == sum(one.ends is not None for one in observations)
    assert np.isfinite(left.press)


# ------------------------------------------------------------------ stationary point and canonical


@pytest.mark.parametrize("seed", range(8))
def test_recoding_leaves_the_point_where_it_is_in_real_units(seed):
    """Other ranges for the same coupons: other coded units, the same point and region."""
    draw = np.random.default_rng(seed)
    real = np.array([25.0, 40.0]) + composite(2, 1.4, 4) * [1.5, 10.0]
    y = 50 + draw.normal(0, 2, 12) - 2 * ((real - [25.3, 43]) ** 2 / [2.0, 90.0]).sum(axis=1)
    points = []
    for ranges in (((23.5, 26.5), (30.0, 50.0)), ((20.0, 26.0), (38.0, 60.0))):
        factors = tuple(
            Factor(name, "numeric", ("low", "high"), unit="u", settings={"": span})
            for name, span in zip(("v", "t"), ranges, strict=True)
        )
        coded = np.array([[f.coded(value) for f, value in zip(factors, row, strict=True)]
                          for row in real])  # fmt: skip
        cut = cut_of(coded, y, factors=factors)
        points.append((cut, stationary_point(cut)))
    (one, first), (two, second) = points
    assert second.settings == pytest.approx(first.settings, rel=1e-7)
    assert second.mean.estimate == pytest.approx(first.mean.estimate, rel=1e-9)
    assert second.mean.se == pytest.approx(first.mean.se, rel=1e-7)
    assert second.place.inside == first.place.inside
    assert second.region.bounded == first.region.bounded
    somewhere = np.array([25.0, 40.0]) + draw.normal(0, 1, (50, 2)) * [1.5, 10]
    assert (
        first.region.holds(one.coded(somewhere)) == second.region.holds(two.coded(somewhere))
    ).all()
    if first.region.bounded:
        for end in ("low", "high"):
            assert two.real(getattr(second.region, end)) == pytest.approx(
                one.real(getattr(first.region, end)), rel=1e-4
            )


@pytest.mark.parametrize("seed", range(6))
def test_rotating_the_coordinates_leaves_point_and_bends(seed):
    """The same coupons in turned axes: the point turns with them, eigenvalues stay."""
    draw, x = np.random.default_rng(seed), composite(3, 1.7, 4)
    turn = np.linalg.qr(draw.normal(size=(3, 3)))[0]
    y = 5 + x @ [1, -2, 0.5] - (x**2) @ [2, 1, 3] + draw.normal(0, 1, len(x))
    one, two = cut_of(x, y), cut_of(x @ turn.T, y)
    first, second = stationary_point(one), stationary_point(two)
    assert second.x == pytest.approx(turn @ first.x, abs=1e-9)
    assert first.region.bounded == second.region.bounded
    for a, b in zip(canonical(one).axes, canonical(two).axes, strict=True):
        assert b.bend.estimate == pytest.approx(a.bend.estimate)
        assert b.bend.se == pytest.approx(a.bend.se)
        assert abs(b.direction @ (turn @ a.direction)) == pytest.approx(1.0)


@pytest.mark.parametrize(("seed", "k"), [(1, 2), (2, 2), (3, 3), (4, 3)])
def test_ends_of_a_bounded_region_are_those_of_a_fine_search(seed, k):
    draw, x = np.random.default_rng(seed), np.tile(composite(k, 1.5, 3), (2, 1))
    y = x @ draw.normal(0, 1, k) - (x**2) @ np.linspace(2, 3, k) + draw.normal(0, 0.7, len(x))
    point = stationary_point(cut_of(x, y))
    region = point.region
    assert region.bounded
    span = region.high - region.low
    box = region.low - 0.2 * span + draw.random((200_000, k)) * 1.4 * span
    held = box[region.holds(box)]
    assert np.all(held.min(axis=0) >= region.low - 1e-4 * span)
    assert np.all(held.max(axis=0) <= region.high + 1e-4 * span)
    assert held.min(axis=0) == pytest.approx(region.low, abs=0.05 * span.max())
    assert held.max(axis=0) == pytest.approx(region.high, abs=0.05 * span.max())


def test_one_factor_region_is_fieller_s():
    """Level where b + 2cx = 0: Fieller's interval of -b / 2c, by its quadratic."""
    x = np.tile([-1.0, -0.5, 0.0, 0.5, 1.0], 4)[:, None]
    y = 2 + x[:, 0] - 1.5 * x[:, 0] ** 2 + np.random.default_rng(1).normal(0, 0.4, 20)
    cut = cut_of(x, y)
    region = stationary_point(cut).region
    cov, t = cut.turn[1:] @ cut.surface.covariance @ cut.turn[1:].T, 2.109815577833181  # t(17)
    b, c = cut.b[0], cut.B[0, 0]
    roots = np.roots([
        4 * (c * c - t * t * cov[1, 1]), 4 * (b * c - t * t * cov[0, 1]), b * b - t * t * cov[0, 0]
    ])  # fmt: skip
    assert sorted(roots) == pytest.approx([region.low[0], region.high[0]], rel=1e-6)


def test_region_without_bound_is_said_to_be():
    x = np.tile(composite(2, 1.0, 2), (2, 1))
    y = 3 - 4 * x[:, 0] ** 2 + np.random.default_rng(2).normal(0, 0.5, len(x))
    cut = cut_of(x, y)
    region, axes = stationary_point(cut).region, canonical(cut)
    assert not region.bounded
    assert np.all(np.isinf(region.low)) and np.all(np.isinf(region.high))  # noqa: PT018
    assert axes.told == "ridge"
    assert abs(axes.flat[0].direction[1]) > 0.9
    assert 0 < region.share < 1


def test_nature_is_told_only_as_far_as_the_intervals_go():
    sharp = {}
    x = np.tile(composite(2, 1.0, 2), (4, 1))
    for name, bends in {"top": (-3, -2), "dip": (3, 2), "saddle": (3, -2), "ridge": (-3, 0),
                        "valley": (3, 0), "open": (0, 0)}.items():  # fmt: skip
        noise = np.random.default_rng(3).normal(0, 0.5, len(x))
        sharp[name] = canonical(cut_of(x, (x**2) @ np.array(bends) + noise)).told
    assert sharp == {name: name for name in sharp}


def test_saddle_of_a_model_without_squares_is_the_model_s():
    x = np.tile(composite(2, 1.0, 2)[:4], (3, 1))
    y = x @ [1.0, 2.0] + 3 * x[:, 0] * x[:, 1] + np.random.default_rng(3).normal(0, 0.5, len(x))
    axes = canonical(cut_of(x, y, "two-factor"))
    assert axes.nature == "saddle"
    assert axes.unsquared == ("a", "b")
    with pytest.raises(NotEstimable, match="bends nowhere"):
        canonical(cut_of(x, y, "main"))
    with pytest.raises(NotEstimable, match="straight in a and b"):
        stationary_point(cut_of(x, y, "main"))


# ---------------------------------------------------------------------------------- steepest


@pytest.mark.parametrize("slanted", [False, True])
@pytest.mark.parametrize("k", [2, 3, 5])
def test_cone_is_what_testing_single_directions_finds(k, slanted):
    """By the definition: what lies at right angles to a direction is tested against nought."""
    draw = np.random.default_rng(k)
    x = np.tile(np.array(list(itertools.product((-1.0, 1.0), repeat=k))), (3 if k == 2 else 2, 1))
    if slanted:
        x[: len(x) // 3, 0] *= 0.2
        x[: len(x) // 4, 1] = -x[: len(x) // 4, 0]
    y = x @ np.linspace(1, 2, k) + draw.normal(0, 1.2, len(x))
    cut = cut_of(x, y, "main")
    cone = steepest(cut).cone
    assert cone.even != slanted
    rows = cut.turn[1 : k + 1]
    spread, unit = rows @ cut.surface.covariance @ rows.T, cut.b / np.linalg.norm(cut.b)
    critical = f.ppf(0.95, k - 1, len(x) - k - 1)

    def held(d):
        across = null_space(d[None]).T
        part = across @ cut.b
        wald = part @ np.linalg.solve(across @ spread @ across.T, part) / (k - 1)
        return wald <= critical and d @ np.linalg.solve(spread, cut.b) > 0

    evenly = draw.normal(size=(6000, k))
    evenly /= np.linalg.norm(evenly, axis=1, keepdims=True)
    share = np.mean([held(d) for d in evenly])
    assert 1 - cone.excluded == pytest.approx(share, abs=4 * np.sqrt(share / 6000) + 0.001)
    near = unit + np.tan(np.radians(cone.half_angle)) * draw.normal(size=(6000, k)) / np.sqrt(k)
    near /= np.linalg.norm(near, axis=1, keepdims=True)
    widest = max(np.degrees(np.arccos(min(1.0, d @ unit))) for d in near if held(d))
    assert widest <= cone.half_angle + 1e-6
    assert widest == pytest.approx(cone.half_angle, rel=0.03)


def test_cone_without_a_direction():
    cone = round_cone(np.array([0.1, 0.1]), 1.0, Denominator(5.0))
    assert (cone.half_angle, cone.excluded, cone.told) == (180.0, 0.0, False)


def test_cone_by_set_ups():
    cut = per_category(fit_surface(FACTORS, TERMS, weld(rounds=4)))[0][1]
    cone = steepest(cut).cone
    assert 0 < cone.half_angle < 60
    assert 0.6 < cone.excluded < 1


def test_steps_end_where_nothing_was_welded():
    cut = random_cut(3)
    way = steepest(cut)
    inside, beyond = way.steps(0.4, 8), way.steps(0.4, 8, beyond=True)
    assert len(beyond) == 9
    assert len(inside) == sum(one.place.inside for one in beyond) < 9
    assert all(one.place.inside for one in inside)
    assert not beyond[-1].place.inside
    down = steepest(cut, upward=False)
    assert down.direction == pytest.approx(-way.direction)


# ------------------------------------------------------------------------------------- ridge


@pytest.mark.parametrize(("seed", "k"), [(s, k) for s in range(6) for k in (1, 2, 3, 4)])
def test_ridge_path_obeys_lagrange_and_nothing_on_the_sphere_is_better(seed, k):
    cut = random_cut(seed, k)
    for highest in (True, False):
        path = ridge_path(cut, [0.0, 0.2, 0.5, 1.0, 1.4, 3.0], highest=highest, beyond=True)
        radii = [np.linalg.norm(one.step.x) for one in path.steps]
        assert radii == pytest.approx([0.0, 0.2, 0.5, 1.0, 1.4, 3.0], abs=1e-8)
        assert all(a < b for a, b in itertools.pairwise(radii))
        limits = [one.multiplier for one in path.steps[1:]]
        extreme = np.linalg.eigvalsh(cut.B)[-1 if highest else 0]
        fall = limits if highest else [-one for one in limits]
        assert all(a >= b - 1e-9 for a, b in itertools.pairwise(fall))
        assert fall[-1] >= (extreme if highest else -extreme) - 1e-9
        for one in path.steps[1:]:
            x = one.step.x
            assert cut.gradient(x) == pytest.approx(2 * one.multiplier * x, abs=1e-6)
            others = directions(k) * one.radius
            best = cut.value(others).max() if highest else cut.value(others).min()
            slack = cut.value(x)[0] - best
            assert (slack if highest else -slack) >= -1e-9


def test_ridge_path_through_a_top_has_multiplier_nought_there():
    cut = cut_of(np.tile(composite(2, 1.5, 3), (2, 1)),
                 [4 - (a - 0.5) ** 2 * 2 - b * b * 3 + e
                  for (a, b), e in zip(np.tile(composite(2, 1.5, 3), (2, 1)),
                                       np.random.default_rng(1).normal(0, 0.1, 22),
                                       strict=True)])  # fmt: skip
    point = stationary_point(cut)
    (step,) = ridge_path(cut, [float(np.linalg.norm(point.x))]).steps
    assert step.step.x == pytest.approx(point.x, abs=1e-6)
    assert step.multiplier == pytest.approx(0.0, abs=1e-6)


def test_hard_case_of_the_ridge():
    """No slope along the strongest upward bend: beyond a radius the path leaves at right angles."""
    bend, slopes = np.diag([2.0, -1.0]), np.array([0.0, 3.0])
    short, mu = best_on_sphere(slopes, bend, 0.3)
    assert short == pytest.approx([0.0, 0.3], abs=1e-9)
    assert mu == pytest.approx(-1 + 3 / 0.6)
    far, mu = best_on_sphere(slopes, bend, 2.0)
    assert mu == pytest.approx(2.0)
    assert np.abs(far) == pytest.approx([np.sqrt(4 - 0.25), 0.5])
    level, _ = best_on_sphere(np.zeros(2), np.diag([-1.0, -3.0]), 1.0)
    assert np.abs(level) == pytest.approx([1.0, 0.0])
    straight, _ = best_on_sphere(np.array([3.0, 4.0]), np.zeros((2, 2)), 5.0)
    assert straight == pytest.approx([3.0, 4.0])


def test_ridge_path_stays_inside_unless_asked():
    cut = random_cut(2)
    path = ridge_path(cut, [0.5, 1.0, 4.0])
    assert all(one.step.place.inside for one in path.steps)
    assert 4.0 in path.left_out
    assert [one.radius for one in ridge_path(cut, [0.5, 4.0], beyond=True).steps] == [0.5, 4.0]


# ------------------------------------------------------------------------------------ inside


def enclosed(points: np.ndarray, x: np.ndarray) -> bool:
    """Whether x is an average of points, by linear programming of its own."""
    n = len(points)
    return linprog(
        np.zeros(n), A_eq=np.vstack([points.T, np.ones(n)]), b_eq=np.append(x, 1.0)
    ).success


@pytest.mark.parametrize("k", [1, 2, 3, 5, 7])
def test_hull_is_what_averages_of_coupons_reach(k):
    draw = np.random.default_rng(k)
    points = draw.normal(size=(25, k))
    welded = Welded(points)
    asked = draw.normal(0, 0.6, (30, k))
    assert welded.inside(asked).tolist() == [enclosed(points, one) for one in asked]
    for one in asked:
        place = welded.place(one)
        if place.in_hull:
            assert place.in_ranges and place.radius <= place.largest + 1e-9  # noqa: PT018


@pytest.mark.parametrize("k", [1, 2, 3, 7])
def test_reach_ends_on_the_edge(k):
    draw = np.random.default_rng(k)
    welded = Welded(draw.normal(size=(30, k)))
    x, way = 0.1 * draw.normal(size=k), draw.normal(size=k)
    way /= np.linalg.norm(way)
    far = welded.reach(x, way)
    assert welded.inside(np.array([x + (far - 1e-4) * way, x + (far + 1e-4) * way])).tolist() == [
        True,
        False,
    ]


def test_box_without_its_corners():
    """A three-factor design of edge middles: its corners lie in every range, unenclosed."""
    edges = [[a, b, 0] for a in (-1, 1) for b in (-1, 1)]
    points = np.array(
        [np.roll(one, i) for one in edges for i in range(3)] + [[0, 0, 0]], dtype=float
    )
    place = Welded(points).place(np.array([1.0, 1.0, 1.0]))
    assert place.in_ranges
    assert not place.in_hull
    assert not place.inside
    assert Welded(points).place(np.array([1.0, 1.0, 0.0])).on_edge
    assert not Welded(points).place(np.zeros(3)).on_edge


def test_coupons_in_a_line_enclose_the_line_only():
    welded = Welded(np.array([[-1.0, -1.0], [0.0, 0.0], [1.0, 1.0]]))
    assert welded.inside(np.array([[0.5, 0.5], [0.5, 0.4], [1.1, 1.1]])).tolist() == [
        True, False, False,
    ]  # fmt: skip
    one = Welded(np.zeros((3, 2)))
    assert one.inside(np.array([[0.0, 0.0], [0.1, 0.0]])).tolist() == [True, False]
    nothing = Welded(np.empty((0, 2)))
    assert not nothing.inside(np.zeros((1, 2)))[0]
    assert not nothing.place(np.zeros(2)).inside


# ------------------------------------------------------------------------- pruning, left out


def test_pruning_keeps_hierarchy_and_says_what_went():
    observations = weld(rounds=4)
    found = pruned_terms(FACTORS, TERMS, observations, limit=0.10)
    kept = set(found.terms)
    for term in kept:
        assert all(lower in kept for lower in TERMS if contains(term, lower))
    assert all(one.p > 0.10 for one in found.dropped)
    assert kept | {one.term for one in found.dropped} == set(TERMS)
    assert "0.1" in found.rule
    tests = {row.term: row.p for row in fit_model(FACTORS, found.terms, observations).tests()}
    free = [t for t in found.terms if not any(contains(other, t) for other in found.terms)]
    assert all(tests[term.name] <= 0.10 for term in free)


def test_pruning_spares_what_was_asked_about():
    observations = weld(mean=lambda gas, v, w: 5 + 2 * v)
    gas = TERMS[0]
    assert gas not in pruned_terms(FACTORS, TERMS, observations).terms
    assert gas in pruned_terms(FACTORS, TERMS, observations, keep=[gas]).terms


def test_what_a_term_contains():
    names = {one.name for one in with_marginal([parse_term("gas:voltage^2", FACTORS)])}
    assert names == {"gas", "voltage", "gas:voltage", "voltage^2", "gas:voltage^2"}
    square, product = parse_term("voltage^2", FACTORS), parse_term("gas:voltage", FACTORS)
    assert not contains(square, product)
    assert not contains(square, square)


def test_left_out_set_ups_against_refits_by_hand():
    observations = weld(rounds=4)
    fit = fit_model(FACTORS, TERMS, observations)
    found = leave_one_setup_out(fit, observations)
    for setup in (1, 4):
        rest = [one for one in observations if one.setup != setup]
        out = [i for i, one in enumerate(observations) if one.setup == setup]
        left = fit_model(FACTORS, TERMS, rest)
        # Rounds stay four, so that the columns are the same ones.
        predicted = fit.x[out] @ left.core.coefficients
        assert found.errors[out] == pytest.approx(
            np.array([observations[i].value for i in out]) - predicted, rel=1e-7, abs=1e-8
        )
    one = leave_one_out(fit, observations)
    assert found.rms > one.rms
    assert not found.unpredicted


def test_without_set_ups_none_is_left_out():
    factors = plain()
    rows = at_points(composite(2, 1, 1), np.arange(9.0) ** 2, factors)
    fit = fit_model(factors, model_terms(factors, "main"), rows)
    assert leave_one_setup_out(fit, rows) is None


def test_set_ups_that_cannot_be_left_out_are_counted():
    observations = weld(rounds=2)
    fit = fit_model(FACTORS, TERMS, observations)
    found = leave_one_setup_out(fit, observations)
    # Of four set-ups in two rounds and two gases none can go: the rest show no set-up scatter.
    assert len(found.unpredicted) == len(observations)
    assert found.r_squared is None
    assert np.isnan(found.rms)
    x = composite(2, 1.5, 0)
    lone = np.vstack([x[:4], [[0.0, 2.0], [0.0, 0.0], [0.0, 0.0]]])
    factors = plain("ab")
    terms = [parse_term(text, factors) for text in ("a", "b", "b^2")]
    rows = at_points(lone, np.array([1.0, 2.0, 3.0, 3.5, 9.0, 2.2, 2.4]), factors)
    left = leave_one_out(fit_model(factors, terms, rows), rows)
    assert not left.unpredicted
    terms = [parse_term(text, factors) for text in ("a", "b", "a:b", "a^2")]
    rows = at_points(np.vstack([x[:4], [[0.0, 0.0]], x[:4]]), np.arange(9.0) ** 1.5, factors)
    left = leave_one_out(fit_model(factors, terms, rows), rows)
    assert left.unpredicted == (4,)
    assert left.r_squared is None


def test_lack_of_fit_by_set_ups():
    plane = weld(rounds=4, mean=lambda gas, v, w: 10 + v - w)
    main = model_terms(FACTORS, "main")
    flat = lack_of_fit_by_setups(fit_model(FACTORS, main, plane))
    assert flat.df_num == 18 - 4
    assert flat.p > 0.05
    bent = lack_of_fit_by_setups(fit_model(FACTORS, main, weld(rounds=4)))
    assert bent.p < 0.001
    assert lack_of_fit_by_setups(fit_model(FACTORS, main, weld(setups=False))).p is None


def test_surface_of_a_trial(trial, bench):
    record = bench(trial, gap=-6.0)
    found = surface_of(trial, record, "break_load")
    assert (found.response, found.unit) == ("break_load", "kN")
    (mix, _), (co2, cut) = per_category(found)
    assert (mix["gas"], co2["gas"]) == ("mix", "co2")
    assert [one.name for one in cut.factors] == ["travel"]
    gap = found.mean([{"gas": g, "travel": 0.0} for g in ("co2", "mix")])
    assert gap[0] - gap[1] == pytest.approx(-6.0, abs=3.0)
    with pytest.raises(ValueError, match="fitted to numbers only"):
        surface_of(trial, record, replace(trial.responses[0], kind="pass"))


def test_ridge_path_ends_on_the_edge_of_what_was_welded():
    cut = random_cut(2)
    path = ridge_path(cut, [0.5, 4.0])
    last = path.steps[-1]
    assert 0.5 < last.radius < 4.0
    assert last.step.place.on_edge
    assert last.step.place.inside
    assert cut.gradient(last.step.x) == pytest.approx(2 * last.multiplier * last.step.x, abs=1e-6)


def test_surface_from_numbers_alone():
    """A surface that somebody else fitted: one number of degrees of freedom, nothing welded."""
    factors = plain("ab")
    made = Surface(
        "load", "kN", factors, model_terms(factors, "quadratic"),
        np.array([10.0, 1.0, 0.0, 0.0, -1.0, -2.0]), np.eye(6) * 0.01, 12.0, None, 0.5, 0.0,
    )  # fmt: skip
    assert made.mean([{"a": 0.5, "b": 0.0}]) == pytest.approx([10.25])
    mean, sd = made.new_coupon([{"a": 0.0, "b": 0.0}])
    assert (mean[0], sd[0] ** 2) == pytest.approx((10.0, 0.26))
    cut = per_category(made)[0][1]
    point = stationary_point(cut)
    assert point.x == pytest.approx([0.5, 0.0])
    assert not point.place.inside
    assert point.region.share == 0.0
    assert canonical(cut).told == "top"
    way = steepest(cut)
    assert way.direction == pytest.approx([1.0, 0.0])
    assert way.steps(0.5, 3) == ()
    assert ridge_path(cut, [0.5, 1.0]).steps == ()
    assert len(ridge_path(cut, [0.5, 1.0], beyond=True).steps) == 2
    with pytest.raises(ValueError, match="does not change 'b'"):
        way.per_unit("b")


@pytest.mark.parametrize("confidence", [0.0, 1.0, 95.0])
def test_confidence_is_a_share(confidence):
    cut = random_cut(1)
    for ask in (stationary_point, canonical):
        with pytest.raises(ValueError, match="between 0 and 1"):
            ask(cut, confidence)
    with pytest.raises(ValueError, match="between 0 and 1"):
        steepest(cut, confidence=confidence)


def test_wider_confidence_gives_a_wider_region():
    cut = cut_of(np.tile(composite(2, 1.4, 3), (2, 1)),
                 4 - (np.tile(composite(2, 1.4, 3), (2, 1)) ** 2).sum(axis=1)
                 + np.random.default_rng(1).normal(0, 0.3, 22))  # fmt: skip
    narrow, wide = (stationary_point(cut, c).region for c in (0.8, 0.99))
    assert np.all(wide.low < narrow.low)
    assert np.all(wide.high > narrow.high)
    assert wide.share > narrow.share


def test_a_setting_with_one_role_and_a_factor_welded_at_one_setting_are_no_trouble():
    """Voltage slides with a gas that was not varied: its settings have one row, under its name."""
    volts = Factor("v", "numeric", ("low", "high"), unit="V", settings={"mix": (24.0, 27.0)},
                   slides_with="gas")  # fmt: skip
    x = np.tile([-1.0, 0.0, 1.0], 4)[:, None]
    y = 5 - (x[:, 0] - 0.2) ** 2 + np.random.default_rng(1).normal(0, 0.05, 12)
    cut = cut_of(x, y, factors=(volts,))
    assert stationary_point(cut).settings == pytest.approx([25.8], abs=0.2)


def test_the_steepest_way_has_no_cone_where_a_setting_left_the_model():
    """A dropped slope is taken for none, not for uncertain: no cone could hold the truth."""
    kept = model_terms(FACTORS, "main")[:-1]
    way = steepest(per_category(fit_surface(FACTORS, kept, weld(rounds=4)))[0][1])
    assert way.cone is None
    assert way.direction[-1] == 0.0
