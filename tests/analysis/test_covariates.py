"""Comparisons adjusted for a covariate: against statsmodels, and what is said of a moved one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.findings import Alternative, Check
from weldtrial.shared.record import Reading, Record
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile.reader import parse_trial


def measured(record: Record, values: Any, add: float = 0.0, name: str = "throat_mm") -> Record:
    """Write a value of the log on each coupon, and let `add` kN of load follow each unit of it."""
    coupons = []
    for coupon, value in zip(record.coupons, values, strict=True):
        readings = {
            response: tuple(
                replace(one, value=(one.value or 0.0) + add * value) for one in readings
            )
            for response, readings in coupon.readings.items()
        }
        coupons.append(
            replace(coupon, measured={**coupon.measured, name: float(value)}, readings=readings)
        )
    return replace(record, coupons=tuple(coupons))


def look(trial: Trial, record: Record, name: str = "throat_mm") -> tuple[Alternative | None, Check]:
    found = analyse(trial, record).responses[0]
    way = next((w for w in found.alternatives if w.name == f"adjusted for {name}"), None)
    return way, next(c for c in found.checks if c.name == f"adjusted for {name}")


@pytest.fixture
def adjusting(trial: Trial) -> Trial:
    return replace(trial, rules=replace(trial.rules, adjust_for=("throat_mm",)))


def test_adjusted_comparison_equals_least_squares_with_the_covariate(
    adjusting: Trial, bench: Any
) -> None:
    easy = tuple(replace(f, hard_to_change=False) for f in adjusting.factors if f.name == "gas")
    trial = replace(adjusting, factors=easy, design=replace(adjusting.design, rounds=None))
    record = bench(trial, seed=3)
    rng = np.random.default_rng(5)
    throat = rng.normal(4.0, 0.3, len(record.coupons))
    record = measured(record, throat, add=8.0)
    record = replace(
        record,
        coupons=tuple(replace(c, round=None, setup=None) for c in record.coupons),
    )
    way, check = look(trial, record)
    y = np.array([c.readings["break_load"][0].value for c in record.coupons], dtype=float)
    co2 = np.array([c.levels["gas"] == "co2" for c in record.coupons], dtype=float)
    ours = sm.OLS(y, sm.add_constant(np.column_stack([co2, throat]))).fit()
    assert way is not None
    assert way.difference == pytest.approx(ours.params[1], rel=1e-9)
    assert (way.ci_low, way.ci_high) == pytest.approx(tuple(ours.conf_int()[1]), rel=1e-9)
    assert check.passed is True


def test_a_covariate_that_varies_by_chance_sharpens_the_comparison(
    adjusting: Trial, bench: Any
) -> None:
    record = bench(adjusting, seed=7, sd_coupon=2.0, sd_setup=0.5)
    throat = np.random.default_rng(11).normal(4.0, 0.3, len(record.coupons))
    record = measured(record, throat, add=15.0)
    way, _ = look(adjusting, record)
    plain = analyse(adjusting, record).responses[0].comparisons[0]
    assert way is not None
    assert plain.ci_low is not None
    assert plain.ci_high is not None
    assert way.ci_high - way.ci_low < 0.8 * (plain.ci_high - plain.ci_low)


def test_a_covariate_the_gas_moves_is_warned_of_and_does_not_decide(
    adjusting: Trial, bench: Any
) -> None:
    record = bench(adjusting, seed=2)
    rng = np.random.default_rng(3)
    throat = [
        4.0 + (0.5 if c.levels["gas"] == "co2" else 0.0) + rng.normal(0, 0.05)
        for c in record.coupons
    ]
    way, check = look(adjusting, measured(record, throat, add=10.0))
    assert way is not None
    assert check.passed is False
    assert "throat_mm differs with gas itself (co2 \N{MINUS SIGN} mix = +0." in check.words
    found = analyse(adjusting, measured(record, throat, add=10.0)).responses[0]
    assert found.comparisons[0].verdict.code != "depends_on"


@pytest.mark.parametrize("values", [(), (4.0,)])
def test_a_covariate_nobody_wrote_or_that_never_varied_is_said(
    adjusting: Trial, bench: Any, values: tuple[float, ...]
) -> None:
    record = bench(adjusting, seed=2)
    if values:
        record = measured(record, [values[0]] * len(record.coupons))
    way, check = look(adjusting, record)
    assert way is None
    assert check.passed is None
    why = "it is 4 on every coupon that carries it" if values else "no coupon carries it"
    assert check.words == f"No comparison adjusted for throat_mm: {why}."


def test_coupons_without_a_value_are_left_out_and_counted(adjusting: Trial, bench: Any) -> None:
    record = bench(adjusting, seed=4)
    throat = np.random.default_rng(1).normal(4, 0.2, len(record.coupons))
    record = measured(record, throat)
    first = replace(record.coupons[0], measured={})
    record = replace(record, coupons=(first, *record.coupons[1:]))
    way, check = look(adjusting, record)
    assert way is not None
    assert way.coupons == len(record.coupons) - 1
    assert f"({way.coupons} of {len(record.coupons)} coupons)" in check.words


def test_clock_time_counts_minutes_across_days(trial: Trial, bench: Any) -> None:
    clock = replace(trial, rules=replace(trial.rules, adjust_for=("started",)))
    record = bench(clock, seed=4)
    hours = len(record.coupons) // 2
    coupons = tuple(
        replace(c, started=f"2026-06-{14 + n // hours} {8 + (n % hours) // 4:02d}:{n % 4 * 15:02d}")
        for n, c in enumerate(record.coupons)
    )
    way, _ = look(clock, replace(record, coupons=coupons), "started")
    assert way is not None
    assert way.coupons == len(coupons)


def test_an_unknown_covariate_is_named_in_the_file() -> None:
    text = b"""format = 1
[trial]
title = "Invented"
[fair]
rule = "same-setting"
[[factor]]
name = "gas"
levels = ["mix", "co2"]
[[response]]
name = "load"
unit = "kN"
[rules]
adjust_for = ["throat", "gas", "started"]
"""
    said = [str(problem) for problem in parse_trial(text)[1]]
    assert any("line 13" in one and "Did you mean 'throat_mm'?" in one for one in said)
    assert any("It is set on purpose" in one for one in said)
    assert len(said) == 2


def test_readings_are_untouched(adjusting: Trial, bench: Any) -> None:
    record = bench(adjusting, seed=2)
    before = [reading for c in record.coupons for reading in c.readings["break_load"]]
    assert all(isinstance(one, Reading) for one in before)
    look(adjusting, measured(record, [4.0] * len(record.coupons)))
    assert before == [reading for c in record.coupons for reading in c.readings["break_load"]]
