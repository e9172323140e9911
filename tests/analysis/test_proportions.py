from __future__ import annotations

import json
from fractions import Fraction
from math import comb
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import optimize, stats

from weldtrial.analysis.proportion_power import (
    AHEAD,
    MOST_COUPONS,
    chance_no_worse,
    chance_of_fall,
    coupons_for_fall,
    coupons_for_no_worse,
    in_a_row,
)
from weldtrial.analysis.proportions import (
    _restricted,
    boschloo,
    boschloo_rejects,
    no_worse,
    no_worse_rejects,
    passes_in_a_row,
    score,
    share_interval,
    shown_by_passes,
)

DATA = Path(__file__).resolve().parents[1] / "reference" / "data"


def facts(name: str) -> Any:
    return json.loads((DATA / f"{name}.json").read_text(encoding="utf-8"))["expected"]


# ------------------------------------------------------------------ against published values


def test_barnard_and_boschloo_of_the_vaccine_table() -> None:
    """Mehta & Senchaudhuri (2003): 7 of 15 against 12 of 15; Fisher .0641, Boschloo .0341.

    Barnard's .03407 there and in scipy.stats.barnard_exact leaves out 3 against 8 of 15, whose
    pooled score is the very same number (checked in fractions below) and differs in floating
    point only; with it the largest chance is .03411.
    """
    published = facts("exact-2x2-barnard")
    lower = boschloo(7, 15, 12, 15, "lower")
    assert lower.statistic == pytest.approx(published["fisher_p_less"], abs=5e-5 + 5e-5)
    assert lower.p == pytest.approx(published["boschloo_p_less_computed"], abs=5e-6)
    # With no margin, "no worse" is Barnard's test for more.
    barnard = no_worse(12, 15, 7, 15, 0.0)
    assert barnard.statistic == pytest.approx(-published["barnard_statistic"], abs=5e-4)
    assert barnard.p == pytest.approx(published["barnard_p_less"], abs=5e-5)
    assert barnard.p > published["barnard_p_less"]


def test_the_tie_that_the_published_barnard_leaves_out() -> None:
    def squared(new: int, old: int) -> Fraction:
        pooled = Fraction(new + old, 30)
        scatter = pooled * (1 - pooled) * Fraction(2, 15)
        return Fraction(new - old, 15) ** 2 / scatter if scatter else Fraction(0)

    assert squared(12, 7) == squared(8, 3)
    table = score(15, 15, 0.0)
    assert table[12, 7] == table[8, 3]
    counted = [(a, b) for a in range(16) for b in range(16)
               if a > b and squared(a, b) >= squared(12, 7)]  # fmt: skip
    share = np.linspace(0, 1, 20_001)
    chance = sum(stats.binom.pmf(a, 15, share) * stats.binom.pmf(b, 15, share) for a, b in counted)
    assert no_worse(12, 15, 7, 15, 0.0).p == pytest.approx(np.max(chance), abs=1e-8)


def test_fishers_p_of_the_handbook() -> None:
    """NIST handbook 7.3.3: 2 and 5 against 3 and 2, the two columns being the groups' outcomes."""
    published = facts("nist-hb-fisher-exact")
    found = boschloo(2, 7, 3, 5, "lower").statistic
    assert found == pytest.approx(published["p_one_sided"], abs=5e-5)


def test_exact_interval_of_the_handbook() -> None:
    """NIST handbook 7.2.4.1: 4 of 20, 90 % (upper limit as R gives it; printed 0.401029)."""
    published = facts("nist-hb-proportion-ci-n")
    low, high = share_interval(4, 20, 0.90)
    assert low == pytest.approx(published["exact_lower"], abs=5e-7)
    assert high == pytest.approx(published["exact_upper"], abs=2e-6)


def test_passes_in_a_row_that_everybody_uses() -> None:
    """29 for 90 % and 59 for 95 % with 95 % confidence: the usual counts, from memory."""
    assert (passes_in_a_row(0.90), passes_in_a_row(0.95)) == (29, 59)
    assert shown_by_passes(29) >= 0.90 > shown_by_passes(28)
    low, _ = share_interval(29, 29, 0.90)  # one-sided 95 %
    assert low == pytest.approx(shown_by_passes(29))
    row = in_a_row(0.90)
    assert row.coupons == 29
    assert dict(row.chances)[0.90] == pytest.approx(0.9**29)


# ------------------------------------------------------------------ against scipy


@pytest.mark.parametrize("seed", range(12))
def test_boschloo_agrees_with_scipy(seed: int) -> None:
    rng = np.random.default_rng(seed)
    of, other = (int(one) for one in rng.integers(3, 25, 2))
    a, b = int(rng.integers(0, of + 1)), int(rng.integers(0, other + 1))
    table = [[a, b], [of - a, other - b]]
    for ours, theirs in (("lower", "less"), ("higher", "greater"), ("two-sided", "two-sided")):
        expected = stats.boschloo_exact(table, alternative=theirs, n=64).pvalue
        assert boschloo(a, of, b, other, ours).p == pytest.approx(expected, abs=1e-7)  # type: ignore[arg-type]


def test_restricted_estimates_are_the_largest_likelihood() -> None:
    rng = np.random.default_rng(5)
    for _ in range(100):
        of, other = rng.integers(2, 30, 2)
        a, b = rng.integers(0, of + 1), rng.integers(0, other + 1)
        margin = rng.uniform(0.02, 0.5)

        def against(p: float, a=a, b=b, of=of, other=other, margin=margin) -> float:  # type: ignore[no-untyped-def]
            return -float(
                a * np.log(p) + (of - a) * np.log1p(-p)
                + b * np.log(p + margin) + (other - b) * np.log1p(-p - margin)
            )  # fmt: skip

        best = optimize.minimize_scalar(
            against, bounds=(1e-9, 1 - margin - 1e-9), method="bounded", options={"xatol": 1e-10}
        ).x
        found = _restricted(np.array(a / of), np.array(b / other), of, other, margin)
        assert float(found) == pytest.approx(best, abs=2e-5)


def power_by_hand(of: int, other: int, share: float, share_reference: float, p_of: Any) -> float:
    """Every outcome in turn, each with its own test."""
    total = 0.0
    for a in range(of + 1):
        for b in range(other + 1):
            if p_of(a, b) <= 0.05:
                total += (
                    comb(of, a) * share**a * (1 - share) ** (of - a)
                    * comb(other, b) * share_reference**b * (1 - share_reference) ** (other - b)
                )  # fmt: skip
    return total


@pytest.mark.parametrize(("of", "other"), [(6, 6), (5, 8)])
def test_chance_of_a_fall_by_scipy_outcome_by_outcome(of: int, other: int) -> None:
    def p_of(a: int, b: int) -> float:
        table = [[a, b], [of - a, other - b]]
        return float(stats.boschloo_exact(table, alternative="two-sided", n=32).pvalue)

    expected = power_by_hand(of, other, 0.2, 0.9, p_of)
    assert chance_of_fall(of, other, 0.2, 0.9) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("margin", [0.1, 0.25])
def test_chance_of_no_worse_outcome_by_outcome(margin: float) -> None:
    expected = power_by_hand(11, 9, 0.9, 0.9, lambda a, b: no_worse(a, 11, b, 9, margin).p)
    assert chance_no_worse(11, 9, margin, 0.9, 0.9) == pytest.approx(expected, abs=1e-9)


def test_close_to_the_normal_approximation_of_many_coupons() -> None:
    """R 4.2.2, help page power.prop.test (two-sided normal): n = 50, .50 and .75: .740.

    The exact test keeps below 5 % by what whole numbers allow and loses a few points for it.
    """
    assert chance_of_fall(50, 50, 0.5, 0.75) == pytest.approx(0.7401659, abs=0.03)


# ------------------------------------------------------------------ promises, exactly


@pytest.mark.parametrize(("of", "other"), [(8, 8), (20, 13), (40, 40)])
def test_false_alarms_never_pass_five_in_a_hundred(of: int, other: int) -> None:
    for share in np.linspace(0.001, 0.999, 97):
        assert chance_of_fall(of, other, share, share) <= 0.05 + 1e-9


@pytest.mark.parametrize(("of", "other"), [(12, 12), (30, 18)])
@pytest.mark.parametrize("margin", [0.1, 0.2])
def test_no_worse_is_wrong_at_most_five_in_a_hundred(of: int, other: int, margin: float) -> None:
    """Also where the new is worse by more than the margin, inside the hypothesis."""
    for old in np.linspace(margin, 1.0, 41):
        for more in (0.0, 0.05, 0.15):
            if old - margin - more >= 0:
                found = chance_no_worse(of, other, margin, old - margin - more, old)
                assert found <= 0.05 + 1e-9


def test_the_table_holds_what_the_test_says() -> None:
    for of, other in ((7, 9), (6, 6)):
        shown, better = boschloo_rejects(of, other), no_worse_rejects(of, other, 0.2)
        for a in range(of + 1):
            for b in range(other + 1):
                assert shown[a, b] == (boschloo(a, of, b, other).p <= 0.05)
                assert better[a, b] == (no_worse(a, of, b, other, 0.2).p <= 0.05)


@pytest.mark.parametrize(("share", "old"), [(0.5, 0.9), (0.6, 0.95), (0.3, 0.6)])
def test_coupons_needed_hold_for_the_next_sizes_and_no_smaller_number_does(
    share: float, old: float
) -> None:
    found = coupons_for_fall(share, old)
    assert found.coupons is not None
    chances = [chance_of_fall(n, n, share, old) for n in range(1, found.coupons + AHEAD + 1)]
    assert min(chances[found.coupons - 1 :]) >= 0.8
    assert found.first == 1 + next(at for at, one in enumerate(chances) if one >= 0.8)
    for start in range(1, found.coupons):
        assert min(chances[start - 1 : start + AHEAD]) < 0.8


def test_coupons_out_of_reach_and_none_for_nothing() -> None:
    assert coupons_for_fall(0.895, 0.9).coupons is None
    assert coupons_for_fall(0.9, 0.9).coupons is None
    found = coupons_for_no_worse(0.9, 0.2)
    assert found.coupons is not None
    assert chance_no_worse(found.coupons, found.coupons, 0.2, 0.9, 0.9) == found.chance
    assert MOST_COUPONS >= 150


@pytest.mark.parametrize(("passed", "of"), [(5, 4), (-1, 4), (0, 0)])
def test_more_passes_than_coupons_are_refused(passed: int, of: int) -> None:
    with pytest.raises(ValueError, match="cannot have passed"):
        boschloo(passed, of, 1, 4)
    with pytest.raises(ValueError, match="cannot have passed"):
        share_interval(passed, of)


def test_shares_and_margins_that_cannot_be_are_refused() -> None:
    with pytest.raises(ValueError, match="a share"):
        passes_in_a_row(1.0)
    with pytest.raises(ValueError, match="a margin"):
        no_worse(3, 4, 3, 4, 1.0)
