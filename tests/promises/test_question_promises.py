"""Every question of ``weldtrial power`` on every layout, against the analysis of simulated trials.

Seeded simulation, 4 000 trials a case, analysed as results are analysed: set-ups random with
Kenward-Roger (`batch_estimates`, `batch_tests`), else least squares; each chance within four
Monte-Carlo errors of the exact one.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import special, stats

from weldtrial.analysis.least_squares import fit_least_squares
from weldtrial.analysis.linear import term_test
from weldtrial.analysis.mixed import batch_estimates, batch_tests
from weldtrial.analysis.power import Aim, Spread, chance_to_show, detectable, power_difference
from weldtrial.analysis.precision import Groups
from weldtrial.analysis.shape import Shape
from weldtrial.analysis.term_power import AskedTerm, term_powers
from weldtrial.analysis.width import half_width
from weldtrial.doe.layout import make_layout
from weldtrial.doe.matrix import planned_matrix
from weldtrial.shared.coding import unit_effects
from weldtrial.shared.factors import Factor
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Budget, Design, Trial

TRIALS = 4_000
SPREAD = Spread(4.0, 2.0)


def near(share: float, exact: float, errors: float = 4.0) -> bool:
    return abs(share - exact) <= errors * (exact * (1 - exact) / TRIALS) ** 0.5 + 1e-9


def number(name: str, unit: str, *at: float, hard: bool = False) -> Factor:
    levels = tuple(f"{value:g}" for value in at)
    return Factor(name, "numeric", levels, unit=unit, settings={"": at}, hard_to_change=hard)


GAS = Factor("gas", "category", ("mix", "co2"), hard_to_change=True, control="mix")
THREE = replace(GAS, levels=("mix", "co2", "m20"))
EASY_GAS = replace(THREE, hard_to_change=False)
PREHEAT = number("preheat", "°C", 20.0, 100.0, hard=True)
FEED = number("wire_feed", "m/min", 7.5, 9.5)
VOLTS = number("voltage", "V", 24.3, 27.4)
TRAVEL = number("travel", "cm/min", 30.0, 50.0)
STICK = number("stick_out", "mm", 12.0, 18.0)


def trial_of(*factors: Factor, coupons: int | None = None, **design: object) -> Trial:
    return Trial(
        "A trial",
        factors,
        (Response("break_load", "kN"),),
        design=Design(**design),  # type: ignore[arg-type]
        budget=Budget(coupons),
    )


LAYOUTS = {
    "completely shuffled": trial_of(EASY_GAS, FEED, replicates=3, model="two-factor"),
    "blocks": trial_of(FEED, VOLTS, rounds=3, replicates=3, model="two-factor"),
    "rounds": trial_of(THREE, FEED, rounds=4, replicates=2, model="two-factor"),
    "free set-ups": trial_of(GAS, FEED, rounds=1, set_ups=8, coupons=32, model="two-factor"),
    "two hard factors": trial_of(GAS, PREHEAT, FEED, rounds=3, model="two-factor"),
    "halves by round": trial_of(GAS, FEED, VOLTS, rounds=4, coupons=16),
    "a fraction": trial_of(FEED, VOLTS, TRAVEL, STICK, kind="fraction", runs=8, replicates=2),
}


@pytest.mark.parametrize("name", LAYOUTS)
def test_every_term_is_shown_as_often_as_planned(name: str) -> None:
    """An effect of the smallest size probably seen, in the least noticeable way it can lie."""
    trial = LAYOUTS[name]
    planned = planned_matrix(trial, make_layout(trial))
    x, setup = planned.matrix, planned.setup
    terms = [
        AskedTerm(term.name, columns, unit_effects(trial.varied, term))
        for term, columns in zip(planned.terms, planned.columns, strict=True)
    ]
    rng = np.random.default_rng(len(name))
    noise = rng.normal(0, SPREAD.coupon, (len(x), TRIALS))
    if setup is None:
        noise += rng.normal(0, SPREAD.setup, noise.shape)
    else:
        noise += rng.normal(0, SPREAD.setup, (setup.max() + 1, TRIALS))[setup]
    for term, own in zip(terms, term_powers(x, setup, SPREAD, terms), strict=True):
        assert own.detectable is not None
        effect = x[:, term.columns] @ term.effects[0] * own.detectable
        rows = np.eye(x.shape[1])[list(term.columns)]
        ys = 80.0 + effect[:, None] + noise
        p = _least_squares_p(x, ys, rows) if setup is None else batch_tests(x, setup, ys, rows).p
        assert near(float(np.mean(p < 0.05)), 0.8), term.name


def _least_squares_p(x: np.ndarray, ys: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """F tests of many responses; the first is held against the analysis' own."""
    solved, residual, rank, _ = np.linalg.lstsq(x, ys, rcond=None)
    df = len(x) - rank
    inner = np.linalg.inv(rows @ np.linalg.inv(x.T @ x) @ rows.T)
    values = rows @ solved
    f = np.einsum("im,ij,jm->m", values, inner, values) / len(rows) / (residual / df)
    p = special.fdtrc(len(rows), df, f)
    assert term_test(fit_least_squares(x, ys[:, 0]), rows).p == pytest.approx(p[0], rel=1e-6)
    return np.asarray(p)


@pytest.mark.parametrize("numbers", [(6, 4), (3, 7)])
def test_unequal_set_ups_show_what_was_planned(numbers: tuple[int, int]) -> None:
    groups = Groups(*numbers, 3)
    precision = groups.precision(SPREAD)
    loss = detectable(precision.se, precision.df)
    assert loss is not None
    setup = np.repeat(np.arange(sum(numbers)), 3)
    new = (setup < numbers[0]).astype(float)
    x = np.column_stack([np.ones(len(setup)), new])
    rng = np.random.default_rng(sum(numbers))
    noise = rng.normal(0, 2.0, (sum(numbers), TRIALS))[setup] + rng.normal(
        0, 4.0, (len(setup), TRIALS)
    )
    found = batch_estimates(x, setup, 80.0 - loss * new[:, None] + noise, np.array([0.0, 1.0]))
    assert np.allclose(found.df, precision.df)
    assert near(float(np.mean(found.p < 0.05)), 0.8)
    half = (found.interval()[1] - found.interval()[0]) / 2
    planned = half_width(precision)
    assert planned is not None
    assert near(float(np.mean(half <= planned.probable)), 0.8)
    # A percent margin holds each gas's own variance: no worse by 6 %, truly equal.
    aim = Aim("no-worse", 4.8, 80.0, 0.06)
    tested = batch_estimates(x, setup, 80.0 + noise, np.array([1.0, 1.0]) - 0.94 * np.eye(2)[0])
    exact = chance_to_show(aim, precision)
    assert exact is not None
    assert near(float(np.mean(tested.interval(0.90)[0] > 0)), exact)
    equal = chance_to_show(Aim("equal-enough", 4.8, 80.0, 0.06), precision)
    over = batch_estimates(x, setup, 80.0 + noise, np.array([1.0, 1.0]) - 1.06 * np.eye(2)[0])
    shown = (tested.interval(0.90)[0] > 0) & (over.interval(0.90)[1] < 0)
    assert equal is not None
    assert near(float(np.mean(shown)), equal)


def test_unequal_coupons_show_what_was_planned() -> None:
    """By scipy's pooled t test."""
    precision = Groups(10, 14).precision(SPREAD)
    rng = np.random.default_rng(24)
    new = rng.normal(75.0, SPREAD.alone, (10, TRIALS))
    old = rng.normal(80.0, SPREAD.alone, (14, TRIALS))
    p = stats.ttest_ind(new, old).pvalue
    assert near(float(np.mean(p < 0.05)), power_difference(5.0, precision.se, precision.df))


@pytest.mark.parametrize("readings", [1, 2, 5])
def test_repeat_readings_show_what_was_planned(readings: int) -> None:
    """Readings are drawn one by one, averaged into coupons, and analysed by set-ups."""
    spread = Spread(3.0, 2.0, 4.0, readings)
    shape = Shape(True, 5, replicates=2)
    precision = shape.precision(spread)
    loss = detectable(precision.se, precision.df)
    assert loss is not None
    setup = np.repeat(np.arange(10), 2)
    gas = np.where(setup % 2, 1.0, -1.0)
    x = np.column_stack([np.eye(5)[setup // 2], gas])
    rng = np.random.default_rng(readings)
    read = rng.normal(0, 4.0, (readings, 20, TRIALS)).mean(axis=0)
    ys = 80 + rng.normal(0, 2.0, (10, TRIALS))[setup] + rng.normal(0, 3.0, (20, TRIALS)) + read
    ys += loss / 2 * gas[:, None]
    found = batch_estimates(x, setup, ys, np.array([0.0] * 5 + [2.0]))
    assert near(float(np.mean(found.p < 0.05)), 0.8)


def test_best_of_three_gases_is_shown_as_often_as_planned() -> None:
    """All three adjusted intervals from the analysis' own critical value."""
    from weldtrial.analysis.selection import chance_best_is_shown, chance_best_looks_best

    shape = Shape(True, 5, replicates=3, levels=3, hard_columns=2, family="pairs")
    precision, lead = shape.precision(SPREAD), 5.0
    setup = np.repeat(np.arange(15), 3)
    gas = np.eye(3)[setup % 3]
    x = np.column_stack([np.eye(5)[setup // 3], gas[:, :2] - gas[:, 2:]])
    rng = np.random.default_rng(3)
    ys = 80 + rng.normal(0, 2.0, (15, TRIALS))[setup] + rng.normal(0, 4.0, (45, TRIALS))
    ys += rng.normal(0, 9.0, (5, 1))[setup // 3] + lead * gas[:, :1]
    cut = stats.studentized_range.ppf(0.95, 3, precision.df) / np.sqrt(2)
    first = batch_estimates(x, setup, ys, np.array([0.0] * 5 + [1.0, -1.0]))
    last = batch_estimates(x, setup, ys, np.array([0.0] * 5 + [2.0, 1.0]))
    assert np.allclose(first.df, precision.df)
    looks = np.mean((first.estimate > 0) & (last.estimate > 0))
    shown = np.mean((first.estimate > cut * first.se) & (last.estimate > cut * last.se))
    assert near(float(looks), chance_best_looks_best(3, lead, precision.variance))
    assert near(float(shown), chance_best_is_shown(3, lead, precision))
