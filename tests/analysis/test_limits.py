from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.power import TTestIndPower, TTestPower

from weldtrial.analysis.limits import more_coupons, with_perfect_readings
from weldtrial.analysis.power import (
    Aim,
    Spread,
    chance_to_show,
    detectable,
    power_difference,
    power_equivalent,
    power_no_worse,
    smallest_number,
)
from weldtrial.analysis.precision import Groups, Precision, by_setups, shuffled
from weldtrial.analysis.shape import Shape

DATA = Path(__file__).resolve().parents[1] / "reference" / "data"
SHAPE = Shape(True, 1, per_round=6, replicates=3, free=True)


def test_readings_are_averaged_into_coupons() -> None:
    spread = Spread(3.0, 2.0, 4.0, 4)
    assert spread.seen == pytest.approx((9 + 16 / 4) ** 0.5)
    assert spread.alone == pytest.approx((9 + 4 + 4) ** 0.5)
    assert spread.perfect == Spread(3.0, 2.0, 0.0, 4)
    assert by_setups(spread, 5, 2, paired=True).variance == pytest.approx((4 + 13 / 2) / 5)
    assert shuffled(spread, 8).variance == pytest.approx(17 / 8)


def test_readings_help_as_far_as_perfect_ones_and_no_further() -> None:
    def gap(readings: int) -> float:
        one = SHAPE.precision(Spread(3.0, 2.0, 4.0, readings))
        return detectable(one.se, one.df) or 0.0

    limit = with_perfect_readings(SHAPE, Spread(3.0, 2.0, 4.0, 2))
    assert limit is not None
    assert gap(1) > gap(2) > gap(100) > limit
    assert gap(1_000_000) == pytest.approx(limit, rel=1e-5)
    assert with_perfect_readings(SHAPE, Spread(3.0, 2.0)) is None


def test_coupons_on_the_same_bottle_stop_helping() -> None:
    """Against statsmodels, with the scatter of a set-up's mean."""
    steps = more_coupons(SHAPE, Spread(4.0, 2.0))
    assert [step.coupons for step in steps] == [1, 2, 3, 6, 12, None]
    assert [step.total for step in steps] == [12, 24, 36, 72, 144, None]
    d = TTestIndPower().solve_power(nobs1=6, alpha=0.05, power=0.8)
    for step in steps:
        sd = (2.0**2 + (16.0 / step.coupons if step.coupons else 0.0)) ** 0.5
        assert step.gap == pytest.approx(d * sd, rel=1e-5)
    gaps = [step.gap for step in steps]
    assert gaps == sorted(gaps, reverse=True)


def test_no_ladder_without_set_ups_and_none_to_nothing() -> None:
    assert more_coupons(Shape(False, 1, combos=2, replicates=8), Spread(4.0)) == ()
    assert more_coupons(Shape(True, 1, replicates=8), Spread(4.0)) == ()
    assert more_coupons(SHAPE, Spread(4.0))[-1].gap == 0.0
    own = more_coupons(SHAPE, Spread(4.0, 2.0), groups=Groups(6, 4, 5))
    assert [step.coupons for step in own] == [1, 2, 3, 5, 6, 12, None]
    assert own[3].total == 50


@pytest.mark.parametrize(("new", "old"), [(10, 14), (5, 20), (8, 8)])
@pytest.mark.parametrize("effect", [0.5, 1.0])
def test_unequal_coupons_by_statsmodels(new: int, old: int, effect: float) -> None:
    precision = Groups(new, old).precision(Spread(4.0))
    expected = TTestIndPower().power(effect, new, 0.05, ratio=old / new)
    found = power_difference(4 * effect, precision.se, precision.df)
    assert found == pytest.approx(expected, abs=1e-9)


def test_equal_groups_are_what_they_were() -> None:
    spread = Spread(4.0, 2.0)
    groups = Groups(6, 6, 3)
    assert groups.coupons == 36
    equal, usual = groups.precision(spread), by_setups(spread, 6, 3, paired=False)
    for aim in (
        Aim("difference", 4.0, 80.0),
        Aim("no-worse", 4.0, 80.0, 0.05),
        Aim("equal-enough", 4.0, 80.0, 0.05),
    ):
        assert chance_to_show(aim, equal) == pytest.approx(chance_to_show(aim, usual), abs=1e-12)


def test_a_percent_margin_uses_the_variance_of_each() -> None:
    """No worse by 20 %: worked by hand from scipy's noncentral t."""
    precision = Precision(4.0, 9, variance_reference=1.0)
    assert precision.se == pytest.approx(5**0.5)
    se = (4.0 + 0.8**2) ** 0.5
    cut = stats.t.ppf(0.95, 9)
    expected = stats.nct.sf(cut, 9, 16.0 / se)
    found = chance_to_show(Aim("no-worse", 16.0, 80.0, 0.2), precision)
    assert found == pytest.approx(expected, abs=1e-9)
    assert power_no_worse(16.0, precision.se_scaled(0.8), 9) == pytest.approx(expected, abs=1e-9)


def test_equal_within_percent_of_unequal_groups_by_simulation() -> None:
    precision = Groups(12, 30).precision(Spread(8.0))
    rng = np.random.default_rng(12)
    new = rng.normal(80, precision.variance**0.5, 200_000)
    old = rng.normal(80, precision.reference**0.5, 200_000)
    sd = np.sqrt(rng.chisquare(precision.df, 200_000) / precision.df)
    cut = stats.t.ppf(0.95, precision.df)
    shown = (new - 0.9 * old > cut * sd * precision.se_scaled(0.9)) & (
        new - 1.1 * old < -cut * sd * precision.se_scaled(1.1)
    )
    share = float(np.mean(shown))
    found = chance_to_show(Aim("equal-enough", 8.0, 80.0, 0.1), precision)
    assert found == pytest.approx(share, abs=4 * (share * (1 - share) / 200_000) ** 0.5)
    # A margin in units is nearly the same, as the reference mean is far better known than 10 %.
    assert found == pytest.approx(power_equivalent(8.0, precision.se, precision.df), abs=0.02)


def test_sample_size_for_a_mean_of_the_handbook() -> None:
    """NIST handbook 7.2.2.2: one-sided, 1 sigma, 10 % missed: 9 by the normal, 11 by t."""
    page = json.loads((DATA / "nist-hb-sample-size-mean.json").read_text(encoding="utf-8"))
    case = page["expected"]["one_sided_alpha05_beta10_delta1sigma"]
    found = smallest_number(lambda n: power_no_worse(n**0.5, 1.0, n - 1) >= 0.9)
    assert found == case["N_after_one_t_iteration"]
    # The table beside it does not follow from its own formula (INDEX.md), and is left alone.


@pytest.mark.parametrize(("alpha", "missed"), [(0.01, 0.05), (0.05, 0.1), (0.05, 0.5), (0.2, 0.2)])
@pytest.mark.parametrize("sigmas", [0.5, 1.0])
def test_one_sample_sizes_by_statsmodels(alpha: float, missed: float, sigmas: float) -> None:
    found = smallest_number(
        lambda n: power_difference(sigmas * n**0.5, 1.0, n - 1, alpha) >= 1 - missed
    )
    solved = TTestPower().solve_power(effect_size=sigmas, alpha=alpha, power=1 - missed)
    assert found == np.ceil(solved)
