"""The scale of even scatter: against the published example, scipy, and data of known scale."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import exp
from typing import Any

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.residual_views import ALARM
from weldtrial.analysis.transform import power_profile
from weldtrial.shared.responses import Margin
from weldtrial.shared.trial import Trial

# Box & Cox 1964, J. R. Stat. Soc. B 26:211, table 1: survival times of animals in 10 h, three
# poisons by four treatments, four animals each (from memory).
POISONS = [
    [[0.31, 0.45, 0.46, 0.43], [0.82, 1.10, 0.88, 0.72], [0.43, 0.45, 0.63, 0.76],
     [0.45, 0.71, 0.66, 0.62]],
    [[0.36, 0.29, 0.40, 0.23], [0.92, 0.61, 0.49, 1.24], [0.44, 0.35, 0.31, 0.40],
     [0.56, 1.02, 0.71, 0.38]],
    [[0.22, 0.21, 0.18, 0.23], [0.30, 0.37, 0.38, 0.29], [0.23, 0.25, 0.24, 0.22],
     [0.30, 0.36, 0.31, 0.33]],
]  # fmt: skip


def poisons() -> tuple[Any, Any]:
    rows = [
        ([1.0, *np.eye(3)[p][:2], *np.eye(4)[t][:3]], y)
        for p, treatments in enumerate(POISONS)
        for t, animals in enumerate(treatments)
        for y in animals
    ]
    return np.array([x for x, _ in rows]), np.array([y for _, y in rows])


def test_the_published_power_of_the_poisons() -> None:
    found = power_profile(*poisons())
    assert found is not None
    # Printed there (from memory): -0.75, and -1.13 to -0.37 from the curvature at the top; the
    # profile itself is a little wider and not quite symmetric.
    assert found.power == pytest.approx(-0.75, abs=0.005)
    assert (found.low, found.high) == pytest.approx((-1.13, -0.37), abs=0.02)


@pytest.mark.parametrize("seed", range(5))
def test_one_sample_agrees_with_scipy(seed: int) -> None:
    y = np.random.default_rng(seed).lognormal(1.0, 0.4, 40)
    found = power_profile(np.ones((40, 1)), y)
    _, power, (low, high) = stats.boxcox(y, alpha=0.05)
    assert found is not None
    assert (found.power, found.low, found.high) == pytest.approx((power, low, high), abs=2e-4)


def test_the_unit_does_not_matter() -> None:
    x, y = poisons()
    one, other = power_profile(x, y), power_profile(x, 1000 * y)
    assert one is not None
    assert other is not None
    assert other.power == pytest.approx(one.power, abs=1e-6)


def test_readings_at_or_below_nothing_have_no_power() -> None:
    x, y = poisons()
    assert power_profile(x, y - y.min()) is None


Bench = Callable[..., Any]


def skewed(bench: Bench, trial: Trial, ratio: float, seed: int) -> Any:
    """Weld a trial whose readings scatter by a share of their size, one gas `ratio` of the other.

    Travel doubles the reading, so that the growth of the scatter shows.
    """
    levels = {f"X{n:03d}": None for n in range(200)}
    record = bench(trial, seed=seed, mean=0.0, sd_setup=0.05, sd_coupon=0.35, rounds=8)
    assert len(levels) > len(record.coupons)
    coupons = []
    for coupon in record.coupons:
        log = coupon.readings["break_load"][0].value
        size = 40.0 * (ratio if coupon.levels["gas"] == "co2" else 1.0)
        size *= 4.0 if coupon.levels["travel"] == "high" else 1.0
        reading = replace(coupon.readings["break_load"][0], value=size * exp(log))
        coupons.append(replace(coupon, readings={"break_load": (reading,)}))
    return replace(record, coupons=tuple(coupons))


def test_readings_that_scatter_by_their_size_are_answered_as_logarithms(
    trial: Trial, bench: Bench
) -> None:
    wide = replace(
        trial, responses=(replace(trial.responses[0], margin=Margin(0.3, percent=True)),)
    )
    found = analyse(wide, skewed(bench, wide, 0.7, 1)).responses[0]
    check = next(one for one in found.checks if one.name == "scale")
    assert check.passed is False
    way = next(w for w in found.alternatives if w.name == "on the logarithm of the reading")
    # The truth in the middle (geometric mean of 40 and 160) is a loss of 30 %, 24 kN of 80.
    assert way.ci_low < -24 < way.ci_high


def test_even_scatter_raises_the_alarm_once_in_a_hundred() -> None:
    rng = np.random.default_rng(1964)
    x = np.column_stack([np.ones(24), np.tile([-1.0, 1.0], 12), np.repeat([-1.0, 1.0], 12)])
    found = [power_profile(x, 80 + 4 * rng.standard_normal(24)) for _ in range(600)]
    alarms = sum(one is not None and one.p < ALARM for one in found)
    # Binomial(600, 0.01) exceeds 14 less than once in a thousand times.
    assert alarms <= 14


@pytest.mark.parametrize("power", [0.0, 0.5, -0.5, -1.0])
def test_where_scatter_is_small_every_scale_gives_the_same_answer(
    trial: Trial, bench: Bench, power: float
) -> None:
    from weldtrial.analysis.observations import observe
    from weldtrial.analysis.question import Question
    from weldtrial.analysis.transform import on_scale
    from weldtrial.shared.terms import trial_terms

    record = bench(trial, seed=5, gap=-2.0, sd_setup=0.02, sd_coupon=0.05)
    observations = observe(trial, record, trial.responses[0]).observations
    terms = trial_terms(trial.varied, trial.design.model, ())
    question = Question(trial.varied, tuple(terms), trial.responses[0], trial.factor("gas"), "co2")
    plain = question.alternative("", "", observations)
    moved = on_scale(question, observations, power)
    assert plain is not None
    assert moved is not None
    assert moved.difference == pytest.approx(plain.difference, abs=0.01)
    assert (moved.ci_low, moved.ci_high) == pytest.approx((plain.ci_low, plain.ci_high), abs=0.01)
    assert moved.code == plain.code
