"""The level at which a re-sized trial reads its one-sided limits.

The lumped scatter is small when the gaps of the first rounds happen to lie near zero.  If the
truth is a loss of just the margin, those are the lucky trials, and they are the ones that end
early: read at the plain 5 %, "no worse" would then be claimed falsely in up to 9 of 100 trials
that are sized after three rounds (simulated; for the effect see Friede & Kieser 2003, *Statistics
in Medicine* 22:995-1007, citation from memory).  So the limits are read at a smaller level, chosen
so that whatever the true scatter is, 5 false claims in 100 are not exceeded.  The two-sided
interval needs no such care: without a true gap its false alarms stay at 5 to 5.5 in 100.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy import special

from weldtrial.analysis.levels import ALPHA
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.power import Aim
from weldtrial.analysis.scatter_look import rounds_by_scatter, scatter_limits
from weldtrial.analysis.shape import Shape
from weldtrial.shared.looks import Looks
from weldtrial.shared.responses import Ask

TRIALS = 100_000
SEED = 1969
TIMES = np.geomspace(0.1, 5.0, 60)
"""True scatter of a unit, in margins, over which the worst case is looked for."""
MOST_STEPS = 6
CLOSE = 2e-4


@cache
def resized_level(looks: Looks, most: int, units: int, ask: Ask) -> float:
    """Return the one-sided level at which false claims of "no worse" stay at 5 in 100.

    Parameters
    ----------
    looks
        A scatter-only look.
    most
        Rounds of the plan.
    units
        Set-ups of each of the two levels in a round.
    ask
        What is asked, which decides how many rounds a scatter leads to.

    Notes
    -----
    A loss of exactly the margin, two levels, balanced rounds; a margin in percent is taken as one
    in units.  Which scatter leads to how many rounds depends on the level in turn, so the two are
    found together.  Simulated with a fixed seed.
    """
    aim = Aim(ask, 1.0, 0.0)
    shape = Shape(True, most, per_round=units)
    drawn = _drawn(looks.after[0], most, units)
    level = ALPHA
    for _ in range(MOST_STEPS):
        limits = scatter_limits(shape, aim, looks, level)
        worst = min(_level_at(drawn, times, limits, most) for times in TIMES)
        if abs(worst - level) < CLOSE:
            return min(level, worst)
        level = worst
    return level


@dataclass(frozen=True, slots=True)
class _Drawn:
    """Trials with a unit's scatter as 1.

    Attributes
    ----------
    p
        One-sided p of the truth after each number of rounds, shape (trials, rounds): it does not
        depend on the scatter.
    constant, linear, quadratic
        The lumped variance of the first rounds, a parabola in the true scatter, each (trials,).
    """

    p: Floats
    constant: Floats
    linear: Floats
    quadratic: Floats

    def lumped(self, times: float) -> Floats:
        """Return the lumped scatter where a unit scatters by so many margins."""
        square = self.constant + times * self.linear + times**2 * self.quadratic
        return np.asarray(np.sqrt(square))


def _level_at(drawn: _Drawn, times: float, limits: dict[int, float], most: int) -> float:
    """Return the level that 5 in 100 trials of one true scatter reach."""
    rounds = rounds_by_scatter(drawn.lumped(times), limits, most)
    return float(np.quantile(drawn.p[np.arange(len(rounds)), rounds - 1], ALPHA))


@cache
def _drawn(start: int, most: int, units: int) -> _Drawn:
    """Draw trials: the gap of round r misses the truth by e_r."""
    rng = np.random.default_rng(SEED)
    e = rng.standard_normal((TRIALS, most)) * np.sqrt(2 / units)
    inside = 2 * (units - 1)
    w = rng.chisquare(inside, (TRIALS, most)) if inside else np.zeros((TRIALS, most))
    k = np.arange(1, most + 1)
    mean = np.cumsum(e, axis=1) / k
    squares = units / 2 * (np.cumsum(e**2, axis=1) - k * mean**2) + np.cumsum(w, axis=1)
    df = (k - 1) + k * inside
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = mean / np.sqrt(np.maximum(squares, 0) / df * 2 / (k * units))
        p = special.stdtr(df, -ratio)
    whole = start * (2 * units - 1)
    first = e[:, :start]
    constant = np.full(TRIALS, units / 2 * start / whole)
    linear = -units * first.sum(axis=1) / whole
    quadratic = (units / 2 * (first**2).sum(axis=1) + w[:, :start].sum(axis=1)) / whole
    return _Drawn(p, constant, linear, quadratic)
