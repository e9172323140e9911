from __future__ import annotations

import csv
import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.power import FTestAnovaPower, TTestIndPower

from weldtrial.analysis.power import (
    Aim,
    Precision,
    Spread,
    aim_of,
    by_setups,
    chance_to_show,
    coupons_needed,
    detectable,
    power_difference,
    power_equivalent,
    power_equivalent_percent,
    power_f,
    power_no_worse,
    setups_needed,
    shuffled,
    smallest_number,
)
from weldtrial.analysis.tails import t_above, t_within
from weldtrial.shared.responses import Margin, Response

DATA = Path(__file__).resolve().parents[1] / "reference" / "data"


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def facts(name: str) -> Any:
    return json.loads((DATA / f"{name}.json").read_text(encoding="utf-8"))


# ------------------------------------------------------------------ against published values


@pytest.mark.parametrize(
    "case", rows("power-t-noncentral"), ids=lambda case: "-".join(case.values())
)
def test_power_of_t_tests_as_statsmodels_publishes_it(case: dict[str, str]) -> None:
    """statsmodels test suite, TestTTPower (values from R pwr); asserted there to 6 decimals."""
    n, d = int(case["n_per_group"]), float(case["d"])
    two = case["samples"] == "two"
    df = 2 * n - 2 if two else n - 1
    shift = d * np.sqrt(n / 2 if two else n)
    expected = float(case["power"])
    if case["alternative"] == "two-sided":
        assert power_difference(shift, 1.0, df) == pytest.approx(expected, abs=1e-9)
    else:
        toward = shift if case["alternative"] == "greater" else -shift
        cut = stats.t.ppf(0.95, df)
        assert t_above(cut, df, toward) == pytest.approx(expected, abs=1e-9)


def by_help_page(procedure: str, quantity: str, words: str) -> float:
    found = [
        float(case["value"])
        for case in rows("power-r-help")
        if case["procedure"] == procedure
        and case["quantity"] == quantity
        and words in case["inputs"]
    ]
    assert len(found) == 1
    return found[0]


def test_power_of_the_help_page_of_power_t_test() -> None:
    """R 4.2.2, package stats, help page power.t.test, Examples."""
    plan = shuffled(Spread(1.0), 20)
    expected = by_help_page("t_two_sample", "power", "n per group=20")
    # By default the page counts the nearer tail alone; the far one adds 2e-7.
    near = t_above(stats.t.ppf(0.975, plan.df), plan.df, 1.0 / plan.se)
    assert near == pytest.approx(expected, abs=1e-7)
    assert 0 < power_difference(1.0, plan.se, plan.df) - near < 1e-6
    needed = coupons_needed(
        Spread(1.0), lambda one: power_difference(1.0, one.se, one.df), chance=0.9
    )
    assert needed == np.ceil(by_help_page("t_two_sample", "n", "power=.90, delta=1, two-sided"))
    needed = coupons_needed(
        Spread(1.0), lambda one: power_no_worse(1.0, one.se, one.df), chance=0.9
    )
    assert needed == np.ceil(by_help_page("t_two_sample", "n", "one-sided"))


def test_power_of_the_help_page_of_power_anova_test() -> None:
    """R 4.2.2, package stats, help page power.anova.test, Examples."""
    expected = by_help_page("anova", "power", "groups=4, n=5")
    noncentrality = 3 * 5 * 1 / 3
    assert power_f(noncentrality, 3, 16) == pytest.approx(expected, abs=1e-7)


@pytest.mark.parametrize(
    "case", rows("power-cohen"), ids=lambda case: f"{case['test']} {case['effect']}"
)
def test_coupons_of_cohens_table(case: dict[str, str]) -> None:
    """Cohen (1992), Psychological Bulletin 112:155, Table 2 (from memory; he rounds, so ±1)."""
    size = float(case["effect"].split("=")[1])
    if case["test"] == "t_two_sample":
        found = coupons_needed(Spread(1.0), lambda one: power_difference(size, one.se, one.df))
    else:
        groups = int(re.sub(r"\D", "", case["test"].split("_k")[1]))
        found = smallest_number(
            lambda n: power_f(size**2 * n * groups, groups - 1, groups * (n - 1)) >= 0.8
        )
    assert found == int(case["n_exact_noncentral"])
    assert abs(found - int(case["n_cohen_table_memory"])) <= 1


def test_coupons_to_show_equal_within_a_margin() -> None:
    """Chow, Shao & Wang (2008), section 3.2.4 (from memory), exact n by integration."""
    published = facts("tost-chow")
    sigma, delta = published["inputs"]["sigma"], published["inputs"]["delta"]
    exact = published["expected"]["exact_t_based_n"]
    for truth, name in ((0.0, "equivalence_diff0"), (0.01, "equivalence_diff0.01")):
        found = coupons_needed(
            Spread(sigma),
            lambda one, truth=truth: power_equivalent(delta, one.se, one.df, truth),  # type: ignore[misc]
        )
        assert found == exact[name]
    # The book's normal approximation for no-worse, 49.46, is one coupon short of the exact t.
    found = coupons_needed(Spread(sigma), lambda one: power_no_worse(delta, one.se, one.df))
    assert found in (50, 51)
    assert published["expected"]["non_inferiority_diff0_n_per_arm"] == 50


@pytest.mark.parametrize(
    ("coupons", "gap"),
    [
        (3, 3.07),
        (4, 2.38),
        (5, 2.02),
        (6, 1.80),
        (8, 1.51),
        (10, 1.32),
        (12, 1.20),
        (16, 1.02),
        (20, 0.91),
    ],
)
def test_smallest_gap_seen_in_units_of_the_scatter(coupons: int, gap: float) -> None:
    plan = shuffled(Spread(1.0), coupons)
    found = detectable(plan.se, plan.df)
    assert found == pytest.approx(gap, abs=0.005)
    solved = TTestIndPower().solve_power(nobs1=coupons, alpha=0.05, power=0.8)
    assert found == pytest.approx(solved, rel=1e-6)


@pytest.mark.parametrize(
    ("scatter", "coupons"),
    [
        (3, (17, 7, 4, 3, 3, 2)),
        (5, (45, 17, 9, 6, 4, 3)),
        (8, (113, 42, 19, 12, 6, 4)),
        (10, (176, 64, 29, 17, 9, 6)),
        (15, (394, 143, 64, 37, 17, 10)),
    ],
)
def test_coupons_a_gas_for_a_loss_in_percent(scatter: float, coupons: tuple[int, ...]) -> None:
    losses = (3, 5, 7.5, 10, 15, 20)
    found = tuple(
        coupons_needed(
            Spread(scatter), lambda one, loss=loss: power_difference(loss, one.se, one.df)
        )  # type: ignore[misc]
        for loss in losses
    )
    assert found == coupons


@pytest.mark.parametrize(
    ("setups", "per_setup", "two", "four", "df"),
    [(1, 6, 4.5, 6.6, 0), (2, 3, 4.0, 5.3, 2), (3, 2, 3.8, 4.8, 4), (6, 1, 3.7, 4.2, 10)],
)
def test_standard_error_of_the_gas_difference(
    setups: int, per_setup: int, two: float, four: float, df: int
) -> None:
    """Six coupons a gas, coupon scatter 6 %, set-up scatter 2 and 4 %: worked by hand."""
    for setup, expected in ((2, two), (4, four)):
        found = by_setups(Spread(6, setup), setups, per_setup, paired=False)
        assert found.se == pytest.approx(expected, abs=0.051)
        assert found.df == df


# ------------------------------------------------------------------ against a library


@pytest.mark.parametrize("df", [1, 2, 3, 5, 10, 34, 1000])
@pytest.mark.parametrize("shift", [-1.0, 0.0, 0.3, 2.5, 8.0])
def test_tail_agrees_with_scipy(df: int, shift: float) -> None:
    cut = stats.t.ppf(0.975, df)
    assert t_above(cut, df, shift) == pytest.approx(stats.nct.sf(cut, df, shift), abs=1e-10)


@pytest.mark.parametrize("coupons", [2, 3, 8, 40])
@pytest.mark.parametrize("effect", [0.0, 0.2, 0.8, 2.0])
def test_power_agrees_with_statsmodels(coupons: int, effect: float) -> None:
    plan = shuffled(Spread(1.0), coupons)
    # statsmodels takes the noncentral t from scipy, which loses the far tail at few coupons.
    expected = TTestIndPower().power(effect, coupons, 0.05)
    if not np.isnan(expected):
        assert power_difference(effect, plan.se, plan.df) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("noncentrality", [0.0, 0.5, 5.0, 20.0])
def test_power_of_f_agrees_with_the_t_and_with_statsmodels(noncentrality: float) -> None:
    assert power_f(noncentrality, 1, 7) == pytest.approx(
        power_difference(np.sqrt(noncentrality), 1.0, 7), abs=1e-9
    )
    groups, n = 3, 6
    expected = FTestAnovaPower().power(
        np.sqrt(noncentrality / (groups * n)), groups * n, 0.05, k_groups=groups
    )
    assert power_f(noncentrality, groups - 1, groups * (n - 1)) == pytest.approx(expected, abs=1e-9)


def test_nothing_true_is_shown_one_time_in_twenty() -> None:
    for df in (1, 2, 5, 30):
        assert power_difference(0.0, 1.0, df) == pytest.approx(0.05, abs=1e-10)
        assert power_no_worse(3.0, 1.0, df, truth=-3.0) == pytest.approx(0.05, abs=1e-10)
        assert power_equivalent(3.0, 1.0, df, truth=3.0) <= 0.05
        assert power_f(0.0, 2, df) == pytest.approx(0.05, abs=1e-10)


# ------------------------------------------------------------------ against itself


@pytest.mark.parametrize("df", [1, 2, 5, 60])
@pytest.mark.parametrize("chance", [0.1, 0.5, 0.8, 0.95])
def test_detectable_solves_power_back(df: int, chance: float) -> None:
    gap = detectable(1.7, df, chance)
    assert gap is not None
    assert power_difference(gap, 1.7, df) == pytest.approx(chance, abs=1e-9)


@pytest.mark.parametrize("chance", [0.5, 0.8, 0.9])
def test_what_is_needed_is_enough_and_one_less_is_not(chance: float) -> None:
    def shows(one: Precision) -> float:
        return power_difference(5.0, one.se, one.df)

    spread = Spread(4.0, 2.0)
    for paired in (True, False):
        k = setups_needed(spread, 3, shows, paired=paired, chance=chance)
        assert k is not None
        assert shows(by_setups(spread, k, 3, paired=paired)) >= chance
        assert shows(by_setups(spread, k - 1, 3, paired=paired)) < chance
    n = coupons_needed(spread, shows, chance=chance, extra_terms=3, step=2)
    assert n is not None
    assert n % 2 == 0
    assert shows(shuffled(spread, n, df=2 * n - 5)) >= chance
    assert shows(shuffled(spread, n - 2, df=2 * n - 9)) < chance


def test_what_no_number_can_show_is_none() -> None:
    def shows(one: Precision) -> float:
        return power_difference(1e-6, one.se, one.df)

    assert setups_needed(Spread(4.0, 2.0), 3, shows, paired=True) is None


def test_no_degrees_of_freedom_show_nothing() -> None:
    plan = by_setups(Spread(4.0, 2.0), 1, 18, paired=True)
    assert plan.df == 0
    assert detectable(plan.se, plan.df) is None
    for ask in ("difference", "no-worse", "equal-enough"):
        assert chance_to_show(Aim(ask, 5.0, 80.0), plan) == 0.0  # type: ignore[arg-type]
        assert chance_to_show(Aim(ask, 5.0, 80.0, 0.0625), plan) == 0.0  # type: ignore[arg-type]


def test_without_scatter_everything_is_seen() -> None:
    plan = by_setups(Spread(0.0), 6, 3, paired=True)
    assert detectable(plan.se, plan.df) == 0.0
    for ask in ("difference", "no-worse", "equal-enough"):
        for fraction in (None, 0.0625):
            assert chance_to_show(Aim(ask, 5.0, 80.0, fraction), plan) == pytest.approx(1.0)  # type: ignore[arg-type]


def test_coupons_cannot_do_what_set_ups_can() -> None:
    """The floor under the standard error is the scatter between set-ups."""
    spread = Spread(4.0, 2.0)
    many_coupons = by_setups(spread, 3, 1000, paired=True)
    many_setups = by_setups(spread, 18, 1, paired=True)
    assert many_coupons.se > many_setups.se
    assert many_coupons.se > np.sqrt(2 * 2.0**2 / 3)


# ------------------------------------------------------------------ percent margins, by simulation


@pytest.mark.parametrize("sign", [1, -1])
def test_a_percent_margin_pays_for_the_reference_mean(sign: int) -> None:
    """Simulated: a t test of one mean less (1 - s m) times the other, 200 000 trials."""
    response = Response(
        "x",
        "kN",
        better="higher" if sign > 0 else "lower",
        ask="no-worse",
        margin=Margin(0.1, True),
    )
    aim, plan = aim_of(response, 80.0), shuffled(Spread(10.0), 8)
    assert aim.margin == pytest.approx(8.0)
    rng = np.random.default_rng(20260611)
    means = rng.normal(80.0, np.sqrt(plan.variance), (2, 200_000))
    sd = np.sqrt(rng.chisquare(plan.df, 200_000) / plan.df)
    scale = 1 - sign * 0.1
    estimate = sign * (means[1] - scale * means[0])
    t = estimate / (np.sqrt(plan.variance * (1 + scale**2)) * sd)
    share = np.mean(t > stats.t.ppf(0.95, plan.df))
    error = 4 * np.sqrt(share * (1 - share) / 200_000)
    assert chance_to_show(aim, plan) == pytest.approx(share, abs=error)


@pytest.mark.parametrize(("fraction", "coupons"), [(0.1, 20), (0.3, 4), (0.05, 30)])
def test_equal_within_a_percentage_by_simulation(fraction: float, coupons: int) -> None:
    plan = shuffled(Spread(8.0), coupons)
    rng = np.random.default_rng(20260612)
    means = rng.normal(80.0, np.sqrt(plan.variance), (2, 200_000))
    sd = np.sqrt(plan.variance * rng.chisquare(plan.df, 200_000) / plan.df)
    cut = stats.t.ppf(0.95, plan.df)
    low = means[1] - (1 - fraction) * means[0]
    high = means[1] - (1 + fraction) * means[0]
    shown = (low > cut * sd * np.sqrt(1 + (1 - fraction) ** 2)) & (
        high < -cut * sd * np.sqrt(1 + (1 + fraction) ** 2)
    )
    share = np.mean(shown)
    error = 4 * np.sqrt(share * (1 - share) / 200_000) + 1e-5
    assert power_equivalent_percent(fraction, 80.0, plan) == pytest.approx(share, abs=error)


@pytest.mark.parametrize(("low", "high", "df"), [(2.0, 2.0, 3), (3.0, 1.0, 10), (5.0, 5.0, 1)])
def test_both_one_sided_tests_together_by_adaptive_quadrature(
    low: float, high: float, df: int
) -> None:
    from scipy.integrate import quad

    cut = stats.t.ppf(0.95, df)

    def given(s: float) -> float:
        density = 2 * df * s * stats.chi2.pdf(df * s * s, df)
        return float(density * (stats.norm.cdf(high - cut * s) - stats.norm.cdf(cut * s - low)))

    expected, _ = quad(given, 0, (low + high) / (2 * cut), epsabs=1e-12, limit=200)
    assert t_within(cut, df, low, high) == pytest.approx(expected, abs=1e-9)


def test_a_margin_in_units_and_none_at_all() -> None:
    response = Response("x", "kN", ask="equal-enough", margin=Margin(5.0))
    assert aim_of(response, 80.0).fraction is None
    plan = by_setups(Spread(4.0, 2.0), 6, 3, paired=True)
    aim = aim_of(response, 80.0)
    assert chance_to_show(aim, plan) == power_equivalent(5.0, plan.se, plan.df)
    assert chance_to_show(aim, plan, "difference") == power_difference(5.0, plan.se, plan.df)
    assert chance_to_show(aim_of(Response("x", "kN"), 80.0), plan) is None
