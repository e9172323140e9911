"""Ratios and percent margins, checked from their definition and by simulation."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
from scipy import optimize, stats

from weldtrial.analysis.compare import compared_factors, contrast, fieller
from weldtrial.analysis.model import fit_model
from weldtrial.analysis.observations import Observation, observe
from weldtrial.shared.factors import Factor
from weldtrial.shared.record import Record
from weldtrial.shared.responses import Margin
from weldtrial.shared.terms import model_terms
from weldtrial.shared.trial import Trial

SIDE = Factor("side", "category", ("old", "new"), control="old")


def two_heaps(old: np.ndarray, new: np.ndarray) -> list[Observation]:
    return [
        Observation(f"{side}{k}", k, None, None, {"side": side}, {"side": side}, float(v), ())
        for side, values in (("old", old), ("new", new))
        for k, v in enumerate(values)
    ]


def test_fieller_inverts_the_t_test_of_the_ratio() -> None:
    """The ends are the ratios r at which mean(new) - r mean(old) is just not zero."""
    generator = np.random.default_rng(1)
    old, new = generator.normal(70, 4, 6), generator.normal(68, 4, 6)
    fit = fit_model([SIDE], model_terms([SIDE], "main"), two_heaps(old, new))
    one, zero = fit.mean_vector(SIDE, "new"), fit.mean_vector(SIDE, "old")
    found = fieller(fit, one, zero, float(stats.t.ppf(0.975, 10)))
    assert found is not None

    def excess(r: float) -> float:
        estimate = fit.estimate(one - r * zero)
        return abs(estimate.estimate / estimate.se) - float(stats.t.ppf(0.975, 10))

    assert found[1] == pytest.approx(optimize.brentq(excess, 0.5, found[0]), rel=1e-8)
    assert found[2] == pytest.approx(optimize.brentq(excess, found[0], 2.0), rel=1e-8)


def test_fieller_covers_the_true_ratio() -> None:
    generator = np.random.default_rng(2)
    trials, hits = 1_000, 0
    for _ in range(trials):
        old, new = generator.normal(10, 2, 5), generator.normal(9, 2, 5)
        fit = fit_model([SIDE], model_terms([SIDE], "main"), two_heaps(old, new))
        vectors = fit.mean_vector(SIDE, "new"), fit.mean_vector(SIDE, "old")
        found = fieller(fit, *vectors, float(stats.t.ppf(0.975, 8)))
        hits += found is not None and found[1] <= 0.9 <= found[2]
    assert abs(hits / trials - 0.95) <= 3 * sqrt(0.95 * 0.05 / trials)


def test_unbounded_ratio_is_none() -> None:
    old, new = np.array([-3.0, 4.0, 1.0, -2.0]), np.array([5.0, 6.0, 7.0, 5.5])
    fit = fit_model([SIDE], model_terms([SIDE], "main"), two_heaps(old, new))
    assert fieller(fit, fit.mean_vector(SIDE, "new"), fit.mean_vector(SIDE, "old"), 2.45) is None


@pytest.mark.parametrize("better", ["higher", "lower"])
def test_percent_margin_is_a_contrast_of_the_two_means(
    trial: Trial, bench: Callable[..., Record], better: str
) -> None:
    """Loss contrast for higher-better: mean(co2) - (1 - m) mean(mix); mirrored for lower."""
    response = replace(trial.responses[0], margin=Margin(0.06, percent=True), better=better)
    record = bench(trial, seed=4)
    observations = observe(trial, record, response).observations
    fit = fit_model(trial.varied, model_terms(trial.varied, "two-factor"), observations)
    found = contrast(fit, trial.factors[0], "co2", response)
    one = fit.mean_vector(trial.factors[0], "co2")
    zero = fit.mean_vector(trial.factors[0], "mix")
    sign = 1 if better == "higher" else -1
    loss = fit.estimate(sign * (one - (1 - sign * 0.06) * zero))
    assert found.evidence.above_loss is not None
    assert found.evidence.above_loss.low90 == pytest.approx(loss.interval(0.90)[0])
    assert found.margin == pytest.approx(0.06 * found.reference.estimate)


def test_what_is_hard_to_change_is_compared_first_whatever_its_kind(trial: Trial) -> None:
    """The plan is sized for it, so the verdict answers it."""
    gas = replace(trial.factors[0], hard_to_change=False)
    preheat = Factor("preheat", "numeric", ("20", "120"), unit="°C", settings={"": (20.0, 120.0)},
                     hard_to_change=True)  # fmt: skip
    both = replace(trial, factors=(gas, trial.factors[2], preheat))
    assert [f.name for f in compared_factors(both)] == ["preheat", "gas"]
    assert [f.name for f in compared_factors(replace(both, purpose="settings"))] == ["gas"]
    alone = replace(trial, factors=(trial.factors[2],))
    assert [f.name for f in compared_factors(alone)] == ["travel"]
