"""Pretend readings past the gauge: judged together as each would be alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from weldtrial.analysis.judge import CODES
from weldtrial.analysis.judge_limited import judge_limited, judge_one
from weldtrial.analysis.losses import Losses
from weldtrial.analysis.pretend import Scatter, Truth, draw, read, stream, true_values
from weldtrial.analysis.pretend_two import two_gases
from weldtrial.analysis.simulate import frame_of, simulate
from weldtrial.analysis.simulated_asks import usual_trials
from weldtrial.shared.responses import Margin, Response, Typical

LOAD = Response("load", "kN", margin=Margin(5.0), ask="no-worse", most=84.0, typical=Typical(80, 4))
CASES = [
    (LOAD, None, (10, 10), 2, 25),
    (replace(LOAD, margin=Margin(0.06, percent=True), better="lower"), None, (9, 7), 2, 15),
    (replace(LOAD, margin=None, ask="difference", least=78.0), None, (8, 8), 2, 20),
    (replace(LOAD, typical=Typical(80, 4, 2)), (5, 5), (3, 3), 2, 4),
    (LOAD, None, (6, 6), 3, 3),
]


@pytest.mark.parametrize(("response", "setups", "coupons", "gases", "many"), CASES)
def test_many_are_judged_as_each_would_be_alone(response, setups, coupons, gases, many) -> None:
    bench = two_gases(
        response, ("new", "old"), setups=setups, coupons=coupons, paired=bool(setups), gases=gases
    )
    question, frame = bench.question, frame_of(bench.question, bench.blanks)
    true = true_values(
        Truth(80, -3), question.factors, question.terms, (question.factor, "new", "old"),
        bench.blanks,
    )  # fmt: skip
    readings = read(bench.scatter, true, draw(bench.scatter, bench.blanks, many, stream(3, 3)))
    lows, highs = bench.scatter.spans(readings)
    assert (lows != highs).any(axis=1).mean() > 0.5
    places = judge_limited(question, frame, lows.T, highs.T)
    alone = [judge_one(question, frame, low, high) for low, high in zip(lows, highs, strict=True)]
    assert places.tolist() == alone


@pytest.mark.parametrize("stops", [None, 1.5])
def test_spans_are_those_of_single_readings(stops: float | None) -> None:
    scatter = Scatter(1.0, most=12.0, least=9.0, stops=stops)
    readings = np.array([[8.0, 10.0], [11.0, 13.0], [10.0, 11.0]])
    lows, highs = scatter.spans(readings)
    for row, low, high in zip(readings, lows, highs, strict=True):
        ends = [scatter.span(one) for one in row.tolist()]
        assert low == sum(end[0] for end in ends) / 2
        assert high == sum(end[1] for end in ends) / 2


def test_a_low_gauge_limit_costs_chance_and_a_far_one_nothing() -> None:
    def chance(most: float | None) -> float:
        response = replace(LOAD, most=most)
        bench = two_gases(response, ("new", "old"), setups=None, coupons=(10, 10), paired=False)
        return simulate(bench, 0.0, trials=1500).chance.chance

    assert chance(1000.0) == chance(None)
    # Three Monte-Carlo errors of 1500 trials are 4 in 100.
    assert chance(80.0) < chance(None) - 0.04


def test_wide_stops_cost_chance_and_are_played() -> None:
    def chance(stops: float | None) -> float:
        response = replace(LOAD, most=None, least=None, stops=stops)
        bench = two_gases(response, ("new", "old"), setups=None, coupons=(10, 10), paired=False)
        assert bench.scatter.stops == stops
        return simulate(bench, 0.0, trials=600).chance.chance

    # Three Monte-Carlo errors of 600 trials are 6 in 100.
    assert chance(15.0) < chance(None) - 0.06


def test_losses_and_limits_together_are_counted() -> None:
    bench = two_gases(LOAD, ("new", "old"), setups=None, coupons=(6, 6), paired=False)
    found = simulate(bench, 0.0, Losses(scrap=0.2), trials=200)
    assert sum(found.codes.values()) + found.refused == found.trials
    assert set(found.codes) <= set(CODES)


def test_fewer_trials_where_each_takes_long() -> None:
    def bench(response: Response, setups: tuple[int, int] | None, gases: int = 2):
        return two_gases(
            response, ("new", "old"), setups=setups, coupons=(4, 4), paired=False, gases=gases
        )

    far = replace(LOAD, most=1000.0)
    assert [usual_trials(bench(one, (4, 4))) for one in (far, LOAD)] == [10_000, 300]
    assert usual_trials(bench(LOAD, None)) == 10_000
    assert usual_trials(bench(LOAD, None, 3)) == 100
