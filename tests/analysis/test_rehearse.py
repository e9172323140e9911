"""A rehearsal plays the plan through the real verdict, the same however it is shared out."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from weldtrial.analysis.chances import of_trials
from weldtrial.analysis.context import Context
from weldtrial.analysis.findings import Verdict
from weldtrial.analysis.losses import Losses, kept, spares_for
from weldtrial.analysis.pretend import (
    Scatter,
    Truth,
    coupons_of,
    pretend_seal,
    read,
    stream,
    true_values,
)
from weldtrial.analysis.pretend_bench import PretendBench, pretend_bench
from weldtrial.analysis.rehearse import (
    DEPENDS,
    NOT_ENOUGH,
    Ended,
    Played,
    TrueLoss,
    play,
    true_losses,
)
from weldtrial.analysis.rehearse_all import rehearse
from weldtrial.analysis.rehearsed import rehearsed
from weldtrial.analysis.simulate import simulate
from weldtrial.doe.make_plan import make_plan
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.record import Coupon
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile import load_trial

# One worker builds what these tests share.
pytestmark = pytest.mark.xdist_group("rehearse")

DRAFT = Path(__file__).parents[2] / "cli" / "drafts" / "compare.toml"


@pytest.fixture(scope="module")
def draft() -> Trial:
    return load_trial(DRAFT)


@pytest.fixture(scope="module")
def bench(draft: Trial) -> PretendBench:
    return pretend_bench(draft, coupons_of(make_plan(draft, pretend_seal(1))))


def test_truths_are_shares_of_the_margin(bench: PretendBench) -> None:
    truths = true_losses(bench, bench.margin)
    assert [t.share for t in truths] == [0, 0.5, 1, 2]
    assert [t.change for t in truths] == [0, -2.5, -5, -10]
    assert true_losses(bench, None) == (TrueLoss(0.0, 0.0, 0.0),)


def test_verdicts_come_as_often_as_the_simulation_says(draft: Trial, bench: PretendBench) -> None:
    """60 rehearsed trials against 10 000 simulated ones, three Monte-Carlo errors; a failed check
    may take an answer away."""
    truths = true_losses(bench, bench.margin)
    found = rehearse(draft, bench, truths, trials=60, seed=3)
    assert all(sum(s.counts[k] for s in found.sentences) == 60 for k in range(4))
    for column, truth in enumerate(truths):
        codes = simulate(bench, truth.change, seed=3).codes
        for code in ("not_settled", "not_worse", "worse_beyond_margin"):
            share = codes.get(code, 0) / 10_000
            seen = found.chance((code,), column).chance
            slack = found.depending[column].chance + 3 * (share * (1 - share) / 60) ** 0.5 + 1e-9
            assert abs(seen - share) <= slack, (code, truth)


def test_the_same_however_it_is_shared_out(draft: Trial, bench: PretendBench) -> None:
    truths = true_losses(bench, bench.margin)[:2]
    losses = Losses(scrap=0.1, short=0.1)
    whole = play(draft, bench, truths, range(12), 5, losses)
    parts = [play(draft, bench, truths, one, 5, losses) for one in (range(7), range(7, 12))]
    assert rehearsed(parts[0] + parts[1], truths, 12, 5) == rehearsed(whole, truths, 12, 5)
    assert rehearse(draft, bench, truths, trials=12, seed=5, losses=losses) == rehearsed(
        whole, truths, 12, 5
    )


@pytest.mark.slow
def test_two_processes_give_what_one_gives(draft: Trial, bench: PretendBench) -> None:
    truths = true_losses(bench, bench.margin)[:1]
    one = rehearse(draft, bench, truths, trials=10, seed=5, processes=1)
    seen: list[int] = []
    assert one == rehearse(draft, bench, truths, trials=10, seed=5, processes=2, done=seen.append)
    assert sum(seen) == 10


def test_another_way_to_reach_a_verdict_can_be_rehearsed(draft: Trial, bench: PretendBench) -> None:
    """The seam for looks before the end; what an answer depends on is counted, refusals too."""
    said = iter(range(9))

    def by_turns(context: Context, question: object, observations: object) -> Ended:
        turn = next(said) % 3
        if turn == 0:
            raise NotEstimable("nothing left")
        if turn == 1:
            return Ended(Verdict("depends_on", None, "Answer depends on coupon X7K."), 3)
        return Ended(Verdict("not_worse", "shown", "Shown: so."), 6)

    truths = true_losses(bench, None)
    found = rehearse(draft, bench, truths, trials=9, verdict_of=by_turns)
    assert [(s.words, s.counts) for s in found.sentences] == [
        ("Shown: so.", (3,)),
        (DEPENDS, (3,)),
        (NOT_ENOUGH, (3,)),
    ]
    assert found.turned == (("one odd coupon", 3),)
    assert found.rounds == (((3, 3), (6, 3)),)
    assert found.average_rounds(0) == 4.5
    assert not found.never_told


def test_a_plan_that_settles_nothing_is_known(bench: PretendBench) -> None:
    truths = true_losses(bench, 5.0)
    unsettled = [("not_settled", None, "Not settled.")] * 97 + [("not_worse", "shown", "So.")] * 3
    played = Played((Counter(unsettled),) * 4, (Counter(),) * 4, (Counter(),) * 4)
    found = rehearsed(played, truths, 100, 1)
    assert found.settles_nothing
    assert found.wrongly_no_worse[0][1] == of_trials(3, 100)


def test_one_set_up_of_each_can_never_tell(bench: PretendBench, draft: Trial) -> None:
    coupons = [
        Coupon(
            f"X{i}", "count", i, 1, 1 + i % 2, {"gas": ("mix", "co2")[i % 2], "voltage": "own"}, {}
        )
        for i in range(8)
    ]
    lonely = pretend_bench(draft, coupons)
    found = rehearse(draft, lonely, true_losses(lonely, 5.0), trials=5)
    assert found.never_told
    assert {s.code for s in found.sentences} == {"cannot_tell"}
    assert simulate(lonely, 0.0, trials=50).codes == {"cannot_tell": 50}


def test_losses_are_what_they_say(bench: PretendBench) -> None:
    blanks, n = bench.blanks, len(bench.blanks)
    left = np.array([kept(Losses(scrap=0.2), blanks, stream(1, k)) for k in range(2000)])
    assert left.mean() == pytest.approx(0.8, abs=3 * (0.16 / (2000 * n)) ** 0.5)
    spared = np.array([kept(Losses(scrap=0.2, spares=40), blanks, stream(1, k)) for k in range(99)])
    assert spared.all()
    two = np.array([kept(Losses(scrap=0.2, spares=2), blanks, stream(1, k)) for k in range(2000)])
    assert two.sum() - left.sum() == pytest.approx(2000 * 2 * 0.8, rel=0.05)
    assert all(kept(Losses(lose=3), blanks, stream(1, k)).sum() == n - 3 for k in range(9))
    runs = (blanks[4].run or 0, blanks[9].run or 0)
    gone = kept(Losses(missing=runs), blanks, stream(1))
    assert np.flatnonzero(~gone).tolist() == [4, 9]
    short = np.array([kept(Losses(short=1.0), blanks, stream(1, k)) for k in range(600)])
    sizes = short.reshape(600, 12, 3).sum(axis=2)
    assert set(sizes.ravel().tolist()) == {1, 2}
    assert sizes.mean() == pytest.approx(1.5, abs=3 * 0.5 / 7200**0.5)
    first = short.reshape(600, 12, 3)
    assert first[:, :, 0].all()
    assert not first[:, :, 2].any()


def test_spares_for_a_rate_are_the_fewest_that_do() -> None:
    """Against scipy's binomial distribution."""
    from scipy import stats

    found = spares_for(36, 0.05)
    assert found is not None
    assert stats.binom.cdf(found, 36 + found, 0.05) >= 0.95
    assert stats.binom.cdf(found - 1, 36 + found - 1, 0.05) < 0.95
    assert spares_for(36, 0.0) == 0


def test_readings_are_rounded_to_the_gauge_and_averaged(bench: PretendBench) -> None:
    question = bench.question
    compared = (question.factor, question.level, question.reference)
    true = true_values(
        Truth(80.0, -5.0, {"gas=mix": 1.5}),
        question.factors,
        question.terms,
        compared,
        bench.blanks,
    )
    by_gas = {o.levels["gas"]: value for o, value in zip(bench.blanks, true, strict=True)}
    assert by_gas == {"mix": 81.5, "co2": 73.5}
    shown = read(Scatter(1.0, step=0.5), true, np.full((len(true), 2), 0.2))
    assert set(shown.ravel().tolist()) == {81.5, 73.5}
    with pytest.raises(KeyError):
        true_values(
            Truth(80, 0, {"gaz": 1}), question.factors, question.terms, compared, bench.blanks
        )
