"""Each level's own scatter: Welch's comparison against NIST and scipy, and where it is asked."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.unequal import Side, difference
from weldtrial.shared.trial import Trial

Bench = Callable[..., Any]


def test_welch_of_the_handbook() -> None:
    # NIST/SEMATECH e-Handbook 7.3.1: assembly times, t = 2.2694 on 15.5 degrees of freedom.
    found = difference(Side(36.0909, 4.9082**2, 10, 11), Side(32.2222, 2.5386**2, 8, 9))
    assert found.estimate / found.se == pytest.approx(2.2694, abs=5e-5)
    assert found.df == pytest.approx(15.5, abs=0.05)


def apart(trial: Trial) -> Trial:
    easy = tuple(replace(f, hard_to_change=False) for f in trial.factors if f.name == "gas")
    return replace(trial, factors=easy, design=replace(trial.design, rounds=None))


def wild(bench: Bench, trial: Trial, times: float, seed: int = 1) -> Any:
    """Weld a trial in which one gas scatters `times` as much as the other."""
    record = bench(trial, seed=seed, sd_coupon=1.0, rounds=8, gap=-1.0)
    coupons = []
    for coupon in record.coupons:
        reading = coupon.readings["break_load"][0]
        value = reading.value
        if coupon.levels["gas"] == "co2":
            value = 79.0 + times * (value - 79.0)
        coupons.append(replace(coupon, readings={"break_load": (replace(reading, value=value),)}))
    return replace(record, coupons=tuple(coupons))


def test_unequal_scatter_is_answered_with_scipys_welch(trial: Trial, bench: Bench) -> None:
    shuffled = apart(trial)
    record = wild(bench, shuffled, 6.0)
    found = analyse(shuffled, record).responses[0]
    assert next(c for c in found.checks if c.name == "spread").passed is False
    way = next(w for w in found.alternatives if w.name == "each level's own scatter")
    by = {
        gas: np.array(
            [c.readings["break_load"][0].value for c in record.coupons if c.levels["gas"] == gas]
        )
        for gas in ("mix", "co2")
    }
    outside = stats.ttest_ind(by["co2"], by["mix"], equal_var=False)
    interval = outside.confidence_interval(0.95)
    assert way.p == pytest.approx(outside.pvalue, rel=1e-9)
    assert way.df == pytest.approx(outside.df, rel=1e-9)
    assert (way.ci_low, way.ci_high) == pytest.approx((interval.low, interval.high), rel=1e-9)


def test_within_rounds_nothing_else_is_needed(trial: Trial, bench: Bench) -> None:
    found = analyse(trial, wild(bench, trial, 8.0)).responses[0]
    assert next(c for c in found.checks if c.name == "spread").passed is False
    assert not [w for w in found.alternatives if w.name == "each level's own scatter"]
