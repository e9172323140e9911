"""Chances at settings chosen for them, and each gas at its own best: seeded simulation.

The bench is invented: two gases, three settings, three responses that go together, 40 coupons in
8 set-ups (so 3 degrees of freedom judge what changes between set-ups), scatter between set-ups a
half, all or none of that between coupons.  In each simulated trial the fastest travel at which 8
in 10 should pass is chosen; then the true share of fresh coupons there is worked out from the true
surfaces.  Promised: what the map says at the settings it chose is within 5 in 100 of the truth,
averaged over trials, and 80 means 75 to 85 where such settings lie inside the region.
"""

from __future__ import annotations

import importlib.util
import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from weldtrial.analysis.all_pairs import all_pairs
from weldtrial.analysis.chosen_best import compare_bests
from weldtrial.analysis.joint import Limit
from weldtrial.analysis.settings_grid import lay_grid, places_at
from weldtrial.analysis.together import joint_of
from weldtrial.analysis.window import Aim, best, best_on_average, operating_window
from weldtrial.shared.coding import model_matrix
from weldtrial.shared.terms import model_terms

_spec = importlib.util.spec_from_file_location(
    "window_bench", Path(__file__).parents[1] / "analysis" / "window_bench.py"
)
bench = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(bench)

LIMITS = (Limit("penetration", 1.5), Limit("break_load", 80.0), Limit("bend", 80.0))
CORRELATION = np.array([[1, 0.5, 0.2], [0.5, 1, 0.4], [0.2, 0.4, 1]])
SCATTER = np.array([0.2, 4.0, 7.0])
TRIALS = 80


PAGE = re.findall(
    r"^    \d.* (\d+) % +(\d+) % +(\d+) %$",
    (Path(__file__).parents[2] / "cli" / "help" / "window.md").read_text(encoding="utf-8"),
    re.MULTILINE,
)


@dataclass(frozen=True)
class Found:
    said: float
    true: float
    error: float
    none: int
    on_average: float


def truth(names) -> np.ndarray:
    place = {name: column for column, name in enumerate(names)}
    beta = np.zeros((3, len(names)))
    for r, row in enumerate([
        {"Intercept": 2.0, "gas=mix": -0.15, "voltage": 0.2, "wire_feed": 0.25, "travel": -0.3},
        {"Intercept": 84, "gas=mix": 2, "voltage": 1, "wire_feed": 2, "travel": -5},
        {"Intercept": 88, "gas=mix": 1, "voltage": 3, "wire_feed": -1, "travel": -6},
    ]):  # fmt: skip
        for name, value in row.items():
            beta[r, place[name]] = value
    return beta


def play(ratio: float, setups: int, seed: int, *, hard: bool = True, trials: int = TRIALS) -> Found:
    rng = np.random.default_rng(seed)
    gas = replace(bench.GAS, hard_to_change=hard)
    factors = (gas, *bench.FACTORS[1:])
    terms = model_terms(factors, "two-factor")
    points, setup, rounds = bench.layout(rng, factors, setups=setups, gas=gas)
    if not hard:
        setup = np.full(len(points), -1)
    model = model_matrix(factors, terms, points)
    beta = truth(model.names)
    axis = np.linspace(-1, 1, 3)
    grid = places_at(factors, [
        {"gas": g, "voltage": v, "wire_feed": w, "travel": t}
        for g in gas.levels for v in axis for w in axis for t in np.linspace(-1, 1, 21)
    ])  # fmt: skip
    rows = model_matrix(factors, terms, grid.points()).matrix
    root = np.linalg.cholesky(CORRELATION)
    sd = SCATTER * np.sqrt(1 + ratio**2)
    fresh = (root @ rng.standard_normal((3, 20_000))) * sd[:, None]
    floor = np.array([one.at_least for one in LIMITS])[:, None]

    def passing(place: int) -> float:
        return float(np.mean(np.all((beta @ rows[place])[:, None] + fresh >= floor, axis=0)))

    said, true, averages, none = [], [], [], 0
    for trial in range(trials):
        y = model.matrix @ beta.T + (root @ rng.standard_normal((3, len(points)))).T * SCATTER
        if hard:
            y += ((root @ rng.standard_normal((3, setups))).T * SCATTER * ratio)[setup]
        seen = [bench.observations(points, setup, rounds, y[:, r]) for r in range(3)]
        if not hard:
            seen = [[replace(one, setup=None, round=None) for one in rows_] for rows_ in seen]
        surfaces = [
            bench.fitted(limit.response, factors, terms, one)
            for limit, one in zip(LIMITS, seen, strict=True)
        ]
        made = operating_window(
            joint_of(surfaces, seen), LIMITS, Aim("travel"), grid, draws=800, seed=trial
        )
        average = best_on_average(made)
        averages += [passing(average.place)] if average else []
        chosen = best(made)
        if chosen is None:
            none += 1
            continue
        said.append(chosen.chance)
        true.append(passing(chosen.place))
    error = float(np.std(true) / len(true) ** 0.5)
    return Found(float(np.mean(said)), float(np.mean(true)), error, none, float(np.mean(averages)))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("ratio", "setups", "hard"),
    [(0.0, 8, True), (0.5, 8, True), (1.0, 8, True), (0.0, 4, False), (0.0, 8, False)],
)
def test_eight_in_ten_means_75_to_85_at_the_settings_chosen(
    ratio: float, setups: int, hard: bool
) -> None:
    found = play(ratio, setups, seed=11, hard=hard)
    assert found.none < TRIALS / 3
    assert 0.75 - 3 * found.error <= found.true <= 0.85 + 3 * found.error
    assert abs(found.true - found.said) <= 0.05 + 3 * found.error
    rows = [(0.0, 8, True), (0.5, 8, True), (1.0, 8, True), (0.0, 4, False), (0.0, 8, False)]
    row = PAGE[rows.index((ratio, setups, hard))]
    # The page prints these very figures; a rounding may fall the other way elsewhere.
    for printed, value in zip(row, (found.said, found.true, found.on_average), strict=True):
        assert abs(int(printed) - 100 * value) <= 1
    # What averages alone choose passes far less often.
    assert found.on_average < found.true - 0.1


def trials_of(setups: int, ratio: float, seed: int, slope: float):
    """Give simulated fits of one response, without end, each with its true coefficients."""
    rng = np.random.default_rng(seed)
    points, setup, rounds = bench.layout(rng, setups=setups)
    model = model_matrix(bench.FACTORS, bench.TERMS, points)
    while True:
        beta = np.r_[85.0, slope * rng.standard_normal(len(model.names) - 1)]
        y = model.matrix @ beta + rng.standard_normal(len(points))
        y += ratio * rng.standard_normal(setups)[setup]
        seen = bench.observations(points, setup, rounds, y)
        yield bench.fitted("break_load", bench.FACTORS, bench.TERMS, seen), beta


GRID = lay_grid(bench.FACTORS, 3)
ROWS = model_matrix(bench.FACTORS, bench.TERMS, GRID.points()).matrix
SIDES = [ROWS[GRID.of({"gas": gas})] for gas in ("co2", "mix")]
PLAYED = 60
LOW = 0.95 - 3 * (0.95 * 0.05 / PLAYED) ** 0.5
"""Three Monte-Carlo errors below 95 in 100."""


@pytest.mark.slow
@pytest.mark.parametrize("ratio", [0.0, 2.0])
def test_all_pairs_are_covered_at_once_so_any_choosing_is_paid_for(ratio: float) -> None:
    held = 0
    trials = trials_of(8, ratio, seed=7, slope=0.0)
    for one, beta in (next(trials) for _ in range(PLAYED)):
        found = all_pairs(one, SIDES, 0.95, 1000, 1)
        true = (SIDES[0] @ beta)[:, None] - SIDES[1] @ beta
        held += bool(np.all(np.abs(found.difference - true) <= found.half))
    assert held / PLAYED >= LOW


@pytest.mark.slow
@pytest.mark.parametrize(("setups", "ratio", "slope"), [(4, 0.5, 0.0), (8, 0.5, 1.0)])
def test_each_at_its_own_best_is_covered(setups: int, ratio: float, slope: float) -> None:
    # Timid: near 100 in 100, flat surfaces and four set-ups among them.
    bests = chosen = 0
    trials = trials_of(setups, ratio, seed=9, slope=slope)
    for one, beta in (next(trials) for _ in range(PLAYED)):
        gap = compare_bests(one, GRID, "gas", "co2", "mix", draws=500)
        true = float((SIDES[0] @ beta).max() - (SIDES[1] @ beta).max())
        bests += gap.best_low <= true <= gap.best_high
        at = [model_matrix(bench.FACTORS, bench.TERMS, [side.point]).matrix[0] @ beta
              for side in (gap.level, gap.reference)]  # fmt: skip
        chosen += gap.low <= at[0] - at[1] <= gap.high
    assert bests / PLAYED >= 0.95
    assert chosen / PLAYED >= 0.95
