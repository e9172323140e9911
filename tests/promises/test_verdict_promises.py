"""How often a verdict says something wrong, at the truths where that is most likely.

Simulated trials go through the batch form of the functions that the analysis uses, with seeds;
bounds are the nominal level plus three Monte-Carlo standard errors.
"""

from __future__ import annotations

from collections import Counter
from math import sqrt

import numpy as np
import pytest

from weldtrial.analysis.judge import Bounds, Evidence, judge
from weldtrial.analysis.mixed import batch_estimates
from weldtrial.analysis.model_frame import sum_to_zero
from weldtrial.shared.responses import Ask

TRIALS = 10_000
MARGIN = 5.0
SD_COUPON = 4.0


def verdicts(
    rounds: int, coupons: int, sd_setup: float, truth: float, seed: int, ask: Ask
) -> Counter[str]:
    """Count verdict codes over simulated trials: rounds of two gases, one set-up of each."""
    gas = np.repeat(np.tile([1.0, -1.0], rounds), coupons)
    setup = np.repeat(np.arange(2 * rounds), coupons)
    blocks = sum_to_zero(np.repeat(np.arange(rounds), 2 * coupons).tolist())
    x = np.column_stack([np.ones_like(gas), gas, blocks])
    generator = np.random.default_rng(seed)
    shifts = generator.normal(0, sd_setup, (2 * rounds, TRIALS))[setup]
    ys = 80 + shifts + generator.normal(0, SD_COUPON, (len(gas), TRIALS))
    ys += truth * (gas[:, None] < 0)
    contrast = np.zeros(x.shape[1])
    contrast[1] = -2.0
    found = batch_estimates(x, setup, ys, contrast)
    low95, high95 = found.interval(0.95)
    low90, high90 = found.interval(0.90)
    return Counter(
        judge(Evidence.of(Bounds(*map(float, ends)), MARGIN), ask)
        for ends in zip(low95, high95, low90, high90, strict=True)
    )


def bound(level: float) -> float:
    return level + 3 * sqrt(level * (1 - level) / TRIALS)


LAYOUTS = [(4, 3, 2.0), (6, 3, 0.0), (6, 3, 2.0), (6, 4, 4.0)]


@pytest.mark.parametrize(("rounds", "coupons", "sd_setup"), LAYOUTS)
@pytest.mark.parametrize("ask", ["difference", "no-worse", "equal-enough"])
def test_no_change_is_seldom_called_worse_or_better(
    rounds: int, coupons: int, sd_setup: float, ask: Ask
) -> None:
    codes = verdicts(rounds, coupons, sd_setup, 0.0, 101, ask)
    wrong = sum(n for code, n in codes.items() if code.startswith(("worse", "better")))
    assert wrong / TRIALS <= bound(0.05)
    beyond = codes["worse_beyond_margin"] + codes["better_beyond_margin"]
    assert beyond <= wrong


@pytest.mark.parametrize(("rounds", "coupons", "sd_setup"), LAYOUTS)
@pytest.mark.parametrize("ask", ["difference", "no-worse", "equal-enough"])
def test_a_loss_of_the_margin_is_seldom_called_smaller_or_larger(
    rounds: int, coupons: int, sd_setup: float, ask: Ask
) -> None:
    """The one-sided 95 % limit errs 5 in 100 one way, the two-sided interval 2.5 the other."""
    codes = verdicts(rounds, coupons, sd_setup, -MARGIN, 202, ask)
    smaller = ("not_worse", "equivalent", "worse_within_margin", "better_within_margin")
    assert sum(codes[code] for code in smaller) / TRIALS <= bound(0.05)
    assert codes["worse_beyond_margin"] / TRIALS <= bound(0.025)
    assert sum(n for code, n in codes.items() if code.startswith("better")) / TRIALS <= bound(0.025)


def test_every_numeric_verdict_is_reached() -> None:
    seen: Counter[str] = Counter()
    for truth in (-12.0, -6.0, -1.5, 0.0, 1.5, 6.0, 12.0):
        for ask in ("no-worse", "equal-enough"):
            seen += verdicts(8, 6, 0.5, truth, 303, ask)  # type: ignore[arg-type]
    assert set(seen) == {
        "worse_beyond_margin", "worse_within_margin", "worse_margin_unsettled",
        "better_beyond_margin", "better_within_margin", "better_margin_unsettled",
        "not_worse", "equivalent", "not_settled",
    }  # fmt: skip


def test_percent_margin_keeps_its_level_where_the_reference_mean_is_uncertain() -> None:
    """mean(co2) - 0.9 mean(mix) at a true ratio of exactly 0.9, with 25 % scatter."""
    rounds, coupons = 6, 3
    gas = np.repeat(np.tile([1.0, -1.0], rounds), coupons)
    setup = np.repeat(np.arange(2 * rounds), coupons)
    blocks = sum_to_zero(np.repeat(np.arange(rounds), 2 * coupons).tolist())
    x = np.column_stack([np.ones_like(gas), gas, blocks])
    generator = np.random.default_rng(404)
    ys = np.where(gas[:, None] > 0, 80.0, 72.0) + generator.normal(0, 20, (len(gas), TRIALS))
    contrast = np.zeros(x.shape[1])
    contrast[:2] = 1 - 0.9, -1 - 0.9
    low, _ = batch_estimates(x, setup, ys, contrast).interval(0.90)
    assert np.mean(low > 0) <= bound(0.05)
    assert np.mean(low > 0) >= 0.05 - 3 * sqrt(0.05 * 0.95 / TRIALS)
