"""Readings past the gauge, through the whole analysis: verdicts, ends without end, what is said."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import inf, isinf
from typing import Any

import numpy as np
import pytest

from weldtrial.analysis.analyse import analyse
from weldtrial.analysis.censored import fit_censored
from weldtrial.analysis.censored_profile import profile
from weldtrial.analysis.findings import ResponseFindings
from weldtrial.analysis.observations import averaged, observe
from weldtrial.analysis.question import Question
from weldtrial.analysis.undo import unbroken_words
from weldtrial.analysis.undo_records import Unbroken
from weldtrial.shared.readings import placed
from weldtrial.shared.record import Reading, Record
from weldtrial.shared.responses import Margin
from weldtrial.shared.trial import Trial

Bench = Callable[..., Record]


def capped(record: Record, most: float) -> Record:
    """Stop the press at `most`."""
    coupons = []
    for coupon in record.coupons:
        reading = coupon.readings["break_load"][0]
        if (reading.value or 0.0) > most:
            reading = Reading("above", low=most, text=f">{most:g}")
        coupons.append(replace(coupon, readings={"break_load": (reading,)}))
    return replace(record, coupons=tuple(coupons))


def found_of(trial: Trial, record: Record) -> ResponseFindings:
    return analyse(trial, record).responses[0]


def apart(trial: Trial) -> Trial:
    """The same question with every coupon set up anew and nothing else changed."""
    easy = tuple(replace(f, hard_to_change=False) for f in trial.factors if f.name == "gas")
    return replace(trial, factors=easy, design=replace(trial.design, rounds=None))


def test_a_limit_nobody_reached_changes_no_digit(trial: Trial, bench: Bench) -> None:
    record = bench(trial, seed=4, gap=-1.0)
    assert found_of(trial, capped(record, 500.0)) == found_of(trial, record)


def test_without_set_ups_it_is_the_profile_of_the_censored_fit(trial: Trial, bench: Bench) -> None:
    shuffled = apart(trial)
    record = capped(bench(shuffled, seed=6, gap=-2.0, rounds=8), 82.0)
    found = found_of(shuffled, record)
    assert found.method == "censored-normal"
    seen = observe(shuffled, record, shuffled.responses[0]).observations
    # Coded as nothing in the analysis is: an intercept and an indicator of co2.
    x = np.array([[1.0, float(o.levels["gas"] == "co2")] for o in seen])
    fit = fit_censored(x, [o.low for o in seen], [o.high for o in seen])
    straight = profile(fit, [0.0, 1.0])
    mine = found.comparisons[0]
    assert mine.difference == pytest.approx(straight.estimate, abs=1e-6)
    assert (mine.ci_low, mine.ci_high) == pytest.approx(straight.interval(0.95), abs=1e-5)
    assert (mine.ci90_low, mine.ci90_high) == pytest.approx(straight.interval(0.90), abs=1e-5)
    assert mine.p == pytest.approx(straight.p, abs=1e-6)


def test_the_limit_as_a_value_stands_beside_and_differs(trial: Trial, bench: Bench) -> None:
    found = found_of(trial, capped(bench(trial, seed=4, gap=-4.0), 80.0))
    way = next(w for w in found.alternatives if w.name == "limit taken as the value")
    difference = found.comparisons[0].difference
    assert difference is not None
    # Counting >80 as 80 shrinks a loss when the reference has more unbroken coupons.
    assert difference < way.difference < 0


def test_most_past_the_gauge_compares_how_many(trial: Trial, bench: Bench) -> None:
    found = found_of(trial, capped(bench(trial, seed=4, gap=-1.5), 76.0))
    verdict = found.comparisons[0].verdict
    assert (verdict.code, verdict.strength) == ("at_limit", None)
    assert verdict.words.startswith("At the limit: ")
    assert "past the gauge limit, 76 kN" in verdict.words
    assert "set-up by set-up" in verdict.lines[0]


@pytest.mark.parametrize("hard", [True, False])
def test_all_past_the_gauge_is_said_plainly(trial: Trial, bench: Bench, hard: bool) -> None:
    asked = trial if hard else apart(trial)
    found = found_of(asked, capped(bench(asked, seed=4), 20.0))
    comparison = found.comparisons[0]
    assert comparison.verdict.code == "at_limit"
    assert comparison.difference is None
    assert found.means == ()
    assert all(one.beyond == "above" for one in found.coupons)


def test_averages_mostly_past_the_gauge_are_not_said_to_be_comparable(
    trial: Trial, bench: Bench
) -> None:
    narrow = replace(trial.responses[0], margin=Margin(1.0))
    shuffled = replace(apart(trial), responses=(narrow,))
    found = found_of(shuffled, capped(bench(shuffled, seed=4, rounds=8, sd_coupon=8.0), 78.0))
    comparison = found.comparisons[0]
    assert comparison.verdict.code == "at_limit"
    assert comparison.difference is not None
    assert "settle nothing" in comparison.verdict.lines[-1]
    assert "cannot be compared" not in " ".join(comparison.verdict.lines)


def test_a_level_wholly_past_the_gauge_has_one_end(trial: Trial, bench: Bench) -> None:
    shuffled = apart(trial)
    record = bench(shuffled, seed=3, gap=-30.0, rounds=8, sd_coupon=3.0, sd_setup=0.0)
    found = found_of(shuffled, capped(record, 70.0))
    mine = found.comparisons[0]
    assert mine.difference == -inf
    assert mine.ci_low == -inf
    assert mine.ci_high is not None
    assert -30 < mine.ci_high < -5
    assert mine.verdict.code == "worse_beyond_margin"
    assert "no figure, as one of them went wholly past the gauge" in mine.verdict.lines[0]
    assert "kN or less (32 coupons" in mine.verdict.lines[0]
    assert "\N{INFINITY}" not in " ".join(mine.verdict.lines)
    mix = next(row for row in found.means if row.level == "mix")
    assert isinf(mix.ci_high)
    assert not isinf(mix.ci_low)


def test_a_coupon_that_broke_in_the_plate_held_at_least_that(trial: Trial, bench: Bench) -> None:
    record = bench(trial, seed=5)
    reading = Reading("number", value=85.0, text="85", failed_at="plate")
    first = replace(record.coupons[0], readings={"break_load": (reading,)})
    record = replace(record, coupons=(first, *record.coupons[1:]))
    seen = observe(trial, record, trial.responses[0]).observations[0]
    assert (seen.low, seen.high, seen.value) == (85.0, inf, 85.0)
    assert found_of(trial, record).method == "censored-normal by set-ups"


def test_a_failure_between_two_stops_lies_between_them(trial: Trial, bench: Bench) -> None:
    record = bench(trial, seed=5)
    reading = Reading("between", low=80.0, high=90.0, text="80..90")
    first = replace(record.coupons[0], readings={"break_load": (reading,)})
    found = found_of(trial, replace(record, coupons=(first, *record.coupons[1:])))
    assert found.coupons[0].beyond == "between"
    assert found.coupons[0].value == 85.0


@pytest.mark.parametrize(
    ("spans", "expected"),
    [
        ([(84.0, 84.0), (86.0, 86.0)], (85.0, (84.0, 86.0), None)),
        ([(84.0, 84.0), (90.0, inf)], (87.0, (87.0,), (87.0, inf))),
        ([(80.0, 90.0)], (85.0, (85.0,), (80.0, 90.0))),
        ([(-inf, 0.2)], (0.2, (0.2,), (-inf, 0.2))),
    ],
)
def test_readings_of_one_coupon_have_their_ends_averaged(spans: Any, expected: Any) -> None:
    assert averaged(spans) == expected


def test_what_the_unbroken_coupons_would_have_had_to_hold(trial: Trial, bench: Bench) -> None:
    """The point is where the verdict flips, by putting the coupons there by hand."""
    record = capped(bench(trial, seed=4, replicates=2, gap=-1.5), 83.0)
    found = found_of(trial, record)
    assert found.undo is not None
    tip = next(one for one in found.undo.unbroken if one.level == "mix")
    assert tip.value is not None

    def at(value: float) -> str | None:
        coupons = []
        for coupon in record.coupons:
            reading = coupon.readings["break_load"][0]
            if reading.kind == "above":
                held = value if coupon.levels["gas"] == "mix" else 83.0
                reading = Reading("number", value=held, text=f"{held}")
            coupons.append(replace(coupon, readings={"break_load": (reading,)}))
        return found_of(trial, replace(record, coupons=tuple(coupons))).comparisons[0].verdict.code

    before = found.comparisons[0].verdict.code
    assert at(tip.value - 0.1) in (before, "depends_on")
    assert at(tip.value + 0.1) != before
    assert any(
        "83 kN" not in words and "had they all gone to" in words for words in found.undo.words
    )


def test_closed_codes_say_nothing_of_the_gas_past_the_gauge(trial: Trial, bench: Bench) -> None:
    record = capped(bench(trial, seed=4), 83.0)
    closed = analyse(trial, record, codes_open=False)
    assert closed.responses == ()
    assert not any("mix" in words or "co2" in words for words in closed.spreads["break_load"])


def test_gaps_of_rounds_are_not_drawn_past_the_gauge(trial: Trial, bench: Bench) -> None:
    record = bench(trial, seed=4, gap=-1.5)
    assert len(found_of(trial, record).round_gaps) == 6
    assert found_of(trial, capped(record, 83.0)).round_gaps == {}


@pytest.mark.parametrize(
    ("far", "words"),
    [
        (
            (102.4, None),
            "The coupons past the gauge limit would change the answer had they all gone to 102 kN "
            "(the 3 of mix), with those of the other failing just at the limit; the 1 of co2 could "
            "not, however far.",
        ),
        (
            (None, None),
            "The coupons past a limit could not have changed the answer, however far they would "
            "have gone.",
        ),
    ],
)
def test_how_far_they_would_have_had_to_go_is_one_sentence(
    trial: Trial, far: tuple[float | None, float | None], words: str
) -> None:
    first, other = (
        Unbroken(level, coupons, value, None)
        for level, coupons, value in zip(("mix", "co2"), (3, 1), far, strict=True)
    )
    response = trial.responses[0]
    question = Question(trial.varied, (), response, trial.varied[0], "co2")
    assert unbroken_words(question, (first, other)) == (words,)
    assert unbroken_words(question, ()) == ()


def test_counted_as_the_limit_they_change_it_at_once(trial: Trial) -> None:
    response = replace(trial.responses[0], reads_to=0.1)
    question = Question(trial.varied, (), response, trial.varied[0], "co2")
    at_once = [Unbroken(level, 3, 90.0, "not_worse", at_once=True) for level in ("mix", "co2")]
    assert unbroken_words(question, at_once) == (
        "The answer rests on how far the coupons past a limit would have gone: had each of them "
        "failed just there, it would be another.",
    )


def test_no_coupon_is_imagined_below_nothing(trial: Trial, bench: Bench) -> None:
    """A press that reads nothing below 70 kN; no load is negative, however the answer stands."""
    record = bench(trial, seed=4, replicates=2, gap=4.0)
    coupons = []
    for coupon in record.coupons:
        reading = coupon.readings["break_load"][0]
        value = (reading.value or 0.0) - 78.0
        reading = Reading("number", value=value, text=f"{value}")
        if value < 0.2:
            reading = Reading("below", high=0.2, text="<0.2")
        coupons.append(replace(coupon, readings={"break_load": (reading,)}))
    found = found_of(trial, replace(record, coupons=tuple(coupons)))
    assert found.undo is not None
    assert found.undo.unbroken
    assert all(one.value is None or one.value >= 0 for one in found.undo.unbroken)


def test_one_level_wholly_past_the_gauge_in_every_round_is_dealt_again(
    trial: Trial, bench: Bench
) -> None:
    """Every mix outlasts the press, no co2 does: 2 of 50 orders would say so."""
    found = found_of(trial, capped(bench(trial, seed=4, gap=-30.0), 66.0))
    mine = found.comparisons[0]
    assert mine.verdict.code == "at_limit"
    assert "(mix) and 0 of " in mine.verdict.words
    assert "dealing the gases to the set-ups again" in mine.verdict.lines[0]
    assert "seldom gives so large a gap" in mine.verdict.lines[0]
    # No set-up is left over to show how set-ups differ, so no figure is given for it.
    assert found.variance.setup is None


def test_where_plates_broke_nothing_is_said_to_have_gone_past_the_gauge(
    trial: Trial, bench: Bench
) -> None:
    """The press reads to 150 kN and was never passed: plates broke at what each of them held."""
    response = replace(trial.responses[0], most=150.0)
    asked = replace(trial, responses=(response,))
    record = bench(asked, seed=4, replicates=2, gap=-1.5)
    coupons = []
    for place, coupon in enumerate(record.coupons):
        reading = coupon.readings["break_load"][0]
        if place % 3 == 0:
            reading = placed(reading, "plate")
        coupons.append(replace(coupon, readings={"break_load": (reading,)}))
    found = found_of(asked, replace(record, coupons=tuple(coupons)))
    said = " ".join(found.comparisons[0].verdict.lines)
    assert "of them known to a limit only" in said
    assert found.undo is not None
    assert "past the gauge limit" not in said + " ".join(found.undo.words)
