"""Simulated chances equal the exact ones, and a pretend bench keeps what `plan` promises.

Seeded.  A simulated chance is held to four Monte-Carlo errors of the closed form (many layouts are
looked at), the whole road from plan to verdict to three, and to the share of verdicts that a
failed check makes depend on something, which no closed form knows.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from dataclasses import replace
from math import sqrt
from pathlib import Path

import numpy as np
import pytest

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.assumed import assumed
from weldtrial.analysis.chances import of_patterns, of_trials
from weldtrial.analysis.losses import Losses, spares_for
from weldtrial.analysis.needs import needs
from weldtrial.analysis.pretend import (
    Scatter,
    Truth,
    coupons_of,
    draw,
    pretend_seal,
    read,
    stream,
    true_values,
)
from weldtrial.analysis.pretend_bench import ANSWERS, PretendBench, pretend_bench
from weldtrial.analysis.simulate import asked_change, simulate
from weldtrial.cli.plan_figures import plan_figures, shape_of
from weldtrial.doe.layout import make_layout
from weldtrial.doe.make_plan import make_plan
from weldtrial.shared.record import Reading, Record
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile import load_trial

TRIALS = 10_000
ROOT = Path(__file__).parents[2]
HEAD = """
format = 1
[trial]
title = "Invented"
[fair]
rule = "same-setting"
[[response]]
name = "load"
unit = "kN"
{response}
typical = {{ mean = 80, sd_coupon = 4, sd_setup = 2, from = "invented" }}
[[factor]]
name = "gas"
levels = {levels}
{gas}
"""
EASY = """
[[factor]]
name = "{name}"
unit = "{unit}"
low_high = [{low}, {high}]
"""
TRAVEL = EASY.format(name="travel", unit="cm/min", low=35, high=45)
FEED = EASY.format(name="feed", unit="m/min", low=8, high=9)
VOLTS = EASY.format(name="volts", unit="V", low=24, high=26)
TWO, THREE = '["mix", "co2"]', '["mix", "co2", "lean"]'
HARD = 'hard_to_change = true\ncontrol = "mix"'
KN5, PERCENT = 'margin = 5\nask = "no-worse"', 'margin = "6 %"\nask = "no-worse"'

LAYOUTS = {
    "completely shuffled": (TWO, "", KN5, TRAVEL, "replicates = 6"),
    "blocks": (TWO, "", KN5, TRAVEL, "replicates = 3\nrounds = 3"),
    "rounds": (TWO, HARD, KN5, "", "rounds = 6\n[budget]\ncoupons = 36"),
    "free set-ups": (TWO, HARD, KN5, "", "rounds = 1\nset_ups = 8\n[budget]\ncoupons = 24"),
    "percent of the mean": (TWO, HARD, PERCENT, "", "rounds = 6\n[budget]\ncoupons = 36"),
    "three gases, Dunnett": (THREE, HARD, KN5, "", "rounds = 6\n[budget]\ncoupons = 54"),
    "three gases, all pairs": (
        THREE, "hard_to_change = true", KN5, "", "rounds = 6\n[budget]\ncoupons = 54",
    ),
    "fraction inside set-ups": (
        TWO, HARD, KN5, TRAVEL + FEED + VOLTS,
        'kind = "fraction"\nmodel = "main"\nruns = 4\nrounds = 5\n[budget]\ncoupons = 40',
    ),
}  # fmt: skip


def trial_of(folder: Path, name: str, ask: str) -> Trial:
    levels, gas, response, easy, design = LAYOUTS[name]
    text = HEAD.format(levels=levels, gas=gas, response=response.replace("no-worse", ask))
    path = folder / "trial.toml"
    path.write_text(text + easy + "[design]\n" + design + "\n", encoding="utf-8")
    return load_trial(path)


def bench_of(trial: Trial, word: str = "0") -> PretendBench:
    seal = hashlib.sha256(word.encode()).hexdigest()
    return pretend_bench(trial, coupons_of(make_plan(trial, seal)))


@pytest.mark.parametrize("ask", ["difference", "no-worse", "equal-enough"])
@pytest.mark.parametrize("name", LAYOUTS)
def test_a_simulated_chance_equals_the_closed_form(tmp_path: Path, name: str, ask: str) -> None:
    trial = trial_of(tmp_path, name, ask)
    bench = bench_of(trial)
    known = assumed(trial.deciding)
    assert known is not None
    found = needs(shape_of(trial, make_layout(trial)), known.spread, known.aim(trial.deciding))
    exact = {
        "difference": found.power,
        "no-worse": found.no_worse,
        "equal-enough": found.equal_enough,
    }[ask]
    change = asked_change(bench)
    assert exact is not None
    assert change is not None
    simulated = simulate(bench, change, trials=TRIALS, seed=4)
    assert simulated.refused == 0
    assert 0.02 < exact < 0.99
    error = sqrt(exact * (1 - exact) / TRIALS)
    assert simulated.chance.chance == pytest.approx(exact, abs=4 * error)


def test_losses_never_help_and_all_spares_make_scrap_good(tmp_path: Path) -> None:
    """Against the plan with as many coupons fewer in every set-up, exactly."""
    trial = trial_of(tmp_path, "rounds", "no-worse")
    bench = bench_of(trial)
    spares = spares_for(36, 0.05)
    assert spares is not None
    whole = simulate(bench, 0.0, seed=5).chance
    scrapped = simulate(bench, 0.0, Losses(scrap=0.3), seed=5).chance
    spared = simulate(bench, 0.0, Losses(scrap=0.05, spares=spares), seed=5).chance
    assert scrapped.high < whole.low
    assert abs(spared.chance - whole.chance) < 4 * sqrt(2 * 0.78 * 0.22 / TRIALS)


def test_the_interval_over_patterns_holds_the_truth_nineteen_times_in_twenty() -> None:
    """Shares of patterns spread about .6, trials within them binomial; 800 simulations."""
    random = stream(9)
    held = 0
    for _ in range(800):
        shares = random.beta(6, 4, size=60)
        found = of_patterns(random.binomial(20, shares).astype(float), 20)
        held += found.low <= 0.6 <= found.high
    assert 0.95 - 3 * sqrt(0.95 * 0.05 / 800) <= held / 800
    assert held / 800 <= 0.985


def test_the_exact_interval_is_that_of_scipy() -> None:
    from scipy import stats

    for hits, trials in ((0, 50), (3, 50), (786, 1000), (50, 50)):
        found = of_trials(hits, trials)
        exact = stats.binomtest(hits, trials).proportion_ci(0.95, method="exact")
        assert (found.low, found.high) == pytest.approx((exact.low, exact.high), abs=1e-12)


@pytest.mark.slow
@pytest.mark.parametrize(("rounds", "trials", "promised"), [(6, 150, 78), (9, 80, 87)])
def test_plan_to_verdict_reaches_the_promised_chance(
    tmp_path: Path, rounds: int, trials: int, promised: int
) -> None:
    """`weldtrial new --for compare`, welded in memory: order, readings, checks, verdict and all."""
    text = (ROOT / "cli" / "drafts" / "compare.toml").read_text(encoding="utf-8")
    text = text.replace("rounds = 6", f"rounds = {rounds}").replace("first_at_most = 4", "")
    (tmp_path / "trial.toml").write_text(text, encoding="utf-8")
    trial = load_trial(tmp_path / "trial.toml")
    chance = plan_figures(trial).current.chance
    assert chance is not None
    assert round(100 * chance) == promised
    ends: Counter[str | None] = Counter()
    for number in range(trials):
        bench = bench_of(trial, f"{rounds} {number}")
        findings = analyse(trial, welded(bench, number))
        first = next(r for r in findings.responses if r.name == trial.deciding.name)
        ends[first.comparisons[0].verdict.code] += 1
    told = sum(ends[code] for code in ANSWERS["no-worse"]) / trials
    error = sqrt(chance * (1 - chance) / trials)
    assert told - 3 * error <= chance <= told + ends["depends_on"] / trials + 3 * error
    assert ends["depends_on"] / trials < 0.06


def welded(bench: PretendBench, number: int) -> Record:
    """A record filled with pretend readings of two truly equal gases."""
    question = bench.question
    true = true_values(
        Truth(bench.mean),
        question.factors,
        question.terms,
        (question.factor, question.level, question.reference),
        bench.blanks,
    )
    readings = read(
        bench.scatter, true, draw(bench.scatter, bench.blanks, 1, stream(11, number))[0]
    )
    name = question.response.name
    coupons = tuple(
        replace(
            coupon,
            readings={name: tuple(Reading("number", value=value) for value in row)},
        )
        for coupon, row in zip(bench.coupons, readings.tolist(), strict=True)
    )
    return Record(coupons, len(coupons), sealed="sealed", seal=pretend_seal(number))


def test_the_same_seed_draws_the_same_trials_however_they_are_split(tmp_path: Path) -> None:
    bench = bench_of(trial_of(tmp_path, "rounds", "no-worse"))
    scatter = Scatter(4.0, 2.0, 1.0, 3, 0.1)
    whole = draw(scatter, bench.blanks, 1, stream(3, 7))
    again = draw(scatter, bench.blanks, 1, stream(3, 7))
    other = draw(scatter, bench.blanks, 1, stream(3, 8))
    assert (whole == again).all()
    assert not (whole == other).any()
    at_once, by_turns = stream(3), stream(3)
    parts = [draw(scatter, bench.blanks, few, by_turns) for few in (2, 1, 4)]
    assert (draw(scatter, bench.blanks, 7, at_once) == np.concatenate(parts)).all()
    one = simulate(bench, 0.0, Losses(scrap=0.1), trials=500, seed=2)
    assert one == simulate(bench, 0.0, Losses(scrap=0.1), trials=500, seed=2)
    assert one != simulate(bench, 0.0, Losses(scrap=0.1), trials=500, seed=3)
