"""Pass or fail at 8, 16 and 32 coupons: false alarms and coverage, with and without set-ups.

Without set-ups every outcome is counted out.  With set-ups trials are simulated: beta-binomial
set-ups with a stated intraclass correlation, seeds fixed, bounds of three Monte-Carlo errors.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.firth import fit_firth
from weldtrial.analysis.proportions import boschloo_rejects
from weldtrial.analysis.setup_proportions import by_setups

SHARES = np.linspace(0.005, 0.995, 199)
TRIALS = 1_500
ERROR = (0.05 * 0.95 / TRIALS) ** 0.5


def profiles(of):
    """Firth's profile of the gas for every outcome of two gases; None where all passed or none."""
    x = np.column_stack([np.ones(2 * of), np.repeat([1.0, 0.0], of)])
    found = {}
    for passed in range(of + 1):
        for reference in range(of + 1):
            if 0 < passed + reference < 2 * of:
                y = np.concatenate([np.arange(of) < passed, np.arange(of) < reference])
                found[passed, reference] = fit_firth(x, y).profile([0, 1])
    return found


def chance_of(outcomes, shares, others):
    """Chance of the outcomes marked (n + 1, n + 1) at shares (k,) of the two gases."""
    of = len(outcomes) - 1
    one, two = (stats.binom.pmf(np.arange(of + 1)[:, None], of, s) for s in (shares, others))
    return np.einsum("ak,ab,bk->k", one, outcomes.astype(float), two)


@pytest.mark.parametrize(("of", "firth", "exact"), [(4, 0.070, 0.008), (8, 0.053, 0.028)])
def test_false_alarms_counted_out(of, firth, exact):
    """As the table of `analysis/firth.py` says; at 4 + 4 Firth's chi-squared is too coarse."""
    alarms = np.zeros((of + 1, of + 1), dtype=bool)
    for outcome, profile in profiles(of).items():
        alarms[outcome] = profile.p < 0.05
    assert round(chance_of(alarms, SHARES, SHARES).max(), 3) == firth
    assert round(chance_of(boschloo_rejects(of, of), SHARES, SHARES).max(), 3) == exact


def test_firth_interval_covers_the_odds_ratio():
    """8 + 8 coupons, every outcome: where an interval exists it misses in .061 of trials at most.

    The log odds ratio runs from -4 to 4 around shares of .2 to .8 of the reference; outcomes
    without an interval (all passed, none passed) are left out on both sides.
    """
    intervals = {outcome: profile.interval() for outcome, profile in profiles(8).items()}
    worst = {}
    for reference in (0.2, 0.5, 0.8):
        for log in np.linspace(-4, 4, 17):
            odds = reference / (1 - reference) * np.exp(log)
            share = odds / (1 + odds)
            missed, given = np.zeros((9, 9)), np.zeros((9, 9))
            for outcome, (low, high) in intervals.items():
                given[outcome] = 1.0
                missed[outcome] = not low <= log <= high
            chances = [
                chance_of(m, np.array([share]), np.array([reference]))[0] for m in (missed, given)
            ]
            worst[reference, log] = chances[0] / chances[1]
    assert max(worst.values()) < 0.062
    assert np.mean(list(worst.values())) < 0.05


def by_setup(rng, share, correlation, setups, coupons, trials):
    """Coupons that passed on every set-up, shape (trials, setups)."""
    if correlation:
        a = (1 - correlation) / correlation
        share = rng.beta(share * a, (1 - share) * a, size=(trials, setups))
    return rng.binomial(coupons, share, size=(trials, setups))


@pytest.mark.parametrize(
    ("setups", "coupons", "low", "high"), [(4, 2, 0.04, 0.07), (4, 4, 0.11, 0.15)]
)
def test_exact_tests_alarm_when_coupons_of_a_set_up_are_counted(setups, coupons, low, high):
    """Boschloo's test of 8 + 8 and 16 + 16 coupons, correlation .3, share .3: not 5 in 100."""
    rng = np.random.default_rng(300 + coupons)
    one, two = (by_setup(rng, 0.3, 0.3, setups, coupons, 20_000).sum(axis=1) for _ in range(2))
    assert low < boschloo_rejects(setups * coupons, setups * coupons)[one, two].mean() < high


@pytest.mark.parametrize("paired", [True, False])
@pytest.mark.parametrize(
    ("setups", "coupons", "share", "correlation"),
    [(4, 2, 0.5, 0.3), (4, 4, 0.3, 0.3), (6, 2, 0.5, 0.3), (6, 4, 0.5, 0.0), (6, 4, 0.1, 0.3)],
)
def test_set_ups_keep_the_promise(paired, setups, coupons, share, correlation):
    """At most .054 in the 20 000 trials behind `analysis/setup_proportions.py`."""
    rng = np.random.default_rng([setups, coupons, int(10 * share), int(10 * correlation)])
    one, two = (by_setup(rng, share, correlation, setups, coupons, TRIALS) for _ in range(2))
    new, of = np.repeat([1, 0], setups), np.full(2 * setups, coupons)
    rounds = [*range(setups)] * 2 if paired else None
    alarms = 0
    for passed in np.hstack([one, two]):
        if 0 < passed.sum() < of.sum():
            found = by_setups(passed, of, new, rounds=rounds)
            alarms += found.difference is not None and found.p < 0.05
    assert alarms / TRIALS <= 0.054 + 3 * ERROR


@pytest.mark.parametrize(
    ("shares", "bound"), [((0.9, 0.5), 0.05), ((0.9, 0.7), 0.04), ((0.95, 0.3), 0.04)]
)
def test_set_up_intervals_miss_no_more_than_said(shares, bound):
    """6 + 6 set-ups of 4, correlation .3: .045, .031 and .032 in 20 000 (t alone to .077)."""
    rng = np.random.default_rng(int(1000 * sum(shares)))
    one, two = (by_setup(rng, share, 0.3, 6, 4, TRIALS) for share in shares)
    new, of, truth = np.repeat([1, 0], 6), np.full(12, 4), shares[0] - shares[1]
    missed = 0
    for passed in np.hstack([one, two]):
        if passed.sum() == of.sum():
            continue  # no interval is given, so none misses
        found = by_setups(passed, of, new, rounds=[*range(6)] * 2)
        if found.difference is not None:
            low, high = found.interval()
            missed += not low <= truth <= high
    assert missed / TRIALS <= bound + 3 * (bound * (1 - bound) / TRIALS) ** 0.5
