"""A look at nothing but the scatter: how many rounds are needed, codes closed.

The variance of set-up means within rounds, all gases lumped together, is known without knowing
which gas is which.  It holds whatever gap there is between the gases, so it asks for a round too
many rather than one too few when they differ; nothing is taken off for that.  From it the rule of
planning gives the rounds that reach the chance aimed for.

References
----------
Wittes & Brittain (1990). *Statistics in Medicine* 9:65-72.  Gould & Shih (1992). *Communications
in Statistics A* 21:2833-2853.  Kieser & Friede (2003). *Statistics in Medicine* 22:995-1007 and
3571-3581.  Citations from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from weldtrial.analysis.levels import ALPHA
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.power import Aim, Spread, chance_to_show
from weldtrial.analysis.shape import Shape
from weldtrial.shared.looks import Looks
from weldtrial.shared.problems import NotEnough


@dataclass(frozen=True, slots=True)
class Scatter:
    """Scatter of set-up means with the gases lumped.

    Attributes
    ----------
    sd, df
        Standard deviation within rounds, in the response's unit, and its degrees of freedom.
    mean
        Mean of all coupons, in the response's unit.
    """

    sd: float
    df: int
    mean: float


@dataclass(frozen=True, slots=True)
class Sizing:
    """How many rounds the scatter asks for.

    Attributes
    ----------
    rounds
        What it comes to: `needed`, held between `least` and `most`.
    needed
        Rounds that reach `target`; None where even `most` do not.
    chance
        Chance to show what is asked after `rounds`, with scatter like this.
    """

    scatter: Scatter
    rounds: int
    needed: int | None
    chance: float
    target: float
    least: int
    most: int


def lumped_scatter(observations: Sequence[Observation]) -> Scatter:
    """Return the scatter of set-up means within rounds, whichever gas they are.

    Raises
    ------
    NotEnough
        When no round holds two set-ups.
    """
    by_round: dict[int, dict[int, list[float]]] = {}
    for one in observations:
        if one.round is not None and one.setup is not None:
            by_round.setdefault(one.round, {}).setdefault(one.setup, []).append(one.value)
    squares, df = 0.0, 0
    for setups in by_round.values():
        means = np.array([np.mean(values) for values in setups.values()])
        squares += float(np.sum((means - means.mean()) ** 2))
        df += len(means) - 1
    if df < 1:
        raise NotEnough("No round holds two set-ups that were read, so no scatter shows.")
    return Scatter(sqrt(squares / df), df, float(np.mean([one.value for one in observations])))


def size_rounds(
    shape: Shape,
    aim: Aim,
    looks: Looks,
    scatter: Scatter,
    *,
    level: float = ALPHA,
    at_least: int = 0,
) -> Sizing:
    """Return the rounds that show what is asked with the chance aimed for.

    Parameters
    ----------
    shape
        The whole plan; its rounds are the most that will be welded.
    aim
        What is asked, with its margin.
    level
        One-sided level that limits are read at; see `weldtrial.analysis.resized`.
    at_least
        Rounds that are complete already.
    """
    least, most = max(looks.least, at_least), shape.rounds
    chances = {
        rounds: chance_after(shape, aim, scatter.sd, rounds, level)
        for rounds in range(least, most + 1)
    }
    needed = next((one for one, chance in chances.items() if chance >= looks.chance), None)
    rounds = most if needed is None else needed
    return Sizing(scatter, rounds, needed, chances[rounds], looks.chance, least, most)


def chance_after(shape: Shape, aim: Aim, sd: float, rounds: int, level: float = ALPHA) -> float:
    """Return the chance to show what is asked after so many rounds, set-up means scattering so.

    `level` is the one-sided level that limits are read at.
    """
    precision = replace(shape, rounds=rounds).precision(Spread(0.0, sd))
    if level != ALPHA:
        precision = replace(precision, alpha_one=level)
    found = chance_to_show(aim, precision)
    return 0.0 if found is None else found


def scatter_limits(shape: Shape, aim: Aim, looks: Looks, level: float = ALPHA) -> dict[int, float]:
    """Return, for each number of rounds, the largest scatter that still reaches the chance.

    `level` is the one-sided level that limits are read at.
    """
    limits = {}
    for rounds in range(looks.least, shape.rounds):
        high = abs(aim.margin or 1.0)
        while chance_after(shape, aim, high, rounds, level) >= looks.chance:
            high *= 2
        low = high
        while chance_after(shape, aim, low, rounds, level) < looks.chance and low > 1e-9 * high:
            low /= 2
        limits[rounds] = float(
            optimize.brentq(
                lambda sd, n=rounds: chance_after(shape, aim, sd, n, level) - looks.chance,
                low,
                high,
                xtol=1e-9 * high,
            )
        )
    return limits


def rounds_by_scatter(sd: Floats, limits: dict[int, float], most: int) -> NDArray[np.intp]:
    """Return the rounds that each scatter asks for."""
    rounds = np.full(len(sd), most)
    for number in sorted(limits, reverse=True):
        rounds[sd <= limits[number]] = number
    return rounds
