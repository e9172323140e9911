"""A rehearsal of planned looks ends as often, and after as many rounds, as the plan says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from weldtrial.analysis.assumed import assumed
from weldtrial.analysis.looks_ahead import look_ahead
from weldtrial.analysis.pretend import coupons_of, pretend_seal
from weldtrial.analysis.pretend_bench import PretendBench, pretend_bench
from weldtrial.analysis.rehearse import true_losses
from weldtrial.analysis.rehearse_all import rehearse
from weldtrial.analysis.rehearse_looks import AtLooks
from weldtrial.analysis.shape import Shape
from weldtrial.doe.make_plan import make_plan
from weldtrial.shared.looks import Looks
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile import load_trial

DRAFT = Path(__file__).parents[2] / "cli" / "drafts" / "compare.toml"
SHAPE = Shape(by_setups=True, rounds=6, replicates=3, extra=4, first_at_most=4)
TRIALS = 150


def looking(looks: Looks) -> tuple[Trial, PretendBench]:
    trial = replace(load_trial(DRAFT), looks=looks)
    return trial, pretend_bench(trial, coupons_of(make_plan(trial, pretend_seal(1))))


@pytest.mark.slow
def test_trials_stop_as_often_as_the_plan_says() -> None:
    looks = Looks((4,), "pocock")
    trial, bench = looking(looks)
    known = assumed(trial.deciding)
    assert known is not None
    ahead = look_ahead(SHAPE, known.spread, known.aim(trial.deciding), looks)
    truths = (true_losses(bench, bench.margin)[0], true_losses(bench, bench.margin)[3])
    found = rehearse(trial, bench, truths, trials=TRIALS, seed=2, verdict_of=AtLooks(looks, SHAPE))
    for place, planned in enumerate((ahead.rows[0].stop_equal, ahead.rows[0].stop_loss)):
        assert planned is not None
        after = dict(found.rounds[place])
        assert sum(after.values()) == TRIALS
        assert set(after) <= {4, 6}
        # Three Monte-Carlo errors, and what failed checks keep from stopping.
        slack = 3 * (planned * (1 - planned) / TRIALS) ** 0.5 + 0.03
        assert after[4] / TRIALS == pytest.approx(planned, abs=slack)


@pytest.mark.slow
def test_a_trial_sized_from_its_scatter_ends_where_its_own_rounds_say() -> None:
    looks = Looks((3,), "scatter-only", at_least=4)
    trial, bench = looking(looks)
    truths = true_losses(bench, bench.margin)[:1]
    found = rehearse(trial, bench, truths, trials=40, seed=2, verdict_of=AtLooks(looks, SHAPE))
    ended = dict(found.rounds[0])
    assert sum(ended.values()) == 40
    assert set(ended) <= {4, 5, 6}
    assert len(ended) > 1
    average = found.average_rounds(0)
    assert average is not None
    assert 4 <= average <= 6
