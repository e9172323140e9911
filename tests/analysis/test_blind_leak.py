"""Guesses of a blind reader: counted by coupon and by set-up, judged by the exact binomial."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scipy import stats

from weldtrial.analysis.blind_leak import guesses, held, leaks
from weldtrial.shared.factors import Factor
from weldtrial.shared.guesses import guess_asked, parse_guess
from weldtrial.shared.problems import Problem
from weldtrial.shared.record import Coupon, Reading, Record
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Blind, Trial

GAS = Factor("gas", "category", ("mix", "co2"), hard_to_change=True)
TRIAL = Trial("T", (GAS,), (Response("bend", "deg", "Bend angle"),),
              blind=Blind(who=("bend",), codes=True, guess=True))  # fmt: skip


def record(right: int, of: int, *, setups: int = 6, each: int = 3) -> Record:
    """Coupons of `setups` set-ups; the first `right` guessed right, the next wrong, then none."""
    coupons = []
    for number in range(setups * each):
        level = GAS.levels[(number // each) % 2]
        other = GAS.levels[1 - (number // each) % 2]
        guess = level if number < right else other if number < of else ""
        readings = {"bend": (Reading("number", 60.0, guess=guess),)}
        coupons.append(
            Coupon(f"C{number}", "count", number + 1, 1, number // each + 1, {"gas": level}, {},
                   readings=readings)
        )  # fmt: skip
    return Record(tuple(coupons), planned=len(coupons))


@pytest.mark.parametrize(("right", "of"), [(16, 18), (13, 18), (12, 18), (9, 18), (5, 5)])
def test_p_is_scipys_exact_binomial(right, of):
    found = guesses(TRIAL, record(right, of), "bend")
    p = stats.binomtest(right, of, 0.5, alternative="greater").pvalue
    assert found.p == pytest.approx(p)
    assert (found.right, found.of, found.chance) == (right, of, 0.5)
    assert found.leaked == (p < 0.05)


def test_a_leak_is_one_step_and_none_is_a_plus():
    assert leaks(TRIAL, record(16, 18))[0].startswith(
        "the reader of Bend angle guessed the gas right 16 of 18 times"
    )
    assert held(TRIAL, record(16, 18)) == ()
    assert leaks(TRIAL, record(9, 18)) == ()
    assert held(TRIAL, record(9, 18))[0].endswith("no better than chance (9 of 18)")
    assert guesses(TRIAL, record(0, 0), "bend") is None
    assert guesses(replace(TRIAL, blind=Blind(who=("bend",))), record(9, 18), "bend") is None


def test_a_set_up_has_one_vote_and_a_tie_none():
    found = guesses(TRIAL, record(16, 18), "bend")
    assert (found.setups_right, found.setups_of) == (5, 6)
    assert found.setups_p == pytest.approx(7 / 64)  # 6 + 1 of 2 ** 6
    tie = guesses(TRIAL, record(1, 2, setups=2, each=2), "bend")
    assert (tie.setups_right, tie.setups_of, tie.setups_p) == (None, None, None)


def test_the_alarms_that_the_statistics_page_owns_up_to():
    """12 set-ups of 3, each guessed alike by chance: exact, by way of the binomial of set-ups."""
    alarms = votes = 0.0
    for won in range(13):
        weight = stats.binom.pmf(won, 12, 0.5)
        alarms += weight * (stats.binom.sf(3 * won - 1, 36, 0.5) < 0.05)
        votes += weight * (stats.binom.sf(won - 1, 12, 0.5) < 0.05)
    apart = sum(
        stats.binom.pmf(right, 36, 0.5) * (stats.binom.sf(right - 1, 36, 0.5) < 0.05)
        for right in range(37)
    )
    assert [round(100 * one) for one in (alarms, apart, votes)] == [19, 3, 2]


def test_chance_is_the_largest_planned_share():
    three = replace(record(6, 9), coupons=record(6, 9).coupons[:9])  # 6 of mix, 3 of co2
    assert guesses(TRIAL, three, "bend").chance == pytest.approx(2 / 3)


def test_a_guess_is_a_level_or_nothing():
    assert guess_asked(TRIAL, "bend") is GAS
    assert guess_asked(TRIAL, "load") is None
    assert parse_guess(" MIX ", GAS) == "mix"
    assert parse_guess("", GAS) == ""
    wrong = parse_guess("mixx", GAS)
    assert isinstance(wrong, Problem)
    assert "Did you mean 'mix'?" in wrong.words
    assert "mix or co2" in parse_guess("argon", GAS).words


def test_the_first_guess_of_a_coupon_counts():
    one = record(1, 1, setups=2, each=1)
    twice = (Reading("number", 60.0, guess="co2"), Reading("number", 61.0, guess="mix"))
    changed = replace(one.coupons[0], readings={"bend": twice})
    found = guesses(TRIAL, replace(one, coupons=(changed, one.coupons[1])), "bend")
    assert (found.right, found.of) == (0, 1)
