"""What raw figures show by themselves: ties in words, chances against scipy, answers, no blame."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis import suspicion_values as values
from weldtrial.analysis.evidence_grade import grade_evidence
from weldtrial.analysis.review_answers import (
    answers_of_rows,
    cannot_tell_from,
    faults_of_rows,
)
from weldtrial.analysis.suspicion_ties import (
    one_setup_each,
    redeal,
    tied_to_label,
    tied_to_number,
    units_of,
)
from weldtrial.analysis.suspicions import find_suspicions
from weldtrial.shared.answers import Answer
from weldtrial.shared.review_data import ReviewRow

ACCUSING = re.compile(
    r"\b(fake|fraud|cheat|invented|made up|forged|manipulat|lie[sd]?|liar|dishonest|suspicious)",
    re.IGNORECASE,
)


def rows_of(values_: list[float], sides: str, **columns: list[object]) -> list[ReviewRow]:
    """Rows of sides ``a`` and ``b``, with columns given one entry a row."""
    rows = [
        ReviewRow(n + 2, n + 1, value, f"{value:.1f}", side)
        for n, (value, side) in enumerate(zip(values_, sides, strict=True))
    ]
    for name, column in columns.items():
        rows = [replace(row, **{name: one}) for row, one in zip(rows, column, strict=True)]
    return rows


def loads(n: int, seed: int = 1) -> list[float]:
    return [round(float(v), 1) for v in np.random.default_rng(seed).normal(80, 4, n)]


def test_a_day_of_its_own_cannot_be_told_from_the_side() -> None:
    rows = rows_of(loads(8), "aabbaabb", day=["1", "1", "2", "2"] * 2)
    units = units_of(rows)
    found = tied_to_label("day", [row.day for row in rows], units, redeal(units, 1), 0.01)
    assert found is not None
    assert found.strength == "tied"
    assert found.words.startswith(
        "every day holds one side only (a on 1; b on 2): nobody can tell the side from the day."
    )


def test_days_that_hold_both_sides_are_no_tie() -> None:
    rows = rows_of(loads(8), "abababab", day=["1"] * 4 + ["2"] * 4)
    units = units_of(rows)
    assert tied_to_label("day", [r.day for r in rows], units, redeal(units, 1), 0.05) is None


def test_the_chance_of_an_order_is_that_of_all_deals() -> None:
    """Against every deal of 4 and 4, listed: the rank sum test of Mann and Whitney (scipy)."""
    order = [1.0, 2.0, 3.0, 5.0, 4.0, 6.0, 7.0, 8.0]
    rows = rows_of(loads(8), "aaaabbbb", order=list(order))
    units = units_of(rows)
    found = tied_to_number("order", order, units, redeal(units, 3), 1.0)
    assert found is not None
    exact = stats.mannwhitneyu(order[:4], order[4:], method="exact").pvalue
    drawn = 4 * np.sqrt(exact * (1 - exact) / 4999)
    assert found.values["p"] == pytest.approx(exact, abs=drawn)


def test_one_side_whole_before_the_other_is_a_tie_unless_the_trial_is_tiny() -> None:
    rows = rows_of(loads(8), "aaaabbbb", order=[float(n) for n in range(8)])
    units = units_of(rows)
    found = tied_to_number("order", [r.order for r in rows], units, redeal(units, 1), 0.01)
    assert found is not None
    assert found.strength == "tied"
    assert found.values["by_chance"] == pytest.approx(2 / 70)
    tiny = units_of(rows[2:6])
    found = tied_to_number("order", [1.0, 2.0, 3.0, 4.0], tiny, redeal(tiny, 1), 0.01)
    assert found is not None
    assert (found.strength, found.asks) == ("know", False)
    assert found.values["by_chance"] == pytest.approx(2 / 6)
    assert len({tuple(p) for p in permutations("aabb")}) == 6


def test_a_setting_of_its_own_for_each_side_is_named_with_its_values() -> None:
    volts = [{"volts": 25.5 if side == "a" else 27.0} for side in "abababab"]
    rows = rows_of(loads(8), "abababab", measures=list(volts))
    found = [one for one in find_suspicions(rows) if one.columns == ("volts",)]
    assert [one.strength for one in found] == ["tied"]
    assert "a 25.5, b 27" in found[0].words
    assert "meant so" in found[0].words
    said = {key: Answer("settings", key) for key in ("same", "own-rule", "differed")}
    assert [len(faults_of_rows(found, {"settings": said[key]})) for key in said] == [1, 0, 0]
    assert cannot_tell_from(found, {}) == ("volts",)
    assert cannot_tell_from(found, {"settings": said["own-rule"]}) == ()


def test_sides_are_dealt_to_whole_set_ups() -> None:
    """Six set-ups of three: coupons of one bottle are one draw, so 3 of 3 is 1 in 10, no less."""
    order = [float(n) for n in range(18)]
    setups = [f"B{n // 3}" for n in range(18)]
    rows = rows_of(loads(18), "a" * 9 + "b" * 9, order=list(order), setup=list(setups))
    units = units_of(rows)
    assert (units.count, units.by_setups) == (6, True)
    found = tied_to_number("order", order, units, redeal(units, 1), 0.05)
    assert found is not None
    assert found.strength == "know"
    assert found.values["by_chance"] == pytest.approx(2 / 20)


def test_a_side_that_was_set_up_once_is_told() -> None:
    setups = ["B1", "B1", "B1", "B2", "B3", "B4"]
    rows = rows_of(loads(6), "aaabbb", setup=list(setups))
    found = one_setup_each(units_of(rows), rows)
    assert found is not None
    assert found.words.startswith("a was set up once")


def test_drift_is_the_slope_of_a_covariance_analysis() -> None:
    """Against least squares with a mean for each side (numpy)."""
    rng = np.random.default_rng(2)
    side = np.array([0, 1] * 8)
    order = np.arange(16.0)
    load = 80 + side + 0.8 * order + rng.normal(0, 1, 16)
    rows = rows_of(list(load), "ab" * 8, order=list(order))
    found = values.drift(rows, units_of(rows), 0.05)
    assert found is not None
    matrix = np.column_stack([side == 0, side == 1, order]).astype(float)
    beta, left, *_ = np.linalg.lstsq(matrix, load, rcond=None)
    se = np.sqrt(left[0] / 13 * np.linalg.inv(matrix.T @ matrix)[2, 2])
    assert found.values["slope"] == pytest.approx(beta[2])
    assert found.values["p"] == pytest.approx(2 * stats.t.sf(abs(beta[2]) / se, 13))
    assert "rise in the order of welding" in found.words


def test_losses_are_compared_by_fishers_test() -> None:
    rows = rows_of(loads(24), "ab" * 12)
    gone = [replace(row, value=None) if row.group == "a" and n < 16 else row
            for n, row in enumerate(rows)]  # fmt: skip
    found = values.lopsided_losses(gone, 0.05)
    assert found is not None
    assert found.values["p"] == pytest.approx(stats.fisher_exact([[8, 4], [0, 12]])[1])
    assert "a 8 of 12, b 0 of 12" in found.words


def test_numbers_that_are_missing_from_the_order_are_asked_after() -> None:
    order = [1.0, 2.0, 3.0, 5.0, 6.0, 8.0, 9.0, 10.0]
    rows = rows_of(loads(8), "abababab", order=list(order))
    found = values.gaps_in_order(rows)
    assert found is not None
    assert "runs to 10, but 2 of its numbers are missing: 4, 7." in found.words


@pytest.mark.parametrize(
    ("texts", "step"), [(["80.5", "81.0", "79.5"], 0.5), (["80.2", "81.4"], 0.2),
                        (["80.25", "81.1"], 0.05), (["80", "75"], 5), (["81.3", "80.0"], 0.1)]
)  # fmt: skip
def test_the_step_of_a_gauge_is_read_off_the_figures(texts: list[str], step: float) -> None:
    rows = [ReviewRow(n, n, float(text), text, "a") for n, text in enumerate(texts)]
    assert values.gauge_step(rows) == pytest.approx(step)


def test_rows_in_order_of_size_are_known_and_not_taken_for_drift() -> None:
    rows = rows_of(sorted(loads(20)), "a" * 10 + "b" * 10)
    found = find_suspicions(rows)
    assert [one.code for one in found if one.code == "sorted"] == ["sorted"]
    assert not [one for one in found if one.asks]


def test_the_same_data_always_give_the_same_words() -> None:
    rows = rows_of([80.0] * 6 + loads(14), "ab" * 10, order=[float(n) for n in range(20)])
    assert find_suspicions(rows) == find_suspicions(rows)


def test_nothing_that_is_said_accuses() -> None:
    day = ["1", "2"] * 12
    rows = rows_of([84.0] * 10 + loads(14), "ab" * 12, day=list(day),
                   order=[float(3 * n + 1) for n in range(24)],
                   measures=[{"throat": 5.5 + (n % 2)} for n in range(24)],
                   minute=[float(n // 4) for n in range(24)])  # fmt: skip
    found = [*find_suspicions(rows), *find_suspicions(rows_of(sorted(loads(12)), "ab" * 6))]
    assert len({one.code for one in found}) >= 3
    for one in found:
        assert not ACCUSING.search(one.words), one.words
        assert one.words[-1] == "."


def test_too_little_to_look_at_says_nothing() -> None:
    assert find_suspicions(rows_of(loads(3), "aba")) == ()
    assert find_suspicions(rows_of(loads(6), "aaaaaa")) == ()


def test_raw_figures_answer_what_they_can() -> None:
    rows = rows_of(
        loads(8),
        "abababab",
        day=["1"] * 4 + ["2"] * 4,
        setup=[f"B{n}" for n in range(8)],
        coupon=[f"A{n}" for n in range(8)],
        measures=[{"throat_mm": 5.5 + 0.1 * (n // 2 % 2)} for n in range(8)],
    )
    seen = answers_of_rows(rows, find_suspicions(rows), folded=False)
    assert {key: one.value for key, one in seen.items()} == {
        "sessions": "yes",
        "setups": "four-or-more",
        "units": "welds",
        "bead": "alike",
        "raw": "yes",
    }
    assert seen["sessions"].because == "each of 2 days holds both sides"
    assert grade_evidence(seen).answered == 4


def test_figures_tied_to_a_day_hold_the_grade_down_whatever_is_answered() -> None:
    rows = rows_of(loads(12), "ab" * 6, day=["1", "2"] * 6)
    noticed = find_suspicions(rows)
    seen = answers_of_rows(rows, noticed, folded=False)
    assert seen["sessions"].value == "no"
    faults = faults_of_rows(noticed)
    assert [fault.at_most for fault in faults] == ["weak"]
    assert faults[0].words == "the side cannot be told from day"


def test_handfuls_are_judged_by_the_f_test_of_blocks() -> None:
    """Two sides of two blocks of three; one side alone against a one-way analysis (scipy)."""
    load = np.array(loads(6, 4))
    seen = values._handfuls([load[None, :]], 3)[0]
    assert 10**-seen == pytest.approx(stats.f_oneway(load[:3], load[3:]).pvalue)
    both = values._handfuls([load[None, :], np.array(loads(6, 5))[None, :]], 3)[0]
    assert 0 < 10**-both < 1


def test_uneven_last_figures_agree_with_the_chi_squared_test() -> None:
    """Against the large-sample test (scipy), on 200 readings where it is good."""
    rng = np.random.default_rng(6)
    figures = rng.choice(10, 200, p=[0.16, *[0.09] * 4, 0.12, *[0.09] * 4])
    whole = rng.integers(60, 100, 200)
    rows = [
        ReviewRow(n, n, float(f"{a}.{b}"), f"{a}.{b}", "ab"[n % 2])
        for n, (a, b) in enumerate(zip(whole, figures, strict=True))
    ]
    found = values.last_figures(rows, 1.0, 1)
    assert found is not None
    counts = np.bincount(figures, minlength=10)
    assert found.values["chi2"] == pytest.approx(stats.chisquare(counts).statistic)
    p = float(stats.chisquare(counts).pvalue)
    assert found.values["p"] == pytest.approx(p, abs=4 * np.sqrt(p * (1 - p) / 2999) + 0.003)


def test_readings_at_a_limit_are_named_with_the_limit() -> None:
    load = [min(v, 83.0) for v in loads(24, 9)]
    found = values.at_limit(rows_of(load, "ab" * 12), 0.05, 1)
    assert found is not None
    assert found.values["value"] == 83.0
    assert found.values["count"] == sum(v == 83.0 for v in load)
    assert "the largest there is" in found.words
