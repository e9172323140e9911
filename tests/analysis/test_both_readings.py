"""Both readings of fair: against Dunnett's intervals by scipy, by cell means, and what survives."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.context import Context
from weldtrial.analysis.findings import ResponseFindings, VerdictCode
from weldtrial.analysis.judge import CODES
from weldtrial.analysis.judge_many import judge_many
from weldtrial.analysis.pretend import blank_observations
from weldtrial.analysis.question import Question
from weldtrial.analysis.simulate import frame_of
from weldtrial.analysis.survives import survives
from weldtrial.shared.factors import Factor
from weldtrial.shared.fair import readings_of
from weldtrial.shared.look_state import look_at
from weldtrial.shared.record import Coupon, Reading, Record
from weldtrial.shared.responses import Better, Margin, Response
from weldtrial.shared.terms import trial_terms
from weldtrial.shared.trial import Fair, Trial

CELLS = (("mix", "own"), ("mix", "same"), ("co2", "own"), ("co2", "same"))


def trial_of(
    *, hard: bool = False, mix_own: float = 25.5, margin: Margin | None = None,
    better: Better = "higher",
) -> Trial:  # fmt: skip
    gas = Factor("gas", "category", ("mix", "co2"), control="mix", hard_to_change=hard)
    volts = Factor(
        "voltage", "numeric", ("own", "same"), unit="V", slides_with="gas",
        settings={"mix": (mix_own, 25.5), "co2": (27.0, 25.5)},
    )  # fmt: skip
    load = Response("load", "kN", margin=margin or Margin(5.0), ask="no-worse", better=better)
    return Trial("invented", (gas, volts), (load,), fair=Fair("both", "tuned alike"))


def coupons_of(trial: Trial, each: int, rounds: int = 1) -> list[Coupon]:
    """Give `each` coupons a cell; with a hard gas the two cells of a gas stand in one set-up."""
    hard = trial.factor("gas").hard_to_change
    found: list[Coupon] = []
    for number in range(1, rounds + 1):
        for gas, role in CELLS:
            for _ in range(each):
                setup = 2 * number - (gas == "mix") if hard else None
                run = len(found) + 1
                found.append(
                    Coupon(f"S{run}", "count", run, number if rounds > 1 else None, setup,
                           {"gas": gas, "voltage": role}, {}, welded=True)
                )  # fmt: skip
    return found


def found_of(trial: Trial, coupons: list[Coupon], loads: NDArray[np.float64]) -> ResponseFindings:
    read = tuple(
        replace(one, readings={"load": (Reading("number", value=float(load)),)})
        for one, load in zip(coupons, loads, strict=True)
    )
    return analyse(trial, Record(read, len(read), sealed="sealed")).responses[0]


def truth(coupons: list[Coupon], own: float, same: float) -> NDArray[np.float64]:
    gap = {("co2", "own"): own, ("co2", "same"): same}
    return np.array([80 + gap.get((c.levels["gas"], c.levels["voltage"]), 0.0) for c in coupons])


def test_as_dunnett_by_scipy_where_every_coupon_is_set_up_anew() -> None:
    """Three means with one pooled scatter, the control twice as often: scipy.stats.dunnett."""
    trial = trial_of()
    coupons = coupons_of(trial, each=5)
    loads = truth(coupons, 1.0, -7.0) + np.random.default_rng(7).normal(0, 3, len(coupons))
    by_cell = [loads[i : i + 5] for i in range(0, 20, 5)]
    control = np.concatenate(by_cell[:2])
    theirs = stats.dunnett(*by_cell[2:], control=control, rng=np.random.default_rng(1))
    interval = theirs.confidence_interval(0.95)
    found = found_of(trial, coupons, loads)
    assert [one.reading for one in found.comparisons] == ["own", "same"]
    assert [one.said_level for one in found.comparisons] == [
        "co2 at its own volts", "co2 at the same volts",
    ]  # fmt: skip
    for place, one in enumerate(found.comparisons):
        assert one.difference == pytest.approx(by_cell[2 + place].mean() - control.mean())
        assert one.df == 17  # 20 coupons, three means
        # scipy integrates by quasi-Monte-Carlo, to about three digits
        assert one.ci_low == pytest.approx(interval.low[place], abs=0.02)
        assert one.ci_high == pytest.approx(interval.high[place], abs=0.02)
        assert one.p_adjusted == pytest.approx(theirs.pvalue[place], abs=2e-3)
    assert {row.level: row.mean for row in found.means} == pytest.approx(
        {"mix": control.mean(), "co2 at its own volts": by_cell[2].mean(),
         "co2 at the same volts": by_cell[3].mean()}
    )  # fmt: skip
    assert [row.term for row in found.effects] == ["voltage"]


@pytest.mark.parametrize("mix_own", [25.5, 24.5])
def test_gaps_are_those_of_the_cells_whether_the_control_is_shared_or_not(mix_own: float) -> None:
    trial = trial_of(hard=True, mix_own=mix_own)
    coupons = coupons_of(trial, each=2, rounds=6)
    rng = np.random.default_rng(3)
    setups = rng.normal(0, 1.5, 13)
    loads = truth(coupons, 1.0, -12.0) + rng.normal(0, 2, len(coupons))
    loads += np.array([setups[c.setup or 0] for c in coupons])
    cell = {
        key: np.mean([x for c, x in zip(coupons, loads, strict=True)
                      if (c.levels["gas"], c.levels["voltage"]) == key])
        for key in CELLS
    }  # fmt: skip
    shared = mix_own == 25.5
    own_mix = (cell["mix", "own"] + cell["mix", "same"]) / 2 if shared else cell["mix", "own"]
    same_mix = own_mix if shared else cell["mix", "same"]
    found = found_of(trial, coupons, loads)
    own, same = found.comparisons
    assert own.difference == pytest.approx(cell["co2", "own"] - own_mix)
    assert same.difference == pytest.approx(cell["co2", "same"] - same_mix)
    assert found.curvature is None
    assert not [note for note in found.warnings if note.code == "left_out"]
    control = "mix" if shared else "mix at its own volts"
    assert own.verdict.lines[0].startswith(f"co2 at its own volts − {control} = ")
    assert same.verdict.code == "worse_beyond_margin"
    assert found.survives is not None
    assert found.survives.statements == ()


# ------------------------------------------------------------------ what survives both

CODED: list[tuple[VerdictCode, VerdictCode, tuple[str, ...], str]] = [
    ("not_worse", "equivalent", ("not_worse",), "co2 is no worse than mix by more than 5 kN."),
    ("equivalent", "better_within_margin", ("equal",), "co2 is equal to mix within 5 kN."),
    ("worse_beyond_margin", "worse_beyond_margin", ("worse_beyond_margin",),
     "co2 is worse than mix by more than 5 kN."),
    ("worse_beyond_margin", "worse_margin_unsettled", ("worse",), "co2 is worse than mix."),
    ("worse_within_margin", "worse_within_margin", ("worse", "equal"),
     "co2 is worse than mix and co2 is equal to mix within 5 kN."),
    ("better_beyond_margin", "better_margin_unsettled", ("better",), "co2 is better than mix."),
    ("better_beyond_margin", "not_worse", ("not_worse",),
     "co2 is no worse than mix by more than 5 kN."),
    ("not_worse", "worse_beyond_margin", (),
     "Nothing survives both readings of fair: at its own volts co2 is no worse than mix by more "
     "than 5 kN; at the same volts co2 is worse than mix by more than 5 kN. The answer turns on "
     "what is called fair."),
    ("better_margin_unsettled", "worse_margin_unsettled", (),
     "Nothing survives both readings of fair: at its own volts co2 is better than mix; at the same "
     "volts co2 is worse than mix. The answer turns on what is called fair."),
    # No worse by 5 kN and worse by less are no contradiction; neither shows what the other does.
    ("not_worse", "worse_margin_unsettled", (),
     "Nothing survives both readings of fair: at its own volts co2 is no worse than mix by more "
     "than 5 kN; at the same volts co2 is worse than mix."),
    ("not_settled", "depends_on", (),
     "Nothing survives both readings of fair: at its own volts it is not settled; at the same "
     "volts it depends on a check."),
]  # fmt: skip


@pytest.fixture(scope="module")
def judged() -> tuple[Context, ResponseFindings]:
    """Give one analysed trial, whose verdicts the tests then change."""
    trial = trial_of()
    coupons = coupons_of(trial, each=3)
    loads = truth(coupons, 0.0, -12.0) + np.tile([-1.0, 1.0, 0.2], 4)
    found = found_of(trial, coupons, loads)
    record = Record(tuple(coupons), len(coupons), sealed="sealed")
    return Context(trial, record, True, 2, look_at(trial, record)), found


@pytest.mark.parametrize(("own", "same", "statements", "words"), CODED)
def test_only_what_both_show_survives(
    judged: tuple[Context, ResponseFindings], own: VerdictCode, same: VerdictCode,
    statements: tuple[str, ...], words: str,
) -> None:  # fmt: skip
    context, found = judged
    pair = [
        replace(one, verdict=replace(one.verdict, code=code, strength="shown"))
        for one, code in zip(found.comparisons, (own, same), strict=True)
    ]
    said = survives(context, context.trial.deciding, pair)
    assert said is not None
    assert said.statements == statements
    lead = "Survives both readings of fair. Shown: " if statements else ""
    assert said.words == lead + words
    assert said.strength == ("shown" if statements else None)


def test_the_weaker_of_two_verdicts_leads(judged: tuple[Context, ResponseFindings]) -> None:
    context, found = judged
    own, same = (
        replace(one, verdict=replace(one.verdict, code="not_worse", strength=firm))
        for one, firm in zip(found.comparisons, ("shown", "suggests"), strict=True)
    )
    said = survives(context, context.trial.deciding, [own, same])
    assert said is not None
    assert said.strength == "suggests"
    pilot = replace(context, trial=replace(context.trial, purpose="pilot"))
    assert survives(pilot, context.trial.deciding, [own, same]) is None
    assert survives(context, context.trial.deciding, [replace(own, reading="")]) is None


@pytest.mark.parametrize("margin", [Margin(5.0), Margin(0.06, percent=True)])
def test_many_trials_are_judged_as_each_alone(margin: Margin) -> None:
    trial = trial_of(hard=True, margin=margin)
    coupons = coupons_of(trial, each=2, rounds=5)
    rng = np.random.default_rng(11)
    ys = truth(coupons, -3.0, -6.0)[:, None] + rng.normal(0, 3, (len(coupons), 12))
    ys += rng.normal(0, 2, (11, 12))[[c.setup or 0 for c in coupons]]
    terms = trial_terms(trial.varied, "two-factor")
    blanks = blank_observations(trial.varied, coupons)
    gas = trial.factor("gas")
    for at in readings_of(trial):
        question = Question(trial.varied, terms, trial.deciding, gas, "co2", "mix", at=at)
        many = judge_many(question, frame_of(question, blanks), ys)
        for k in range(ys.shape[1]):
            fit = question.fit([replace(o, value=y, ends=None) for o, y in
                                zip(blanks, ys[:, k], strict=True)])  # fmt: skip
            answered = question.answer(fit)
            assert answered is not None
            assert CODES[many.places[k]] == answered[1]
            alone = answered[0].difference
            assert many.estimate[k] == pytest.approx(alone.estimate, rel=1e-9)
            assert many.se[k] == pytest.approx(alone.se, rel=1e-7)
