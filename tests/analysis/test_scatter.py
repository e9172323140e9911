"""Scatter by its mean squares, against statsmodels and by hand; what more would buy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.findings import Comparison, Variance, Verdict
from weldtrial.analysis.model import fit_model
from weldtrial.analysis.observations import Observation, reading_share, reading_variance
from weldtrial.analysis.precision import Spread, by_setups, shuffled
from weldtrial.analysis.scatter import scatter_rows, would_buy
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import trial_terms

HARD = Factor("gas", "category", ("mix", "co2"), hard_to_change=True)
EASY = Factor("gas", "category", ("mix", "co2"))
LEVELS = HARD.levels


def coupons(rng, *, cuts=2, each=3, setup=1.0):
    found = []
    for number in range(12):
        shift = setup * rng.normal()
        for place in range(each):
            read = tuple(10 + shift + rng.normal() + 0.5 * rng.normal(size=cuts))
            level = LEVELS[number % 2]
            found.append(
                Observation(
                    f"S{number}{place}", None, number // 2 + 1, number + 1, {"gas": level},
                    {"gas": level}, sum(read) / cuts, read,
                )
            )  # fmt: skip
    return found


def variance_of(fit, seen):
    again = reading_variance(seen)
    share = reading_share(seen, again)
    return Variance(fit.core.setup_variance, fit.core.coupon_variance - share, again)


def test_mean_squares_of_a_balanced_trial():
    """By hand: cuts within coupons, coupons within set-ups, set-ups within rounds."""
    seen = coupons(np.random.default_rng(5))
    fit = fit_model((HARD,), trial_terms((HARD,), "main", ()), seen)
    reading, coupon, setup = scatter_rows(fit, seen, variance_of(fit, seen))
    y = np.array([o.value for o in seen]).reshape(6, 2, 3)
    cuts = np.array([o.readings for o in seen])
    again = ((cuts - cuts.mean(axis=1, keepdims=True)) ** 2).sum() / 36
    within = ((y - y.mean(axis=2, keepdims=True)) ** 2).sum() / 24
    gaps = y.mean(axis=2)[:, 1] - y.mean(axis=2)[:, 0]
    between = 3 * gaps.var(ddof=1) / 2
    assert (reading.df, coupon.df, setup.df) == (36, 24, 5)
    assert reading.sd**2 == pytest.approx(again)
    assert coupon.sd**2 == pytest.approx(within - again / 2)
    assert setup.sd**2 == pytest.approx((between - within) / 3)
    low, high = (36 * again / stats.chi2.ppf(q, 36) for q in (0.975, 0.025))
    assert (reading.low**2, reading.high**2) == pytest.approx((low, high))
    assert coupon.low < coupon.sd < coupon.high
    assert not coupon.holds_readings


def test_coupons_read_once_hold_their_readings():
    seen = coupons(np.random.default_rng(5), cuts=1)
    fit = fit_model((HARD,), trial_terms((HARD,), "main", ()), seen)
    rows = scatter_rows(
        fit, seen, Variance(fit.core.setup_variance, fit.core.coupon_variance, None)
    )
    assert [row.what for row in rows] == ["coupon", "setup"]
    assert rows[0].holds_readings
    assert rows[0].low ** 2 == pytest.approx(
        24 * fit.core.coupon_variance / stats.chi2.ppf(0.975, 24)
    )


def test_a_set_up_scatter_below_zero_is_none_with_an_upper_end():
    seen = coupons(np.random.default_rng(3), setup=0.0)
    fit = fit_model((HARD,), trial_terms((HARD,), "main", ()), seen)
    assert fit.core.setup_variance < 0
    setup = scatter_rows(fit, seen, variance_of(fit, seen))[-1]
    assert (setup.sd, setup.low) == (0.0, 0.0)
    assert setup.high > 0


def test_an_unbalanced_trial_still_holds_its_own_estimate():
    seen = [o for place, o in enumerate(coupons(np.random.default_rng(2))) if place not in (4, 17)]
    fit = fit_model((HARD,), trial_terms((HARD,), "main", ()), seen)
    variance = variance_of(fit, seen)
    raws = (variance.reading, variance.coupon, variance.setup)
    for row, raw in zip(scatter_rows(fit, seen, variance), raws, strict=True):
        assert row.sd**2 == pytest.approx(max(0.0, raw))
        assert row.low <= row.sd <= row.high


def comparison(df):
    return Comparison(
        "gas", "co2", "mix", 1.0, None, 1.0, df, 0.0, 2.0, None, None, 0.05, None, None, None,
        None, None, None, Verdict(None, None, ""),
    )  # fmt: skip


def test_what_more_buys_is_the_planning_formula():
    seen = coupons(np.random.default_rng(5))
    buy = would_buy(comparison(5), HARD, seen, Variance(1.0, 4.0, 0.25))
    spread = Spread(2.0, 1.0, 0.5, readings=2)

    def half(found):
        return stats.t.ppf(0.975, found.df) * found.se

    assert buy.half_width == pytest.approx(half(by_setups(spread, 6, 3, paired=True)))
    by = {row.more: row for row in buy.rows}
    assert by["readings"].half_width == pytest.approx(
        half(by_setups(Spread(2.0, 1.0, 0.5, readings=4), 6, 3, paired=True))
    )
    assert by["coupons"].half_width == pytest.approx(half(by_setups(spread, 6, 6, paired=True)))
    assert by["setups"].half_width == pytest.approx(half(by_setups(spread, 12, 3, paired=True)))
    assert by["setups"].df == 11


def test_a_shuffled_trial_buys_coupons_only():
    seen = coupons(np.random.default_rng(5), cuts=1)
    alone = [
        Observation(o.stamp, None, None, None, o.levels, o.point, o.value, o.readings) for o in seen
    ]
    buy = would_buy(comparison(34), EASY, alone, Variance(None, 4.0, None))
    now, then = shuffled(Spread(2.0), 18), shuffled(Spread(2.0), 36)
    assert buy.half_width == pytest.approx(stats.t.ppf(0.975, 34) * now.se)
    assert [row.more for row in buy.rows] == ["coupons"]
    assert buy.rows[0].half_width == pytest.approx(stats.t.ppf(0.975, 70) * then.se)
    assert would_buy(comparison(None), EASY, alone, Variance(None, 4.0, None)) is None
    assert would_buy(comparison(34), EASY, alone, Variance(None, None, None)) is None
