"""Checks cry wolf about once in a hundred sound trials, no more."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from math import sqrt

import pytest

from weldtrial.analysis.observations import observe
from weldtrial.analysis.question import Question
from weldtrial.analysis.residual_views import ALARM
from weldtrial.analysis.views import all_views
from weldtrial.shared.record import Record
from weldtrial.shared.terms import model_terms
from weldtrial.shared.trial import Trial

TRIALS = 400


@pytest.mark.parametrize("sd_setup", [0.0, 2.0])
def test_false_alarms_of_every_check(
    trial: Trial, bench: Callable[..., Record], sd_setup: float
) -> None:
    terms = model_terms(trial.varied, "two-factor")
    question = Question(trial.varied, terms, trial.responses[0], trial.factors[0], "co2")
    failed: Counter[str] = Counter()
    for seed in range(TRIALS):
        record = bench(trial, seed=5_000 + seed, sd_setup=sd_setup)
        observations = observe(trial, record, trial.responses[0]).observations
        fit = question.fit(observations)
        for view in all_views(question, fit, observations, record):
            failed[view.check.name] += view.check.passed is False
    bound = ALARM + 3 * sqrt(ALARM * (1 - ALARM) / TRIALS)
    checks = {"drift", "odd coupon", "odd set-up", "spread", "scale", "set-ups agree"}
    assert set(failed) == checks
    for name, count in failed.items():
        assert count / TRIALS <= bound, name
