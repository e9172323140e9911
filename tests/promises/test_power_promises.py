"""What planning promises, the analysis delivers: power against the analysis of simulated trials.

Seeded simulation, 10 000 trials a case, analysed as results are analysed (set-ups random, rounds
fixed, Kenward-Roger); each chance within four Monte-Carlo errors of the exact one.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from weldtrial.analysis.mixed import batch_estimates
from weldtrial.analysis.power import Aim, Spread, chance_to_show, detectable, power_difference
from weldtrial.analysis.shape import Shape

TRIALS = 10_000


def bench(shape: Shape, seed: int, spread: Spread, loss: float):
    """Model matrix, set-ups, simulated trials and the contrast second gas minus first."""
    setups = shape.setups or 0
    setup = np.repeat(np.arange(setups), shape.per_setup)
    gas = np.tile(np.repeat([1.0, -1.0], shape.per_round), shape.rounds)[setup]
    rounds = np.eye(shape.rounds)[setup // (2 * shape.per_round)]
    easy = np.tile(np.repeat([-1.0, 1.0], shape.replicates), setups) if shape.combos == 2 else None
    columns = [rounds, gas[:, None]]
    if easy is not None:
        columns += [easy[:, None], (easy * gas)[:, None]]
    x = np.hstack(columns)
    rng = np.random.default_rng(seed)
    between = rng.normal(0, spread.setup, (setups, TRIALS))[setup]
    ys = 80 + between + rng.normal(0, spread.coupon, (len(setup), TRIALS))
    ys += rng.normal(0, 5, (shape.rounds, 1))[setup // (2 * shape.per_round)]
    ys -= loss * (gas < 0)[:, None]
    if easy is not None:
        ys += 3 * easy[:, None]
    contrast = np.zeros(x.shape[1])
    contrast[shape.rounds] = -2.0
    return x, setup, ys, contrast


PLANS = {
    "six rounds of three": Shape(True, 6, replicates=3),
    "three rounds of six": Shape(True, 3, replicates=6),
    "four rounds, an easy factor": Shape(True, 4, combos=2, replicates=2),
    "two set-ups a round": Shape(True, 3, per_round=2, replicates=3),
    "shuffled freely": Shape(True, 1, per_round=4, replicates=3, free=True),
}


def near(share: float, exact: float) -> bool:
    return abs(share - exact) <= 4 * (exact * (1 - exact) / TRIALS) ** 0.5 + 1e-9


@pytest.mark.parametrize("setup_scatter", [0.0, 2.0, 4.0])
@pytest.mark.parametrize("name", PLANS)
def test_a_true_loss_is_shown_as_often_as_planned(name: str, setup_scatter: float) -> None:
    shape, spread = PLANS[name], Spread(4.0, setup_scatter)
    precision = shape.precision(spread)
    loss = detectable(precision.se, precision.df)
    assert loss is not None
    x, setup, ys, contrast = bench(shape, 1, spread, loss)
    found = batch_estimates(x, setup, ys, contrast)
    assert np.allclose(found.df, precision.df)
    assert near(float(np.mean(found.p < 0.05)), 0.8)


@pytest.mark.parametrize("name", PLANS)
def test_no_worse_and_equal_enough_are_shown_as_often_as_planned(name: str) -> None:
    shape, spread, margin = PLANS[name], Spread(4.0, 2.0), 5.0
    precision = shape.precision(spread)
    x, setup, ys, contrast = bench(shape, 2, spread, 0.0)
    found = batch_estimates(x, setup, ys, contrast)
    low, high = found.interval(0.90)
    no_worse = chance_to_show(Aim("no-worse", margin, 80.0), precision)
    equal = chance_to_show(Aim("equal-enough", margin, 80.0), precision)
    assert no_worse is not None
    assert equal is not None
    assert near(float(np.mean(low > -margin)), no_worse)
    assert near(float(np.mean((low > -margin) & (high < margin))), equal)


def test_a_percent_margin_is_shown_as_often_as_planned() -> None:
    shape, spread, fraction = PLANS["six rounds of three"], Spread(4.0, 2.0), 0.06
    precision = shape.precision(spread)
    aim = Aim("no-worse", 4.8, 80.0, fraction)
    x, setup, ys, _ = bench(shape, 3, spread, 0.0)
    # Mean of a gas over the rounds: the round columns averaged, plus or minus the gas column.
    first, second = np.full(x.shape[1], 1 / 6), np.full(x.shape[1], 1 / 6)
    first[-1], second[-1] = 1.0, -1.0
    # The rounds' own means, drawn once, move the mean that 6 % is taken of; centre them.
    ys = ys - ys.mean() + 80.0
    found = batch_estimates(x, setup, ys, second - (1 - fraction) * first)
    low, _ = found.interval(0.90)
    exact = chance_to_show(aim, precision)
    assert exact is not None
    assert near(float(np.mean(low > 0)), exact)


def test_a_complete_shuffle_shows_a_loss_as_often_as_planned() -> None:
    shape = Shape(False, rounds=2, combos=4, replicates=2, terms=3)
    spread = Spread(4.0, 2.0)
    a = np.tile([-1.0, -1.0, 1.0, 1.0], 4)
    b = np.tile([-1.0, 1.0], 8)
    blocks = np.repeat(np.eye(2), 8, axis=0)
    x = np.column_stack([blocks, a, b, a * b])
    rng = np.random.default_rng(4)
    ys = rng.normal(0, spread.alone, (16, TRIALS)) + 5.0 * a[:, None] / 2 + blocks @ [[1.0], [7.0]]
    solved, residual, rank, _ = np.linalg.lstsq(x, ys, rcond=None)
    precision = shape.precision(spread)
    assert precision.df == 16 - rank == 11
    t = 2 * solved[2] / np.sqrt(residual / precision.df * 4 / 16)
    shown = np.mean(np.abs(t) > stats.t.ppf(0.975, precision.df))
    assert near(float(shown), power_difference(5.0, precision.se, precision.df))
