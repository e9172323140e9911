"""What an earlier trial's results say of scatter: against the mean squares of the strata."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from weldtrial.analysis.pilot import pilot_of
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEnough, NotEstimable
from weldtrial.shared.record import Coupon, Reading, Record
from weldtrial.shared.responses import Response, Typical
from weldtrial.shared.trial import Trial

LOAD = Response("load", "kN")
GAS = Factor("gas", "category", ("mix", "co2"), hard_to_change=True)


def welded(values, *, hard: bool = True, setups: bool = True) -> tuple[Trial, Record]:
    """A trial of two gases: values by round, gas and coupon (rounds, 2, coupons)."""
    coupons = []
    rounds, _, each = values.shape
    for place, value in np.ndenumerate(values):
        number, gas, _ = place
        coupons.append(
            Coupon(
                f"C{len(coupons)}",
                "count",
                len(coupons) + 1,
                number + 1,
                2 * number + gas + 1 if setups else None,
                {"gas": GAS.levels[gas]},
                {},
                welded=True,
                readings={"load": (Reading("number", value=float(value)),)},
            )
        )
    trial = Trial("a pilot", (replace(GAS, hard_to_change=hard),), (LOAD,))
    return trial, Record(tuple(coupons), rounds * 2 * each)


def drawn(rounds: int = 5, each: int = 4, setup: float = 2.0, seed: int = 3):
    rng = np.random.default_rng(seed)
    base = 80 + np.arange(rounds)[:, None, None] + np.array([0.0, -4.0])[None, :, None]
    return base + rng.normal(0, setup, (rounds, 2, 1)) + rng.normal(0, 4, (rounds, 2, each))


def test_mean_squares_of_the_strata() -> None:
    values = drawn()
    found = pilot_of(*welded(values), LOAD)
    inside = values - values.mean(axis=2, keepdims=True)
    within = (inside**2).sum() / 30
    gaps = values.mean(axis=2)[:, 1] - values.mean(axis=2)[:, 0]
    between = gaps.var(ddof=1) / 2  # variance of one set-up's mean, rounds and gases taken out
    assert found.df_coupon == 30
    assert found.df_setup == 4
    assert found.sd_coupon == pytest.approx(within**0.5, rel=1e-3)
    assert found.sd_setup == pytest.approx((between - within / 4) ** 0.5, rel=1e-3)
    assert found.mean == pytest.approx(values.mean(), rel=1e-3)
    assert (found.coupons, found.setups) == (40, 10)
    assert (found.pilot_coupons, found.pilot_setups) == (35, 5)


def test_set_ups_that_agree_better_than_chance_are_written_as_nought() -> None:
    values = drawn(setup=0.0, seed=1)
    values -= values.mean(axis=2, keepdims=True)
    found = pilot_of(*welded(values + 80), LOAD)
    assert found.sd_setup == 0.0
    assert found.df_setup == 4


def test_coupons_set_up_anew_hold_both_and_leave_the_files_set_ups() -> None:
    values = drawn()
    trial, record = welded(values, hard=False, setups=False)
    found = pilot_of(trial, record, LOAD)
    assert found.sd_setup is found.df_setup is found.setups is None
    assert found.df_coupon == 40 - 5 - 1
    kept = found.typical("pilot", Typical(70, 3, 1.5, pilot_setups=3))
    assert (kept.sd_setup, kept.pilot_setups, kept.pilot_coupons) == (1.5, None, 35)


def test_one_set_up_of_each_shows_coupons_alone() -> None:
    found = pilot_of(*welded(drawn(rounds=1)), LOAD)
    assert found.df_setup is None
    assert found.df_coupon == 6
    assert found.setups == 2


def capped(record: Record, most: float) -> Record:
    """Stop the press at `most`."""
    coupons = []
    for coupon in record.coupons:
        reading = coupon.readings["load"][0]
        if (reading.value or 0.0) > most:
            reading = Reading("above", low=most, text=f">{most:g}")
        coupons.append(replace(coupon, readings={"load": (reading,)}))
    return replace(record, coupons=tuple(coupons))


@pytest.mark.parametrize("hard", [True, False])
def test_coupons_past_the_gauge_hide_little_of_the_scatter(hard: bool) -> None:
    """24 seeded pilots, a fifth of each past the press, against the same pilots read in full.

    One ratio of the two scatters has a standard deviation of 0.07, so that their average has a
    Monte-Carlo error of 0.014 (asserted); three and a half of those are allowed.
    """
    ratios, means, as_read = [], [], []
    for seed in range(24):
        trial, record = welded(drawn(rounds=6, setup=2.0, seed=seed), hard=hard, setups=hard)
        values = np.array([c.readings["load"][0].value or 0.0 for c in record.coupons])
        most = float(np.quantile(values, 0.8))
        whole = pilot_of(trial, record, LOAD)
        found = pilot_of(trial, capped(record, most), LOAD)
        ratios.append(found.sd_coupon / whole.sd_coupon)
        means.append(found.mean - whole.mean)
        as_read.append(float(np.minimum(values, most).mean()) - whole.mean)
        assert found.df_coupon < whole.df_coupon
        # A set-up of which nothing was read leaves one fewer to show how set-ups differ.
        assert found.df_setup is whole.df_setup or found.df_setup in (4, 5)
    assert np.std(ratios) / 24**0.5 < 0.015
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.05)
    # The limit taken as the value would lower the mean over everything by more than 0.5 kN.
    assert np.mean(means) == pytest.approx(0.0, abs=0.2)
    assert np.mean(as_read) < -0.5


def test_nothing_read_and_nothing_over() -> None:
    trial, record = welded(drawn())
    empty = replace(record, coupons=tuple(replace(c, readings={}) for c in record.coupons))
    with pytest.raises(NotEnough, match="Nothing of load has been read"):
        pilot_of(trial, empty, LOAD)
    with pytest.raises((NotEnough, NotEstimable)):
        pilot_of(*welded(np.full((3, 2, 2), 80.0)), LOAD)
