"""Graded findings at 8, 16 and 32 coupons: false alarms and coverage, with and without set-ups.

Grades are cut out of a normal scale with a stated correlation within set-ups; seeds fixed, bounds
of three Monte-Carlo errors.  The larger grids (1500 to 20 000 trials) are quoted in `ordinal` and
`ranks`.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.ordinal import check_odds, fit_ordinal
from weldtrial.analysis.ranks import better_interval, rank_test, rank_test_setups
from weldtrial.analysis.redraw import all_arrangements
from weldtrial.analysis.respond_grades import chance_ends
from weldtrial.shared.problems import NotEstimable

THREE = (0.40, 0.35, 0.25)
FIVE = (0.40, 0.25, 0.20, 0.10, 0.05)


def error(rate, trials):
    return (rate * (1 - rate) / trials) ** 0.5


def graded(rng, grades, setups, coupons, correlation=0.0, shift=0.0):
    """Grades of one level, shape (setups * coupons,)."""
    own = (1 - correlation) ** 0.5 * rng.standard_normal((setups, coupons))
    shared = correlation**0.5 * rng.standard_normal((setups, 1))
    cuts = stats.norm.ppf(np.cumsum(grades)[:-1])
    return np.searchsorted(cuts, (own + shared + shift).ravel())


def chance_better(grades, shift):
    """True chance that the shifted level grades higher, ties half."""
    cuts = stats.norm.ppf(np.cumsum(grades)[:-1])
    new = np.diff(np.concatenate([[0], stats.norm.cdf(cuts - shift), [1]]))
    old = np.array(grades)
    return float(new @ (np.cumsum(old) - old / 2))


def alarms(rng, trials, grades, setups, coupons, correlation, test):
    """Share of trials of two equal gases in which `test` has p of .05 or less."""
    new = np.repeat([1, 0], setups * coupons)
    hits = 0
    for _ in range(trials):
        grade = np.concatenate(
            [graded(rng, grades, setups, coupons, correlation) for _ in range(2)]
        )
        if grade.min() < grade.max():
            hits += test(grade, new) <= 0.05
    return hits / trials


@pytest.mark.parametrize(("coupons", "seed"), [(4, 1), (8, 2), (16, 3)])
@pytest.mark.parametrize("grades", [THREE, FIVE])
def test_exact_rank_test_keeps_its_promise(coupons, seed, grades):
    rng = np.random.default_rng(seed)
    found = alarms(rng, 600, grades, coupons, 1, 0.0, lambda g, new: rank_test(g, new).p)
    assert found <= 0.05 + 3 * error(0.05, 600)


@pytest.mark.parametrize(("coupons", "seed"), [(8, 4), (16, 5)])
def test_proportional_odds_alarm_about_as_often_as_said(coupons, seed):
    """.052 to .066 in the larger grid."""

    def p(grade, new):
        try:
            return fit_ordinal(new[:, None], grade).profile([1.0]).p
        except NotEstimable:
            return 1.0

    found = alarms(np.random.default_rng(seed), 400, FIVE, coupons, 1, 0.0, p)
    assert found <= 0.066 + 3 * error(0.066, 400)


@pytest.mark.parametrize(("coupons", "seed"), [(8, 6), (16, 7)])
def test_check_of_the_odds_alarms_about_as_often_as_said(coupons, seed):
    """.045 to .071 at 8 + 8, .049 to .057 at 16 + 16 in the larger grid, odds truly alike."""
    rng, trials, hits = np.random.default_rng(seed), 400, 0
    below = np.log(np.cumsum([0.25] * 3) / (1 - np.cumsum([0.25] * 3)))
    for _ in range(trials):
        latent = rng.logistic(size=2 * coupons) + np.repeat([0.0, 1.0], coupons)
        try:
            fit = fit_ordinal(np.repeat([[0.0], [1.0]], coupons, axis=0),
                              np.searchsorted(below, latent))  # fmt: skip
        except NotEstimable:
            continue
        hits += check_odds(fit, [0]).verdict == "fails"
    assert hits / trials <= 0.071 + 3 * error(0.071, trials)


@pytest.mark.parametrize(("setups", "coupons", "smallest"), [(4, 2, 2 / 70), (4, 4, 2 / 70)])
def test_dealing_set_ups_keeps_the_promise_and_dealing_coupons_does_not(setups, coupons, smallest):
    """Correlation .5: 8 set-ups of 2 and of 4."""
    setup = np.repeat(np.arange(2 * setups), coupons)
    deals = all_arrangements(np.repeat([1, 0], setups))

    def p(grade, new):
        found = rank_test_setups(grade, new, setup, deals)
        assert found.smallest >= smallest - 1e-12
        return found.p

    whole = alarms(np.random.default_rng(8), 600, FIVE, setups, coupons, 0.5, p)
    assert whole <= 0.05 + 3 * error(0.05, 600)
    single = alarms(
        np.random.default_rng(8), 600, FIVE, setups, coupons, 0.5,
        lambda g, new: rank_test(g, new).p,
    )  # fmt: skip
    assert single > 0.05 + 3 * error(0.05, 600)


@pytest.mark.parametrize(
    ("setups", "coupons", "correlation"), [(8, 1, 0.0), (16, 1, 0.0), (4, 2, 0.3), (4, 4, 0.3)]
)
@pytest.mark.parametrize(("grades", "shift"), [(THREE, 0.0), (FIVE, 0.8), (FIVE, 1.6)])
def test_interval_of_the_chance_covers(setups, coupons, correlation, grades, shift):
    rng, trials = np.random.default_rng([setups, coupons, int(10 * shift)]), 500
    new, setup = np.repeat([1, 0], setups * coupons), np.repeat(np.arange(2 * setups), coupons)
    truth, covered = chance_better(grades, shift), 0
    for _ in range(trials):
        grade = np.concatenate(
            [graded(rng, grades, setups, coupons, correlation, s) for s in (shift, 0.0)]
        )
        if grade.min() == grade.max():
            covered += 1
            continue
        low, high = better_interval(grade, new, setup if coupons > 1 else None)
        covered += low <= truth <= high
    assert covered / trials >= 0.95 - 3 * error(0.95, trials)


@pytest.mark.parametrize("coupons", [8, 16])
@pytest.mark.parametrize(("grades", "odds"), [((0.1, 0.3, 0.3, 0.3), 12.0), (FIVE[::-1], 12.0)])
def test_interval_of_the_chance_covers_near_its_ceiling(coupons, grades, odds):
    """Proportional odds so large that most coupons of one gas have the best grade.

    At the fitted thresholds alone the truth lay past the far end in 15 to 40 of 100 trials.
    """
    rng, trials, covered, fitted = np.random.default_rng([coupons, len(grades)]), 250, 0, 0
    new, cuts = np.repeat([1, 0], coupons), stats.logistic.ppf(np.cumsum(grades)[:-1])
    shares = np.diff(np.concatenate([[0], stats.logistic.cdf(cuts - np.log(odds)), [1]]))
    truth = float(shares @ (np.cumsum(grades) - np.array(grades) / 2))
    for _ in range(trials):
        latent = rng.logistic(size=2 * coupons) + np.log(odds) * new
        grade = np.searchsorted(cuts, latent)
        try:
            fit = fit_ordinal(new[:, None], grade)
        except NotEstimable:
            continue
        if not fit.enough or check_odds(fit, [0]).verdict != "holds":
            continue
        apart = better_interval(grade, new, None)
        low, high = chance_ends(fit, np.zeros(1), fit.profile([1.0]).interval(0.95), apart)
        fitted += 1
        covered += low <= truth <= high
    assert fitted > 50
    assert covered / fitted >= 0.95 - 3 * error(0.95, fitted)
