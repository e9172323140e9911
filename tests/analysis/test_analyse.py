"""Analysis of whole trials with a known truth: every verdict, every check, the numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from weldtrial.analysis.afterwards import look_afterwards
from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.findings import Comparison, Findings, ResponseFindings
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEnough, Problem, ProblemsFound, WrongUsage
from weldtrial.shared.record import Correction, Reading, Record
from weldtrial.shared.responses import Margin
from weldtrial.shared.trial import Claim, Design, Trial

Bench = Callable[..., Record]


def only(findings: Findings) -> tuple[ResponseFindings, Comparison]:
    (response,) = findings.responses
    (comparison,) = response.comparisons
    return response, comparison


def with_response(trial: Trial, **changes: object) -> Trial:
    return replace(trial, responses=(replace(trial.responses[0], **changes),))


def test_balanced_set_ups_equal_the_analysis_of_round_gaps(trial: Trial, bench: Bench) -> None:
    """With the variance free, Kenward-Roger is the paired t test on round gaps (balanced)."""
    record = bench(trial, seed=11)
    response, comparison = only(analyse(trial, record))
    means: dict[tuple[int, str], list[float]] = {}
    for coupon in record.coupons:
        key = (coupon.round or 0, coupon.levels["gas"])
        means.setdefault(key, []).append(coupon.readings["break_load"][0].value or 0.0)
    gaps = [np.mean(means[k, "co2"]) - np.mean(means[k, "mix"]) for k in range(1, 7)]
    paired = stats.ttest_1samp(gaps, 0.0)
    assert comparison.difference == pytest.approx(np.mean(gaps), rel=1e-9)
    assert comparison.df == pytest.approx(5, rel=1e-6)
    assert comparison.p == pytest.approx(paired.pvalue, rel=1e-6)
    assert list(response.round_gaps.values()) == pytest.approx(gaps, rel=1e-9)


def test_shuffled_coupons_equal_statsmodels(trial: Trial, bench: Bench) -> None:
    gas = replace(trial.factors[0], hard_to_change=False)
    easy = replace(
        trial, factors=(gas, *trial.factors[1:]), design=Design(replicates=6, model="main")
    )
    record = bench(easy, seed=5, rounds=3)
    response, comparison = only(analyse(easy, record))
    x = [[1.0, 1.0 if c.levels["gas"] == "mix" else -1.0, 1.0 if c.levels["travel"] == "high" else
          -1.0] for c in record.coupons]  # fmt: skip
    y = [c.readings["break_load"][0].value for c in record.coupons]
    reference = sm.OLS(y, x).fit()
    assert response.method == "least-squares"
    assert comparison.difference == pytest.approx(-2 * reference.params[1], rel=1e-9)
    assert comparison.p == pytest.approx(reference.pvalues[1], rel=1e-9)
    assert response.r_squared == pytest.approx(reference.rsquared, rel=1e-9)
    assert response.lack_of_fit.df_num == 1


def test_effects_are_twice_coefficients_and_gas_is_first_minus_last(
    trial: Trial, bench: Bench
) -> None:
    response, comparison = only(analyse(trial, bench(trial, seed=2)))
    effects = {row.term: row.estimate for row in response.effects}
    coefficients = {row.term: row.estimate for row in response.coefficients}
    assert effects["gas"] == pytest.approx(-(comparison.difference or 0))
    assert effects["travel"] == pytest.approx(2 * (coefficients["travel"] or 0))
    assert list(coefficients) == ["Intercept", "gas=mix", "travel", "gas=mix:travel"]
    means = {(row.factor, row.level): row.mean for row in response.means}
    assert means["gas", "co2"] - means["gas", "mix"] == pytest.approx(comparison.difference)


@pytest.mark.parametrize(
    ("gap", "ask", "code"),
    [
        (-15.0, "no-worse", "worse_beyond_margin"),
        (-5.0, "no-worse", "worse_margin_unsettled"),
        (15.0, "no-worse", "better_beyond_margin"),
        (5.0, "no-worse", "better_margin_unsettled"),
        (0.0, "no-worse", "not_worse"),
        (0.0, "equal-enough", "equivalent"),
    ],
)
def test_truth_leads_to_verdict(
    trial: Trial, bench: Bench, gap: float, ask: str, code: str
) -> None:
    asked = with_response(trial, ask=ask)
    quiet = bench(asked, gap=gap, seed=8, sd_setup=0.8, sd_coupon=2.0)
    _, comparison = only(analyse(asked, quiet))
    assert comparison.verdict.code == code
    assert comparison.verdict.strength == "shown"
    assert comparison.verdict.words.startswith("Shown: co2 is ")


@pytest.mark.parametrize(
    ("gap", "code"), [(-2, "worse_within_margin"), (2, "better_within_margin")]
)
def test_small_but_clear_change_is_inside_the_margin(
    trial: Trial, bench: Bench, gap: float, code: str
) -> None:
    record = bench(trial, gap=gap, seed=8, sd_setup=0.3, sd_coupon=0.6)
    assert only(analyse(trial, record))[1].verdict.code == code


def test_scatter_too_large_is_not_settled_and_says_what_would_settle(
    trial: Trial, bench: Bench
) -> None:
    _, comparison = only(analyse(trial, bench(trial, seed=3, sd_setup=6.0, sd_coupon=9.0)))
    verdict = comparison.verdict
    assert (verdict.code, verdict.strength) == ("not_settled", None)
    assert "not evidence that they are alike" in " ".join(verdict.lines)
    assert "set-ups of each" in " ".join(verdict.lines)


def test_no_margin_shows_a_difference_and_asks_for_one(trial: Trial, bench: Bench) -> None:
    bare = with_response(trial, margin=None, ask="difference")
    _, comparison = only(analyse(bare, bench(bare, gap=-12.0, seed=4)))
    assert comparison.verdict.code == "difference_shown"
    assert "No margin was set" in " ".join(comparison.verdict.lines)


def test_one_set_up_a_gas_cannot_tell_and_prints_no_p(trial: Trial, bench: Bench) -> None:
    pilot = replace(trial, design=Design(rounds=1, set_ups=2))
    _, comparison = only(analyse(pilot, bench(pilot, rounds=1, replicates=4, seed=1)))
    assert comparison.verdict.code == "cannot_tell"
    assert comparison.verdict.words == "Cannot tell: gas was never welded apart from set-up."
    assert comparison.p is None
    assert comparison.ci_low is None


def test_gas_tied_to_round_cannot_tell(trial: Trial, bench: Bench) -> None:
    record = bench(trial, seed=1)
    tied = tuple(
        replace(c, levels={**c.levels, "gas": "mix" if (c.round or 0) <= 3 else "co2"})
        for c in record.coupons
    )
    _, comparison = only(analyse(trial, replace(record, coupons=tied)))
    assert comparison.verdict.code == "cannot_tell"
    assert "apart from round" in comparison.verdict.words


def test_pilot_has_no_verdict(trial: Trial, bench: Bench) -> None:
    pilot = replace(trial, purpose="pilot")
    _, comparison = only(analyse(pilot, bench(pilot, gap=-20.0)))
    assert comparison.verdict.code is None
    assert comparison.verdict.words.startswith("Pilot: no verdict.")


def test_lower_is_better_flips_the_verdict_and_keeps_the_raw_difference(
    trial: Trial, bench: Bench
) -> None:
    spatter = with_response(trial, better="lower")
    _, comparison = only(analyse(spatter, bench(spatter, gap=15.0, seed=8)))
    assert comparison.difference == pytest.approx(15.0, abs=6.0)
    assert comparison.verdict.code == "worse_beyond_margin"


def test_percent_margin_pays_for_the_reference_mean(trial: Trial, bench: Bench) -> None:
    """The margin contrast is mean(co2) - 0.94 mean(mix): checked from means and covariance."""
    percent = with_response(trial, margin=Margin(0.06, percent=True))
    record = bench(percent, seed=8, sd_setup=0.8, sd_coupon=2.0)
    _, comparison = only(analyse(percent, record))
    assert comparison.margin == pytest.approx(0.06 * 80, rel=0.05)
    assert comparison.margin_percent == pytest.approx(6.0)
    assert comparison.verdict.code == "not_worse"
    assert "by more than 6 %" in comparison.verdict.words


def test_odd_coupon_on_which_the_answer_turns_is_named(trial: Trial, bench: Bench) -> None:
    def spoil(stamp: str, value: float, run: int) -> float:
        return value - 40 if run == 1 else value

    seeds = [s for s in range(40) if bench(trial, seed=s).coupons[0].levels["gas"] == "co2"]
    codes = []
    for seed in seeds:
        record = bench(trial, seed=seed, sd_setup=0.5, sd_coupon=1.5, change=spoil)
        response, comparison = only(analyse(trial, record))
        assert any(c.name == "odd coupon" and c.passed is False for c in response.checks)
        codes.append(comparison.verdict.code)
        if comparison.verdict.code == "depends_on":
            assert "coupon X001" in comparison.verdict.words
            assert "Without coupon X001" in " ".join(comparison.verdict.lines)
            assert comparison.verdict.strength is None
    assert "depends_on" in codes


def test_drift_is_found_and_answered_with_it_taken_out(trial: Trial, bench: Bench) -> None:
    record = bench(trial, seed=6, change=lambda stamp, value, run: value + 0.6 * run)
    shuffled = replace(trial, design=Design(rounds=6, set_ups=12))
    response, _ = only(analyse(shuffled, record))
    # rounds take up most of a straight drift; what is left lives inside set-ups
    names = {check.name: check.passed for check in response.checks}
    assert "drift" in names


def test_corrections_after_opening_that_turn_the_answer(trial: Trial, bench: Bench) -> None:
    record = bench(trial, seed=8, gap=-2.0, sd_setup=0.8, sd_coupon=1.5)
    flattered = []
    for coupon in record.coupons:
        reading = coupon.readings["break_load"][0]
        if coupon.levels["gas"] == "co2":
            better = Reading("number", value=(reading.value or 0) + 12, corrected=True,
                             first=reading)  # fmt: skip
            coupon = replace(coupon, readings={"break_load": (better,)})
        flattered.append(coupon)
    line = Correction("", "", "", "X001", "reading", "1", "2", "typing", True, "")
    late = replace(record, coupons=tuple(flattered), corrections=(line,))
    response, comparison = only(analyse(trial, late))
    assert comparison.verdict.code == "depends_on"
    assert "corrections made after the codes were open" in comparison.verdict.words
    assert any(way.name == "without corrections" for way in response.alternatives)


def test_a_limit_first_typed_and_corrected_is_looked_at_as_typed(
    trial: Trial, bench: Bench
) -> None:
    record = bench(trial, seed=8)
    one = record.coupons[0]
    limit = Reading("above", low=90.0, text=">90")
    mended = replace(one.readings["break_load"][0], corrected=True, first=limit)
    some = (replace(one, readings={"break_load": (mended,)}), *record.coupons[1:])
    response, _ = only(analyse(trial, replace(record, coupons=some)))
    assert response.n == 48
    assert any(way.name == "without corrections" for way in response.alternatives)


def test_lost_coupons_are_listed_and_widen_the_interval(trial: Trial, bench: Bench) -> None:
    whole = bench(trial, seed=9)
    lost = Reading("lost", text="lost", note="nozzle blocked")
    some = tuple(
        replace(c, readings={"break_load": (lost,)}) if c.run in (3, 17, 30) else c
        for c in whole.coupons
    )
    findings = analyse(trial, replace(whole, coupons=some))
    response, comparison = only(findings)
    assert [entry.why for entry in findings.set_aside] == ["nozzle blocked"] * 3
    assert response.n == 45
    assert findings.used == 45
    assert {f.level: f.tested["break_load"] - f.used["break_load"] for f in findings.flow}
    assert sum(f.used["break_load"] for f in findings.flow) == 45
    assert comparison.df is not None


def test_two_cuts_are_one_coupon_and_their_scatter_is_reported(trial: Trial, bench: Bench) -> None:
    record = bench(trial, seed=9)
    generator = np.random.default_rng(0)
    cuts = []
    for coupon in record.coupons:
        value = coupon.readings["break_load"][0].value or 0.0
        pair = tuple(
            Reading("number", value=value + e, text="") for e in generator.normal(0, 1.0, 2)
        )
        cuts.append(replace(coupon, readings={"break_load": pair}))
    response, _ = only(analyse(trial, replace(record, coupons=tuple(cuts))))
    assert response.n == 48
    assert response.variance.reading == pytest.approx(1.0, rel=0.5)
    before, _ = only(analyse(trial, record))
    assert response.variance.coupon == pytest.approx(before.variance.coupon, rel=0.3)


def test_preheat_is_compared_high_against_low(trial: Trial, bench: Bench) -> None:
    preheat = Factor("gas", "numeric", ("mix", "co2"), label="Preheat", unit="°C",
                     settings={"": (20.0, 120.0)}, hard_to_change=True)  # fmt: skip
    heated = replace(trial, factors=(preheat, trial.factors[2]))
    _, comparison = only(analyse(heated, bench(heated, gap=-15.0, seed=8)))
    assert (comparison.level, comparison.reference) == ("co2", "mix")
    assert comparison.verdict.words == "Shown: 120 °C is worse than 20 °C by more than 5 kN."


def test_problems_stop_the_analysis_and_nothing_read_is_said(trial: Trial, bench: Bench) -> None:
    record = bench(trial)
    with pytest.raises(ProblemsFound, match="row 9"):
        analyse(trial, replace(record, problems=(Problem("bad", file="x.csv", row=9),)))
    empty = replace(record, coupons=tuple(replace(c, readings={}) for c in record.coupons))
    with pytest.raises(NotEnough, match="Nothing to analyse: 0 of 48 coupons read"):
        analyse(trial, empty)


def test_claim_inside_and_outside_the_interval(trial: Trial, bench: Bench) -> None:
    claims = tuple(
        Claim("at 0.97 of the load", "break_load", "co2", "mix", value, source="a leaflet")
        for value in (0.97, 0.5)
    )
    asked = replace(trial, claims=claims)
    _, comparison = only(analyse(asked, bench(asked, gap=-2.0, seed=8)))
    inside, outside = comparison.claims
    assert not inside.contradicted
    assert inside.words.startswith("Does not contradict the claim of 0.97, nor confirm it")
    assert outside.contradicted


def test_naive_table_stands_beside(trial: Trial, bench: Bench) -> None:
    response, comparison = only(analyse(trial, bench(trial, seed=3, sd_setup=6.0)))
    assert response.least_squares is not None
    naive, heaps = response.least_squares.comparisons
    values = {c.stamp: c.value for c in response.coupons}
    sides = {g: [values[c.stamp] for c in response.coupons if c.levels["gas"] == g]
             for g in ("co2", "mix")}  # fmt: skip
    assert heaps.p == pytest.approx(stats.ttest_ind(sides["co2"], sides["mix"]).pvalue, rel=1e-9)
    assert naive.df > (comparison.df or 0)
    assert naive.ci_high - naive.ci_low < (comparison.ci_high or 0) - (comparison.ci_low or 0)


def test_unequal_set_ups_are_also_compared_by_their_means(trial: Trial, bench: Bench) -> None:
    """Beside Kenward-Roger stands the paired t test on set-up means (scipy), balanced rounds."""
    main = replace(trial, design=Design(rounds=6, set_ups=12, model="main"))
    gas_only = replace(main, factors=main.factors[:2])
    whole = bench(gas_only, seed=9, replicates=4)
    some = replace(whole, coupons=tuple(c for c in whole.coupons if c.run not in (3, 17, 30)))
    response, _ = only(analyse(gas_only, some))
    means = {a.name: a for a in response.alternatives}["set-up means"]
    cells: dict[tuple[int, str], list[float]] = {}
    for coupon in response.coupons:
        cells.setdefault((coupon.round or 0, coupon.levels["gas"]), []).append(coupon.value)
    gaps = [np.mean(cells[k, "co2"]) - np.mean(cells[k, "mix"]) for k in range(1, 7)]
    assert means.difference == pytest.approx(np.mean(gaps), rel=1e-9)
    assert means.p == pytest.approx(stats.ttest_1samp(gaps, 0).pvalue, rel=1e-9)


def test_looking_afterwards_is_never_more_than_a_hint(trial: Trial, bench: Bench) -> None:
    record = bench(trial, seed=2)
    throats = tuple(
        replace(c, measured={"throat_mm": 4.0 - 0.5 * (c.levels["gas"] == "co2") + 0.01 * k})
        for k, c in enumerate(record.coupons)
    )
    found = look_afterwards(trial, replace(record, coupons=throats), "throat_mm")
    assert found.words.startswith("Hint: throat_mm is lower with co2.")
    with pytest.raises(WrongUsage, match="Nothing called 'throat'"):
        look_afterwards(trial, record, "throat")
    with pytest.raises(NotEnough, match="0 coupons have amps written down"):
        look_afterwards(trial, record, "amps")


def test_codes_closed_tell_nothing_of_the_gas(trial: Trial, bench: Bench) -> None:
    findings = analyse(trial, bench(trial, gap=-20.0), codes_open=False)
    assert findings.responses == ()
    assert findings.flow == ()
    words = " ".join(w for lines in findings.spreads.values() for w in lines)
    assert "mix" not in words
    assert "co2" not in words
    assert "48 of 48 coupons read" in words


def test_same_record_gives_the_same_findings(trial: Trial, bench: Bench) -> None:
    record = bench(trial, seed=5)
    assert analyse(trial, record) == analyse(trial, record)
