"""Both readings of fair: the pair of verdicts cries wolf no oftener than it says."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest

from weldtrial.analysis.judge import CODES
from weldtrial.analysis.judge_many import judge_many
from weldtrial.analysis.pretend import blank_observations
from weldtrial.analysis.question import Question
from weldtrial.analysis.simulate import frame_of
from weldtrial.analysis.survives import IMPLIES
from weldtrial.shared.factors import Factor
from weldtrial.shared.fair import readings_of
from weldtrial.shared.record import Coupon
from weldtrial.shared.responses import Margin, Response
from weldtrial.shared.terms import trial_terms
from weldtrial.shared.trial import Fair, Trial

pytestmark = pytest.mark.slow

TRIALS = 2_000
ROUNDS, EACH = 6, 2
CALLED = [CODES.index(c) for c in CODES if c.startswith(("worse", "better", "difference"))]
NO_LOSS = [CODES.index(c) for c, said in IMPLIES.items() if "not_worse" in said]


def verdicts(
    own: float, same: float, *, mix_own: float = 25.5, sd_setup: float = 2.0, seed: int = 1
) -> np.ndarray[tuple[int, int], np.dtype[np.intp]]:
    """Return places of both verdicts in each of TRIALS invented trials, shape (2, TRIALS)."""
    gas = Factor("gas", "category", ("mix", "co2"), control="mix", hard_to_change=True)
    volts = Factor(
        "voltage", "numeric", ("own", "same"), unit="V", slides_with="gas",
        settings={"mix": (mix_own, 25.5), "co2": (27.0, 25.5)},
    )  # fmt: skip
    load = Response("load", "kN", margin=Margin(5.0), ask="no-worse")
    trial = Trial("invented", (gas, volts), (load,), fair=Fair("both"))
    coupons: list[Coupon] = []
    for number in range(1, ROUNDS + 1):
        for setup, level in enumerate(gas.levels, start=2 * number - 1):
            for role in volts.levels * EACH:
                run = len(coupons) + 1
                coupons.append(
                    Coupon(f"S{run}", "count", run, number, setup,
                           {"gas": level, "voltage": role}, {}, welded=True)
                )  # fmt: skip
    rng = np.random.default_rng(seed)
    co2 = np.array([c.levels["gas"] == "co2" for c in coupons])
    hot = np.array([c.levels["voltage"] == "own" for c in coupons])
    mean = 80.0 + np.where(co2, np.where(hot, own, same), 0.0)
    ys = mean[:, None] + rng.normal(0, 4.0, (len(coupons), TRIALS))
    setups = rng.normal(0, sd_setup, (2 * ROUNDS, TRIALS))
    ys += setups[[(c.setup or 1) - 1 for c in coupons]]
    ys += rng.normal(0, 3.0, (ROUNDS, TRIALS))[[(c.round or 1) - 1 for c in coupons]]
    terms = trial_terms(trial.varied, "two-factor")
    blanks = blank_observations(trial.varied, coupons)
    questions = [
        Question(trial.varied, terms, load, gas, "co2", "mix", at=at) for at in readings_of(trial)
    ]
    return np.array([judge_many(one, frame_of(one, blanks), ys).places for one in questions])


def most(rate: float) -> float:
    """Return a rate with three Monte-Carlo errors above it."""
    return rate + 3 * sqrt(rate * (1 - rate) / TRIALS)


@pytest.mark.parametrize(("mix_own", "sd_setup"), [(25.5, 2.0), (25.5, 0.0), (24.5, 2.0)])
def test_a_gap_is_called_in_either_reading_in_5_trials_of_100(
    mix_own: float, sd_setup: float
) -> None:
    """No gap anywhere: any "worse" or "better", in the one verdict or the other, is false."""
    found = verdicts(0.0, 0.0, mix_own=mix_own, sd_setup=sd_setup)
    called = np.isin(found, CALLED).any(axis=0).mean()
    # With set-ups that scatter not at all the variance may be taken too large: never too small.
    assert called <= most(0.05)
    assert called >= (0.02 if sd_setup else 0.005)


def test_no_worse_is_wrongly_said_of_either_or_survives_in_5_of_100() -> None:
    """A loss of exactly the margin in both readings: "no worse" is false in each."""
    found = np.isin(verdicts(-5.0, -5.0, seed=2), NO_LOSS)
    assert found.any(axis=0).mean() <= most(0.05)
    assert found.all(axis=0).mean() <= found.mean(axis=1).min()
    assert found.any()


def test_what_survives_is_false_no_oftener_than_the_reading_where_it_is_false() -> None:
    """Equal at the own setting, a loss of the margin at the same: nothing may survive as no worse.

    The hardest case of an intersection (Berger 1982): one part true and often shown.
    """
    found = np.isin(verdicts(0.0, -5.0, seed=3), NO_LOSS)
    assert found[0].mean() > 0.5
    assert found.all(axis=0).mean() <= most(0.05)
