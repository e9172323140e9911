"""What planned looks would do, before anything is welded: seeded simulation of whole trials.

Level means of each round are drawn from their exact distribution in a balanced plan, and so are
the sums of squares that judge them; every look is then read by the rules of the analysis.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from weldtrial.analysis.levels import ONCE, Levels
from weldtrial.analysis.linear import Estimate, Floats
from weldtrial.analysis.looks import levels_of_looks
from weldtrial.analysis.power import Aim, Spread, chance_to_show
from weldtrial.analysis.resized import resized_level
from weldtrial.analysis.scatter_look import chance_after, rounds_by_scatter, scatter_limits
from weldtrial.analysis.shape import Shape
from weldtrial.analysis.simultaneous import against_reference, alone, among_all
from weldtrial.shared.looks import Looks

TRIALS = 20_000
SEED = 20260611
OFF = (0.7, 1.0, 1.4)
"""True scatter as a multiple of the guess, at which a scatter-only look is shown."""
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class LookRow:
    """One planned look.

    Attributes
    ----------
    round, coupons, share
        Rounds and counting coupons that are in, and their share of the whole plan.
    df, t, t_one
        Degrees of freedom of set-ups (coupons where nothing is hard to change), and the critical
        values of the 95 % interval and of the one-sided limits.
    p, p_one
        Nominal levels of the two, joint where several levels are compared.
    stop_equal, stop_loss
        Chance that the trial may stop here (and not before) if the levels are truly equal, and
        if the loss is truly twice the margin; at the last look: chance that it is settled there.
        None without a margin or anything known of the scatter.
    """

    round: int
    coupons: int
    share: float
    df: int
    t: float
    t_one: float
    p: float
    p_one: float
    stop_equal: float | None = None
    stop_loss: float | None = None


@dataclass(frozen=True, slots=True)
class LooksAhead:
    """Planned looks at an answer, and what they cost.

    Attributes
    ----------
    rounds_equal, rounds_loss
        Average rounds welded, stopping as soon as one may.
    chance, chance_once
        Chance to show what is asked with these looks, and with one look at the end.
    """

    rows: tuple[LookRow, ...]
    rounds: int
    rounds_equal: float | None = None
    rounds_loss: float | None = None
    chance: float | None = None
    chance_once: float | None = None
    trials: int = TRIALS


@dataclass(frozen=True, slots=True)
class ScatterRow:
    """A true scatter, as a multiple of the guess: average rounds, and the chances."""

    times: float
    rounds: float
    chance: float
    chance_most: float


@dataclass(frozen=True, slots=True)
class Trials:
    """Whole trials drawn at once: level means of each round and scatter within its cells.

    Attributes
    ----------
    means
        Shape (trials, rounds, levels), in the response's unit.
    within
        Sum of squares of units of one level in one round, shape (trials, rounds).
    units
        Set-ups (coupons where nothing is hard to change) of each level in a round.
    """

    means: Floats
    within: Floats
    units: int

    @property
    def levels(self) -> int:
        """Levels of the compared factor."""
        levels: int = self.means.shape[2]
        return levels

    def at(self, rounds: int) -> tuple[Floats, Floats]:
        """Return level means (trials, levels) and error mean squares (trials,) after rounds."""
        means = self.means[:, :rounds]
        level = means.mean(axis=1)
        left = means - means.mean(axis=2, keepdims=True) - level[:, None, :]
        left += level.mean(axis=1)[:, None, None]
        squares = self.units * np.sum(left**2, axis=(1, 2)) + self.within[:, :rounds].sum(axis=1)
        df = (rounds - 1) * (self.levels - 1) + rounds * self.levels * (self.units - 1)
        return level, squares / df

    def lumped(self, rounds: int) -> Floats:
        """Return the standard deviation of units within rounds, levels lumped, (trials,)."""
        means = self.means[:, :rounds]
        apart = self.units * np.sum((means - means.mean(axis=2, keepdims=True)) ** 2, axis=(1, 2))
        squares = apart + self.within[:, :rounds].sum(axis=1)
        return np.asarray(np.sqrt(squares / (rounds * (self.levels * self.units - 1))))


def draw(shape: Shape, sd: float, truth: Sequence[float], trials: int, seed: int) -> Trials:
    """Draw whole trials.

    Parameters
    ----------
    shape
        The plan.
    sd
        Standard deviation of one unit: of a set-up's mean, or of a coupon set up anew.
    truth
        True mean of each level, in the unit of `sd`.
    """
    rng = np.random.default_rng(seed)
    levels, units = len(truth), units_a_round(shape)
    noise = rng.standard_normal((trials, shape.rounds, levels)) * sd / sqrt(units)
    means = np.asarray(truth) + noise
    inside = levels * (units - 1)
    within = np.zeros((trials, shape.rounds))
    if inside:
        within = rng.chisquare(inside, (trials, shape.rounds)) * sd**2
    return Trials(means, within, units)


def units_a_round(shape: Shape) -> int:
    """Return set-ups (or coupons) of each level in a round."""
    units: int = shape.per_round * shape.others
    if not shape.by_setups:
        units = max(1, shape.coupons_per_level // shape.rounds)
    return units


def unit_sd(shape: Shape, spread: Spread) -> float:
    """Return the standard deviation of one unit of `units_a_round`."""
    if shape.by_setups:
        return hypot(spread.setup, spread.coupon / sqrt(shape.per_setup))
    return spread.alone


def criticals(shape: Shape, df: int, read: Levels) -> tuple[float, float]:
    """Return the multiples of the standard error for the interval and the one-sided limits."""
    found = Estimate(0.0, 1.0, float(df))
    if shape.family == "pairs":
        together = among_all(found, shape.levels, read)
    elif shape.family == "reference":
        several = shape.levels - 1
        shared = (np.eye(several) + np.ones((several, several))) / 2
        together = against_reference(found, shared, read)
    else:
        together = alone(found, read)
    return together.critical95, together.critical90


def read_look(
    trials: Trials, shape: Shape, aim: Aim, rounds: int, read: Levels
) -> tuple[Flags, Flags]:
    """Return which trials are settled after so many rounds, and which show what is asked.

    A trial is settled when every comparison has an answer; what is asked is of the first.
    """
    level, square = trials.at(rounds)
    df = replace(shape, rounds=rounds).df
    both, one = criticals(shape, df, read)
    se = np.sqrt(square / (rounds * trials.units))
    pairs = [(a, 0) for a in range(1, trials.levels)]
    if shape.family == "pairs":
        pairs = [(a, b) for a in range(trials.levels) for b in range(a)]
    settled = np.ones(len(level), dtype=bool)
    asked = settled
    for place, (a, b) in enumerate(pairs):
        answered, wanted = _judged(level[:, a], level[:, b], se, aim, both, one)
        settled = settled & answered
        asked = wanted if place == 0 else asked
    return settled, asked


def _judged(
    level: Floats, reference: Floats, se: Floats, aim: Aim, both: float, one: float
) -> tuple[Flags, Flags]:
    """Judge one comparison as `weldtrial.analysis.judge` does, many trials at once."""
    change = aim.sign * (level - reference)
    differs = np.abs(change) > both * sqrt(2) * se
    if aim.margin is None:
        return differs, differs
    if aim.fraction is None:
        loss, gain = change + aim.margin, change - aim.margin
        se_loss = se_gain = sqrt(2) * se
    else:
        low, high = 1 - aim.sign * aim.fraction, 1 + aim.sign * aim.fraction
        loss, gain = (aim.sign * (level - scale * reference) for scale in (low, high))
        se_loss, se_gain = se * hypot(1, low), se * hypot(1, high)
    no_worse = loss > one * se_loss
    equal = no_worse & (gain < -one * se_gain)
    asked = {"no-worse": no_worse, "equal-enough": equal, "difference": differs}[aim.ask]
    return differs | no_worse, asked


def look_ahead(shape: Shape, spread: Spread | None, aim: Aim, looks: Looks) -> LooksAhead:
    """Work out what planned looks ask and what they cost.

    Parameters
    ----------
    shape
        The whole plan.
    spread
        None where nothing is known of the scatter: then only the bounds are given.
    """
    ends = (*looks.after, shape.rounds)
    several = {"single": 1, "reference": shape.levels - 1}.get(
        shape.family, shape.levels * (shape.levels - 1) // 2
    )
    shares = tuple(one / shape.rounds for one in ends)
    levels = levels_of_looks(looks.bounds, shares, several)
    rows = []
    for end, read in zip(ends, levels, strict=True):
        part = replace(shape, rounds=end)
        t, t_one = criticals(shape, part.df, read)
        share = end / shape.rounds
        rows.append(
            LookRow(end, part.coupons, share, part.df, t, t_one, read.two_sided, read.one_sided)
        )
    ahead = LooksAhead(tuple(rows), shape.rounds)
    if spread is None or aim.margin is None or unit_sd(shape, spread) == 0:
        return ahead
    return _simulated(ahead, shape, spread, aim, ends, levels)


def _simulated(
    ahead: LooksAhead,
    shape: Shape,
    spread: Spread,
    aim: Aim,
    ends: Sequence[int],
    levels: Sequence[Levels],
) -> LooksAhead:
    sd = unit_sd(shape, spread)
    stops, averages = [], []
    for loss in (0.0, 2.0):
        first, _ = _first_settled(shape, sd, aim, loss, ends, levels)
        stops.append([float(np.mean(first == k)) for k in range(len(ends))])
        welded = np.asarray(ends)[np.minimum(first, len(ends) - 1)]
        averages.append(float(np.mean(welded)))
    _, asked = _first_settled(shape, sd, aim, 1.0 if aim.ask == "difference" else 0.0, ends, levels)
    once = chance_to_show(aim, shape.precision(spread))
    rows = tuple(
        replace(row, stop_equal=stops[0][k], stop_loss=stops[1][k])
        for k, row in enumerate(ahead.rows)
    )
    # The exact chance of one look, moved by what the same trials differ with looks.
    chance = None if once is None else min(1.0, max(0.0, once + asked))
    return replace(
        ahead,
        rows=rows,
        rounds_equal=averages[0],
        rounds_loss=averages[1],
        chance=chance,
        chance_once=once,
    )


def truth_of(aim: Aim, levels: int, losses: float) -> list[float]:
    """Return the true mean of each level when all but the first lose so many margins."""
    worse = aim.mean - aim.sign * losses * (aim.margin or 0.0)
    return [aim.mean, *[worse] * (levels - 1)]


def _first_settled(
    shape: Shape,
    sd: float,
    aim: Aim,
    losses: float,
    ends: Sequence[int],
    levels: Sequence[Levels],
) -> tuple[NDArray[np.intp], float]:
    """Return the look at which each trial may stop, and how looking moves the chance asked for.

    A trial that is never settled is given the number of looks.
    """
    trials = draw(shape, sd, truth_of(aim, shape.levels, losses), TRIALS, SEED)
    first = np.full(TRIALS, len(ends))
    asked = np.zeros(TRIALS, dtype=bool)
    for k, (end, read) in enumerate(zip(ends, levels, strict=True)):
        settled, wanted = read_look(trials, shape, aim, end, read)
        stops = settled & (first == len(ends))
        first[stops] = k
        asked |= stops & wanted
    _, once = read_look(trials, shape, aim, ends[-1], ONCE)
    return first, float(asked.mean() - once.mean())


# ------------------------------------------------------------------ scatter only


def scatter_ahead(shape: Shape, spread: Spread, aim: Aim, looks: Looks) -> tuple[ScatterRow, ...]:
    """Work out what a scatter-only look comes to, where the guess is right and where it is off."""
    guess = unit_sd(shape, spread)
    if guess == 0 or aim.margin is None:
        return ()
    level = resized_level(looks, shape.rounds, units_a_round(shape), aim.ask)
    read = Levels(ONCE.two_sided, level)
    limits = scatter_limits(shape, aim, looks, level)
    rows = []
    for times in OFF:
        losses = 1.0 if aim.ask == "difference" else 0.0
        truth = truth_of(aim, shape.levels, losses)
        trials = draw(shape, guess * times, truth, TRIALS, SEED)
        rounds = rounds_by_scatter(trials.lumped(looks.after[0]), limits, shape.rounds)
        asked = sum(
            float(np.sum(read_look(trials, shape, aim, int(n), read)[1] & (rounds == n)))
            for n in np.unique(rounds)
        )
        most = chance_after(shape, aim, guess * times, shape.rounds)
        rows.append(ScatterRow(times, float(rounds.mean()), asked / TRIALS, most))
    return tuple(rows)
