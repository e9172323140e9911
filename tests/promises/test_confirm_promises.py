"""What a sealed prediction promises, by simulation on invented benches whose truth is known.

Every trial is drawn, fitted, predicted from, and confirmed anew: two gases, eight set-ups of five,
two responses whose scatter goes together, then eight coupons in two fresh set-ups.
"""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from weldtrial.analysis.joint import Limit, chances
from weldtrial.analysis.joint_draws import drawn
from weldtrial.analysis.pass_rule import pass_rule, reached
from weldtrial.analysis.predicted import alikeness, intervals
from weldtrial.analysis.settings_grid import places_at
from weldtrial.analysis.surface import fit_surface
from weldtrial.analysis.together import joint_of
from weldtrial.shared.coding import model_matrix

# One worker builds what these tests share.
pytestmark = pytest.mark.xdist_group("confirm_promises")

PLACE = Path(__file__).parents[1] / "analysis" / "window_bench.py"
SPEC = importlib.util.spec_from_file_location("confirm_window_bench", PLACE)
assert SPEC is not None
assert SPEC.loader is not None
bench = importlib.util.module_from_spec(SPEC)
sys.modules[SPEC.name] = bench
SPEC.loader.exec_module(bench)

AT = {"gas": "co2", "voltage": 0.4, "wire_feed": 0.2, "travel": -0.3}
SIZES = (4, 4)
TRIALS = 500
NAMES = ("load", "depth")
SD_COUPON, SD_SETUP = np.array([3.0, 0.15]), np.array([2.0, 0.06])
MEANS = np.array([86.0, 2.2])
TOGETHER = np.linalg.cholesky(np.array([[1.0, 0.4], [0.4, 1.0]]))


@dataclass
class Seen:
    """What came of all the trials."""

    one: np.ndarray
    means: np.ndarray
    chance: np.ndarray
    passed: np.ndarray
    alike: np.ndarray
    limits: tuple[float, float]


def welded(rng: np.random.Generator, truth: np.ndarray, setup: np.ndarray) -> np.ndarray:
    """Return readings (n, 2) around the truth, coupons of a set-up shifted together."""
    between = (rng.standard_normal((setup.max() + 1, 2)) @ TOGETHER.T) * SD_SETUP
    within = (rng.standard_normal((len(setup), 2)) @ TOGETHER.T) * SD_COUPON
    return truth + between[setup] + within


@pytest.fixture(scope="module")
def seen() -> Seen:
    rng = np.random.default_rng(20261)
    points, setup, rounds = bench.layout(rng)
    matrix = model_matrix(bench.FACTORS, bench.TERMS, points).matrix
    slopes = rng.normal(0, 1, (matrix.shape[1], 2)) * np.array([1.2, 0.08])
    slopes[0] = MEANS
    here = (model_matrix(bench.FACTORS, bench.TERMS, [AT]).matrix @ slopes)[0]
    # Limits that single coupons meet about 9 and 95 times in 100 apart: 8 or so in 10 together.
    sd = np.hypot(SD_COUPON, SD_SETUP)
    limits = (float(here[0] - 1.2 * sd[0]), float(here[1] - 1.7 * sd[1]))
    asked = [Limit(name, at_least=end) for name, end in zip(NAMES, limits, strict=True)]
    new_setup = np.repeat(np.arange(len(SIZES)), SIZES)
    one, means, chance, passed, alike = [], [], [], [], []
    for trial in range(TRIALS):
        values = welded(rng, matrix @ slopes, setup)
        measured = [bench.observations(points, setup, rounds, values[:, r]) for r in range(2)]
        fits = [
            fit_surface(bench.FACTORS, bench.TERMS, of_one, response=name)
            for name, of_one in zip(NAMES, measured, strict=True)
        ]
        joint = joint_of(fits, measured)
        used = drawn(joint, 4000, trial)
        said = intervals(joint, used, AT, SIZES, trial)
        found = chances(joint, asked, places_at(bench.FACTORS, [AT]), draws=4000, seed=trial)
        new = welded(rng, here[None], new_setup)
        both = [said[name] for name in NAMES]
        one.append([low.low <= new[0, r] <= low.high for r, low in enumerate(both)])
        mean = new.mean(axis=0)
        means.append([end.mean_low <= mean[r] <= end.mean_high for r, end in enumerate(both)])
        chance.append(found.together[0])
        passed.append(int((new >= np.array(limits)).all(axis=1).sum()))
        alike.append(alikeness(joint, used, AT, asked, trial))
    return Seen(*map(np.array, (one, means, chance, passed, alike)), limits)


@pytest.mark.slow
def test_the_interval_for_the_next_coupon_covers_it(seen: Seen) -> None:
    # Three Monte-Carlo errors of 95 in 100 over 500 trials: 2.9. Wide is allowed, narrow is not.
    covered = seen.one.mean(axis=0)
    assert np.all(covered >= 0.95 - 0.03), covered
    assert np.all(covered <= 0.995), covered


@pytest.mark.slow
def test_the_intervals_for_the_means_hold_together(seen: Seen) -> None:
    together = float(seen.means.all(axis=1).mean())
    assert together >= 0.95 - 0.03, together


@pytest.mark.slow
def test_the_chance_is_no_more_hopeful_than_what_comes(seen: Seen) -> None:
    """Timid: with three degrees of freedom between set-ups it is .77 where .86 come."""
    share = seen.passed.mean() / sum(SIZES)
    assert seen.chance.mean() <= share + 0.02
    assert seen.chance.mean() >= share - 0.12


@pytest.mark.slow
def test_a_true_share_misses_the_rule_as_often_as_was_said(seen: Seen) -> None:
    """The rule on the true share; how alike coupons are, from each trial's own results."""
    share = seen.passed.mean() / sum(SIZES)
    rule = pass_rule(SIZES, float(share), float(seen.alike.mean()))
    hit = float((seen.passed >= rule.at_least).mean())
    apart = reached(rule.at_least, rule.of, float(share))
    # Three Monte-Carlo errors of some 88 in 100 over 500 trials: 4.4.
    assert hit == pytest.approx(rule.reached_alike, abs=0.045), (hit, rule, apart)
    assert hit < apart
