"""A pilot, then a plan made from it, then the trial: what is delivered is the averaged chance.

Seeded simulation of 200 000 pilots, each followed by a trial of the size that the pilot's figures
ask for and by its t test.  The averaged chance is scale-free, so the share delivered over pilots
(the truth held) equals it but for whole numbers of coupons or rounds, kept small by a small
difference; both within 0.01 (Monte-Carlo error 0.0011).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.assurance import Uncertain, averaged_chance
from weldtrial.analysis.power import Aim, Spread, detectable
from weldtrial.analysis.shape import Shape

PILOTS = 200_000
GAP = 0.3


def sizes(se_of_one, df_of, most: int):
    """Scatter up to which each size is enough for 80 %, the size being 2, 3, ..."""
    units = np.unique(np.concatenate([np.arange(2, 200), np.geomspace(200, most, 400).astype(int)]))
    reach = np.array([GAP / detectable(se_of_one(n), df_of(n)) for n in units])
    return units, reach


def planned(scatter, units, reach):
    place = np.minimum(np.searchsorted(reach, scatter), len(units) - 1)
    return units[place]


def shown(rng, units, truth: float, factor: float, df):
    se = truth * np.sqrt(factor / units)
    t = (rng.normal(GAP, 1 * se) / se) / np.sqrt(rng.chisquare(df) / df)
    return float(np.mean(np.abs(t) > stats.t.ppf(0.975, df)))


@pytest.mark.parametrize("df", [2, 4, 7])
def test_coupons_pilot_plan_trial(df: int) -> None:
    rng = np.random.default_rng(100 + df)
    scatter = np.sqrt(rng.chisquare(df, PILOTS) / df)
    units, reach = sizes(lambda n: np.sqrt(2 / n), lambda n: 2 * n - 2, 200_000)
    n = planned(scatter, units, reach)
    delivered = shown(rng, n, 1.0, 2.0, 2 * n - 2)
    one = int(planned(np.array([1.0]), units, reach)[0])
    shape = Shape(False, 1, combos=2, replicates=one)
    found = averaged_chance(shape, Uncertain(Spread(1.0), df), Aim("difference", GAP, 0.0))
    assert found < 0.79
    assert abs(delivered - found) < 0.01


@pytest.mark.parametrize("setups", [4, 8])
def test_set_ups_pilot_plan_trial(setups: int) -> None:
    # Coupons of a set-up: three in the pilot and in the trial; set-ups scatter as much as coupons.
    each, rng = 3, np.random.default_rng(200 + setups)
    truth = np.sqrt(1 + 1 / each)
    coupon = np.sqrt(rng.chisquare(setups * (each - 1), PILOTS) / (setups * (each - 1)))
    mean_square = truth**2 * rng.chisquare(setups - 1, PILOTS) / (setups - 1)
    units, reach = sizes(lambda n: np.sqrt(2 / n), lambda n: n - 1, 400_000)
    rounds = planned(np.sqrt(mean_square), units, reach)
    delivered = shown(rng, rounds, truth, 2.0, rounds - 1)
    one = int(planned(np.array([truth]), units, reach)[0])
    shape = Shape(True, one, replicates=each)
    uncertain = Uncertain(Spread(1.0, 1.0), setups * (each - 1), setups - 1, each)
    found = averaged_chance(shape, uncertain, Aim("difference", GAP, 0.0))
    assert found < 0.75
    assert abs(delivered - found) < 0.01
    # A person writes down sd_setup = 0 where the set-ups agreed better than chance, and so plans
    # larger than the mean square says: more is delivered, not less (0.02 more with four set-ups).
    setup = np.sqrt(np.maximum(0.0, mean_square - coupon**2 / each))
    rounds = planned(np.hypot(setup, coupon / np.sqrt(each)), units, reach)
    assert shown(rng, rounds, truth, 2.0, rounds - 1) > delivered - 0.005
