"""Passes by set-up through `analyse`: five false alarms in a hundred, not what counting gives.

32 coupons, 8 set-ups of 4 in 4 rounds, share .7, intraclass correlation .3 (beta-binomial); seeded.
The larger grids are quoted in `setup_proportions`.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np

from weldtrial.analysis.context import Context
from weldtrial.analysis.counted import code_of, pairs
from weldtrial.analysis.observations import observe
from weldtrial.analysis.proportions import boschloo_rejects
from weldtrial.analysis.respond_passes import numbers

_spec = importlib.util.spec_from_file_location(
    "counted_bench", Path(__file__).parents[1] / "analysis" / "counted_bench.py"
)
assert _spec is not None
assert _spec.loader is not None
made = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(made)

TRIALS, SHARE, CORRELATION = 1000, 0.7, 0.3


def test_false_alarms_by_set_up_and_as_if_coupons_were_apart() -> None:
    rng = np.random.default_rng(2026)
    trial = made.trial(made.asking("difference", None), hard=True, rounds=4)
    spread = (1 - CORRELATION) / CORRELATION
    apart = boschloo_rejects(16, 16)
    alarms = naive = 0
    for _ in range(TRIALS):
        true = rng.beta(SHARE * spread, (1 - SHARE) * spread, size=(4, 2))
        passed = rng.binomial(4, true)
        record = made.in_setups([tuple(row) for row in passed])
        context = Context(trial=trial, record=record, shuffled=True, looks=1)
        pair = pairs(context, trial.deciding)[0]
        seen = observe(trial, record, trial.deciding).observations
        found = numbers(context, pair, seen)
        alarms += code_of(pair, found) == "difference_shown"
        naive += apart[passed[:, 1].sum(), passed[:, 0].sum()]
    error = (0.05 * 0.95 / TRIALS) ** 0.5
    assert alarms / TRIALS <= 0.05 + 3 * error
    # Counting every coupon for itself: .12 to .18 in the larger grids.
    # (Boschloo's test; the exact interval decides all but a few outcomes alike.)
    assert naive / TRIALS >= 0.12 - 3 * (0.12 * 0.88 / TRIALS) ** 0.5
