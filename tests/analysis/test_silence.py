"""What must not be said: Shown on few rounds, verdicts of a pilot, answers that do not exist."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.findings import Comparison, Findings, ResponseFindings
from weldtrial.analysis.power import power_no_worse
from weldtrial.cli.report_checks import what_would_change_it
from weldtrial.cli.report_methods import methods
from weldtrial.shared.factors import Factor
from weldtrial.shared.record import Reading, Record
from weldtrial.shared.responses import Margin
from weldtrial.shared.trial import Claim, Design, Trial

Bench = Callable[..., Record]
LOST = {"break_load": (Reading("lost", text="lost", note="scrapped"),)}


def only(findings: Findings) -> tuple[ResponseFindings, Comparison]:
    (response,) = findings.responses
    return response, response.comparisons[0]


def losing(record: Record, setups: set[int]) -> Record:
    """Every reading of these set-ups is lost, though the coupons were welded."""
    gone = (replace(c, readings=LOST) if c.setup in setups else c for c in record.coupons)
    return replace(record, coupons=tuple(gone))


def setups_of(record: Record, gas: str) -> list[int]:
    return sorted({c.setup or 0 for c in record.coupons if c.levels["gas"] == gas})


@pytest.mark.parametrize(
    ("rounds", "lost", "strength"),
    [(4, [], "shown"), (4, ["mix"], "suggests"), (5, ["mix"], "shown"),
     (5, ["mix", "co2"], "suggests"), (6, ["mix", "co2"], "shown")],
)  # fmt: skip
def test_shown_needs_four_rounds_in_which_both_levels_were_read(
    trial: Trial, bench: Bench, rounds: int, lost: list[str], strength: str
) -> None:
    """A round with one level left tells nothing of the change, as rounds are fixed."""
    record = bench(trial, rounds=rounds, gap=-25.0, seed=8)
    gone = {setups_of(record, gas)[k] for k, gas in enumerate(lost)}
    _, comparison = only(analyse(trial, losing(record, gone)))
    assert comparison.verdict.strength == strength


def test_an_easy_category_is_counted_in_coupons(trial: Trial, bench: Bench) -> None:
    """Two set-ups a gas are few; sixteen coupons a brand of wire, welded side by side, are not."""
    wire = Factor("wire", "category", ("A", "B"))
    both = replace(trial, factors=(*trial.factors, wire), design=Design(rounds=2, set_ups=4))
    response, gas = only(analyse(both, bench(both, rounds=2, gap=-60.0, seed=3, sd_setup=0.3)))
    assert gas.verdict.strength == "suggests"
    assert response.comparisons[1].factor == "wire"
    shifted = bench(both, rounds=2, seed=3)
    coupons = tuple(
        replace(c, readings={"break_load": (Reading("number", value=60.0 + (c.run or 0) % 3),)})
        if c.levels["wire"] == "B"
        else c
        for c in shifted.coupons
    )
    response, _ = only(analyse(both, replace(shifted, coupons=coupons)))
    assert response.comparisons[1].verdict.strength == "shown"


def test_a_pilot_says_nothing_by_a_back_door(trial: Trial, bench: Bench) -> None:
    claim = Claim("half the load", "break_load", "co2", "mix", 0.5)
    pilot = replace(trial, purpose="pilot", claims=(claim,))
    findings = analyse(pilot, bench(pilot, gap=-20.0))
    response, comparison = only(findings)
    assert response.alternatives
    assert {way.code for way in response.alternatives} == {None}
    assert response.least_squares is not None
    assert {way.code for way in response.least_squares.comparisons} == {None}
    assert comparison.claims == ()
    assert what_would_change_it(findings) == ()


def test_a_pilot_of_one_set_up_a_gas_has_no_code_either(trial: Trial, bench: Bench) -> None:
    pilot = replace(trial, purpose="pilot", design=Design(rounds=1, set_ups=2))
    _, comparison = only(analyse(pilot, bench(pilot, rounds=1, replicates=4)))
    assert comparison.verdict.code is None
    assert comparison.verdict.words.startswith("Pilot: no verdict.")
    assert comparison.verdict.lines[0].startswith("Cannot tell")


def test_what_cannot_be_told_is_not_told_by_the_wrong_analysis(trial: Trial, bench: Bench) -> None:
    """One set-up a gas: no interval and no p of the gas, under any name; averages are listed."""
    single = replace(trial, design=Design(rounds=1, set_ups=2))
    record = bench(single, rounds=1, replicates=4, gap=-30.0)
    findings = analyse(single, record)
    response, comparison = only(findings)
    assert comparison.verdict.code == "cannot_tell"
    assert response.alternatives == ()
    assert response.least_squares is not None
    assert response.least_squares.comparisons == ()
    assert "gas" not in {test.term for test in response.least_squares.tests}
    assert "travel" in {test.term for test in response.least_squares.tests}
    values = [c.readings["break_load"][0].value or 0 for c in record.coupons]
    mix = [v for v, c in zip(values, record.coupons, strict=True) if c.levels["gas"] == "mix"]
    assert f"mix {sum(mix) / len(mix):.1f} kN ({len(mix)} coupons)" in comparison.verdict.lines[0]
    assert what_would_change_it(findings) == comparison.verdict.lines[-1:]


def test_forgetting_the_set_ups_changes_no_answer(trial: Trial, bench: Bench) -> None:
    """Seeds where only the naive analysis reads otherwise: page 1 does not list it."""
    for seed in range(40):
        findings = analyse(trial, bench(trial, seed=seed, sd_setup=5.0))
        assert "its own bottle change" not in " ".join(what_would_change_it(findings))


def test_what_would_settle_an_easy_category_is_counted_in_coupons(
    trial: Trial, bench: Bench
) -> None:
    wire = Factor("wire", "category", ("A", "B"))
    loud = replace(
        trial,
        factors=(*trial.factors, wire),
        design=Design(rounds=2, set_ups=4),
        responses=(replace(trial.responses[0], margin=Margin(2.0)),),
    )
    response, _ = only(analyse(loud, bench(loud, rounds=2, seed=3, sd_coupon=9.0)))
    words = " ".join(response.comparisons[1].verdict.lines)
    assert response.comparisons[1].verdict.code == "not_settled"
    assert "coupons of each would settle it" in words
    assert "set-ups of each" not in words


def test_what_would_settle_a_percent_margin_pays_for_the_reference_mean(
    trial: Trial, bench: Bench
) -> None:
    """mean(co2) - 1.3 mean(mix), lower being better, scatters 16 % more than the difference."""
    percent = Margin(0.3, percent=True)
    lower = replace(trial, responses=(replace(trial.responses[0], margin=percent, better="lower"),))
    found = next(
        found
        for seed in range(20)
        for _, found in [only(analyse(lower, bench(lower, seed=seed, sd_setup=32.0)))]
        if found.verdict.code == "not_settled"
    )
    (words,) = (w for w in found.verdict.lines if "would settle it" in w)
    number = int(words.split("about ")[1].split(" ")[0])
    se = (found.se or 0.0) * ((1 + 1.3**2) / 2) ** 0.5
    chances = [
        power_no_worse(found.margin or 0.0, se * (6 / k) ** 0.5, k - 1)
        for k in (number - 1, number)
    ]
    assert chances[0] < 0.8 <= chances[1]


def test_no_shuffle_test_where_a_round_was_lost(trial: Trial, bench: Bench) -> None:
    """The order was one of 50 over six rounds; five rounds are not a draw of their own."""
    record = bench(trial, seed=4)
    whole, _ = only(analyse(trial, record))
    assert whole.shuffle_orders == 50
    some, _ = only(analyse(trial, losing(record, {3, 4})))
    assert some.shuffle_p is None


def test_a_sampled_shuffle_test_is_not_called_a_count(trial: Trial, bench: Bench) -> None:
    findings = analyse(trial, bench(trial, rounds=16, replicates=1))
    response, _ = only(findings)
    assert (response.shuffle_orders or 0) > 20_000
    (words,) = (
        block.words
        for block in methods(findings).blocks
        if getattr(block, "strong", "") == "Shuffle test: "
    )
    assert "too many to list" in words
    assert "Of 10000" in words


def test_timid_is_said_where_unequal_set_ups_widen_the_interval(trial: Trial, bench: Bench) -> None:
    """Six rounds, most coupons of four set-ups lost; the likelihood is nowhere near its bound."""
    warned = near = 0
    for seed in range(30):
        record = bench(trial, seed=seed, sd_setup=0.0)
        kept, seen = [], dict[int, int]()
        for coupon in record.coupons:
            seen[coupon.setup or 0] = seen.get(coupon.setup or 0, 0) + 1
            heavy = coupon.setup in (2, 4, 7, 12) and seen[coupon.setup or 0] > 1
            kept.append(replace(coupon, readings=LOST) if heavy else coupon)
        response, _ = only(analyse(trial, replace(record, coupons=tuple(kept))))
        codes = {note.code for note in response.warnings}
        warned += "timid" in codes
        near += "set_ups_agree" in codes
        whole, _ = only(analyse(trial, record))
        assert "timid" not in {note.code for note in whole.warnings}
    assert warned >= 8
    assert warned > near


def test_the_hard_category_is_compared_first_wherever_the_file_names_it(
    trial: Trial, bench: Bench
) -> None:
    """Page 1, round gaps and shuffle test are about what the set-ups were planned for."""
    wire = Factor("wire", "category", ("A", "B"))
    both = replace(trial, factors=(wire, *trial.factors))
    response, comparison = only(analyse(both, bench(both, replicates=1)))
    assert comparison.factor == "gas"
    assert len(response.round_gaps) == 6
    assert response.shuffle_orders == 50


def test_coupons_are_not_called_set_ups_in_the_grade(trial: Trial, bench: Bench) -> None:
    """Only the gas, changed coupon by coupon, is compared here: its units are coupons."""
    preheat = Factor(
        "preheat", "numeric", ("low", "high"), unit="\N{DEGREE SIGN}C",
        settings={"": (20.0, 120.0)}, hard_to_change=True,
    )  # fmt: skip
    gas = replace(trial.factors[0], hard_to_change=False)
    factors = (preheat, gas, *trial.factors[1:])
    swapped = replace(trial, purpose="settings", factors=factors)
    record = bench(trial, replicates=4)
    coupons = tuple(
        replace(c, levels={**c.levels, "preheat": "low" if c.levels["gas"] == "mix" else "high",
                           "gas": "mix" if (c.run or 0) % 2 else "co2"})
        for c in record.coupons
    )  # fmt: skip
    found = analyse(swapped, replace(record, coupons=coupons)).grade
    assert "48 coupons a level" in found.why
    assert "set-ups" not in found.why
