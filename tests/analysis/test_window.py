"""Windows on surfaces whose answers can be worked out by hand; words; each gas at its own best."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import special

from weldtrial.analysis.chosen_best import compare_bests, fewest_to_settle, settling
from weldtrial.analysis.joint import Held, Joint, Limit, chances
from weldtrial.analysis.next_coupon import held_of, look_ahead
from weldtrial.analysis.settings_grid import lay_grid
from weldtrial.analysis.window import (
    Aim,
    best,
    best_on_average,
    counts,
    expected_at,
    likeliest,
    operating_window,
    steps,
)
from weldtrial.shared.coding import model_matrix
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.terms import model_terms

_spec = importlib.util.spec_from_file_location(
    "window_bench", Path(__file__).with_name("window_bench.py")
)
bench = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(bench)
FACTORS = bench.FACTORS
MAIN = model_terms(FACTORS, "main")


def surface(mean=90.0, gas=0.0, voltage=0.0, wire=0.0, travel=-6.0, df=1e6, sd=4.0, **more):
    beta = np.array([mean, gas, voltage, wire, travel])
    made = bench.Fitted(
        "break_load", "kN", FACTORS, MAIN, beta, np.eye(5) * 1e-12, df, None, sd, 0.0
    )
    return replace(made, **more)


def window(one=None, keep=0.8, aim="travel", steps=9, limit=80.0, **more):
    joint = Joint((one or surface(),), np.eye(1), np.eye(1))
    grid = lay_grid(FACTORS, steps, allowed=more.pop("allowed", None))
    return operating_window(
        joint,
        [Limit("break_load", at_least=limit)],
        Aim(aim),
        grid,
        keep=keep,
        draws=20_000,
        **more,
    )


def test_fastest_travel_by_hand() -> None:
    # Mean 90 - 6 x, scatter 4: 8 in 10 pass where (90 - 6x - 80) / 4 >= 0.8416, so x <= 1.106;
    # at a limit of 86: x <= 0.106, and the grid of 9 stops at 0 (40 cm/min), chance 0.8413.
    found = best(window(limit=86.0))
    assert found.settings["travel"] == 40.0
    assert found.value == 40.0
    assert found.chance == pytest.approx(special.ndtr(1.0), abs=0.02)
    assert {one.factor for one in found.edges} <= {"voltage", "wire_feed"}
    averages = best_on_average(window(limit=86.0))
    # Averages meet 86 up to x = 2/3: the grid stops at 0.5, where the mean is 87.
    assert averages.settings["travel"] == 45.0
    assert averages.chance == pytest.approx(special.ndtr(0.25), abs=0.02)


def test_each_step_costs_travel() -> None:
    found = steps(window(limit=86.0, steps=21))
    # (90 - 6x - 86) / 4 >= 0.5244, 0.8416, 1.2816 of the normal: x <= 0.317, 0.106, -0.188.
    assert [one.choice.settings["travel"] for one in found] == [43.0, 41.0, 38.0]


def test_a_best_at_the_edge_is_marked() -> None:
    one = surface(voltage=5.0, gas=-3.0)
    found = best(window(one, limit=86.0))
    edges = {edge.factor: edge for edge in found.edges}
    assert found.settings["gas"] == "co2"
    assert (edges["voltage"].side, edges["voltage"].setting) == ("highest", 28.5)


def test_edges_are_of_what_was_welded() -> None:
    tried = [{"gas": gas, "voltage": v, "wire_feed": v, "travel": 0.5 * v}
             for gas in ("mix", "co2") for v in (-1.0, 1.0)]  # fmt: skip
    found = best(window(tried=tried, limit=80.0, keep=0.5))
    assert "travel" in {one.factor for one in found.edges if one.side == "highest"}


def test_higher_response_and_lower_factor() -> None:
    one = surface(voltage=2.0)
    found = best(window(one, aim="break_load", limit=80.0))
    assert (found.settings["travel"], found.value) == (30.0, pytest.approx(98.0))
    joint = Joint((one,), np.eye(1), np.eye(1))
    slow = operating_window(
        joint, [Limit("break_load", 80.0)], Aim("wire_feed", "lower"), lay_grid(FACTORS, 3)
    )
    assert best(slow).settings["wire_feed"] == 7.0


def test_nothing_reaches_it() -> None:
    made = window(limit=120.0)
    assert best(made) is None
    assert best_on_average(made) is None
    assert likeliest(made).settings["travel"] == 30.0
    with pytest.raises(NotEstimable, match="neither a numeric factor nor"):
        window(aim="speed")
    with pytest.raises(NotEstimable, match="ruled out"):
        window(allowed=lambda _: False)
    with pytest.raises(ValueError, match="between 0 and 1"):
        window(keep=80)


def test_one_gas_alone_and_counts() -> None:
    made = window(surface(gas=3.0), limit=86.0, allowed=lambda s: s["gas"] == "co2"
                  or s["voltage"] <= 26)  # fmt: skip
    by_gas = {one.levels["gas"]: one for one in counts(made)}
    assert (by_gas["mix"].allowed, by_gas["co2"].allowed) == (6 * 81, 9 * 81)
    assert by_gas["mix"].enough / by_gas["mix"].allowed > by_gas["co2"].enough / 729
    assert by_gas["co2"].on_average > by_gas["co2"].enough
    co2 = best(made, among=made.places.of({"gas": "co2"}))
    assert co2.settings["gas"] == "co2"


def test_what_the_next_coupon_should_read() -> None:
    made = window(surface(df=10.0), limit=80.0)
    found = expected_at(made, best(made).place, look_ahead(made.joint))[0]
    # Peterson's degrees of freedom for one response are those of the fit: Student's t.  A 2.5 %
    # quantile of 20 000 draws is known to 0.03 standard deviations here; four of those.
    half = special.stdtrit(10, 0.975) * 4.0
    assert found.high - found.mean == pytest.approx(half, abs=4 * 0.03 * 4.0)
    assert found.mean - found.low == pytest.approx(half, abs=4 * 0.03 * 4.0)


def test_held_loosely_the_next_coupon_strays_and_the_interval_says_so() -> None:
    # Break load falls by 6 kN for 10 cm/min; held within 10 of 95 in 100, that is a standard
    # deviation of 6 / 1.96 kN beside the 4 between coupons: a sum of normals, by hand.
    made = window(limit=80.0, held=[Held("travel", 10.0)])
    found = expected_at(made, best(made).place, look_ahead(made.joint, made.held))[0]
    half = 1.959964 * np.hypot(4.0, 6.0 / 1.959964)
    assert found.high - found.mean == pytest.approx(half, abs=4 * 0.03 * 5.0)
    assert found.mean - found.low == pytest.approx(half, abs=4 * 0.03 * 5.0)


def test_the_chance_and_the_interval_come_from_one_model() -> None:
    """At a limit that is the low end of the interval, 97.5 in 100 pass."""
    held = [Held("travel", 10.0), Held("wire_feed", 1.0, "uniform")]
    made = window(surface(wire=3.0, df=8.0), limit=80.0, held=held)
    place = best(made).place
    low = expected_at(made, place, look_ahead(made.joint, held))[0].low
    again = chances(
        made.joint, [Limit("break_load", low)], made.places.at([place]), held=held, draws=20_000
    )
    # The same draws, so all but the rounding of a quantile.
    assert again.together[0] == pytest.approx(0.975, abs=1e-3)


def test_what_is_asked_takes_the_place_of_what_is_stated() -> None:
    stated = [replace(bench.TRAVEL, tolerance=2.0), replace(bench.WIRE, tolerance=0.2), bench.GAS]
    assert held_of(stated) == (Held("travel", 2.0), Held("wire_feed", 0.2))
    asked = held_of(stated, [Held("travel", 5.0)], ["wire_feed"])
    assert asked == (Held("travel", 5.0),)


def test_held_loosely_costs_chance() -> None:
    tight = window(limit=86.0)
    loose = window(limit=86.0, held=[Held("travel", 10.0)])
    assert best(loose).settings["travel"] < best(tight).settings["travel"] + 0.1
    assert loose.chances.together.max() < tight.chances.together.max() + 1e-9


def bests(df_setup=None, gas=bench.GAS, **more):
    rng = np.random.default_rng(1)
    points, _, _ = bench.layout(rng)
    matrix = model_matrix(FACTORS, MAIN, points).matrix
    one = surface(gas=1.0, voltage=1.0, df=20.0, sd=1.0, df_setup=df_setup,
                  covariance=np.linalg.inv(matrix.T @ matrix))  # fmt: skip
    return one, compare_bests(one, lay_grid(FACTORS, 5), "gas", "co2", "mix", **more)


def test_each_at_its_own_best_on_a_plane() -> None:
    one, gap = bests()
    assert gap.level.settings == {"gas": "co2", "voltage": 28.5, "wire_feed": 7.0, "travel": 30.0}
    assert gap.reference.settings["voltage"] == 27.0
    assert gap.estimate == pytest.approx(-2.0)
    assert gap.best_low < gap.estimate < gap.best_high
    # The same corner of both: only the gas differs, its variance 4 c; five terms span the pairs.
    assert gap.se == pytest.approx(2 * np.sqrt(one.covariance[1, 1]))
    scheffe = np.sqrt(4 * special.fdtri(4, 20.0, 0.95))
    alone = special.stdtrit(20.0, 0.975)
    assert alone < gap.within <= scheffe
    assert gap.alone == pytest.approx(alone * gap.se)
    assert gap.price > 1
    lower = compare_bests(one, lay_grid(FACTORS, 5), "gas", "co2", "mix", toward="lower")
    assert lower.level.settings["travel"] == 50.0
    assert lower.best_low < lower.estimate < lower.best_high


def test_gas_is_judged_by_its_set_ups() -> None:
    _, by_coupons = bests()
    _, by_setups = bests(df_setup=3.0)
    assert by_coupons.between is None
    assert by_setups.between > special.stdtrit(3.0, 0.975)
    assert by_setups.high - by_setups.low > by_coupons.high - by_coupons.low


def test_settings_chosen_by_any_rule_are_covered() -> None:
    points = {gas: {"gas": gas, "voltage": 0.1, "wire_feed": 0.2, "travel": 0.3}
              for gas in ("mix", "co2")}  # fmt: skip
    _, gap = bests(chosen=points)
    assert gap.level.settings["voltage"] == pytest.approx(27.15)
    assert gap.estimate == pytest.approx(-2.0)


def test_no_settings_left_is_refused() -> None:
    grid = lay_grid(FACTORS, 3, allowed=lambda s: s["gas"] == "mix")
    with pytest.raises(NotEstimable, match="gas = co2"):
        compare_bests(surface(covariance=np.eye(5)), grid, "gas", "co2", "mix")


def test_fresh_set_ups_to_settle_it() -> None:
    one = replace(surface(sd=3.0), sd_setup=2.0)
    rows = settling(one, per_setup=4, most=8)
    # n set-ups of each: t(2n - 2) sqrt(2 (4 + 9/4) / n).
    assert rows[2].half_width == pytest.approx(2.446912 * np.sqrt(2 * 6.25 / 4), rel=1e-6)
    assert [one.set_ups for one in rows] == list(range(2, 9))
    assert fewest_to_settle(rows, 5.0).set_ups == 4
    assert fewest_to_settle(rows, 0.1) is None
    assert fewest_to_settle(rows, 99.0).set_ups == 4
