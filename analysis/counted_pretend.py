"""Pretend coupons that pass or fail, or are graded: how they are drawn, and what a loss is.

Every coupon draws a number evenly from 0 to 1 and takes the grade that its level's shares put there
(a failure is the worse of two grades), so the shares of every level are exactly those pretended.
Coupons of one set-up are alike by an urn: the first draws afresh; each later one copies an earlier
one, picked evenly, with a chance that makes the intraclass correlation of any score of the grades
`alike`.  Passes of a set-up are then beta-binomial, grades Dirichlet-multinomial.  A loss is a fall
of the share that passes; of grades, the odds of grading better are divided alike at every grade
(proportional odds).  The same draws serve every truth.

References
----------
Skellam, J. G. (1948). *J. R. Stat. Soc. B* 10:257-261 (beta-binomial); Mosimann, J. E. (1962).
*Biometrika* 49:65-82 (Dirichlet-multinomial); Blackwell, D. & MacQueen, J. B. (1973). *Ann.
Statist.* 1:353-355 (the urn); McCullagh, P. (1980). *J. R. Stat. Soc. B* 42:109-142 (proportional
odds).  Citations from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

import numpy as np
from numpy.typing import NDArray
from scipy import special

from weldtrial.analysis.linear import Floats
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.pretend import shares as carried
from weldtrial.analysis.question import Question
from weldtrial.shared.record import Coupon
from weldtrial.shared.responses import Foreseen, Response
from weldtrial.shared.trial import Trial

ODDS = "log odds"
POINTS = "points"
MOST_ODDS = 1000.0


@dataclass(frozen=True, slots=True)
class CountedBench:
    """A comparison of passes or grades and the bench it is pretended on.

    Attributes
    ----------
    question
        The comparison: the deciding response (as the file has it), the first pair compared.
    coupons, blanks
        Counting coupons in welding order, and the same as observations with nothing read.
    foreseen
        The reference's shares, and how alike coupons of one set-up are.
    trial
        The trial, for what else it compares and how its order is drawn.
    """

    question: Question
    coupons: tuple[Coupon, ...]
    blanks: tuple[Observation, ...]
    foreseen: Foreseen
    trial: Trial

    @property
    def graded(self) -> bool:
        """Whether coupons are graded rather than pass or fail."""
        return self.question.response.kind == "graded"

    @property
    def unit(self) -> str:
        """What a loss is counted in: points of per cent, or log odds of a better grade."""
        return ODDS if self.graded else POINTS

    @property
    def source(self) -> str:
        """Where the figures come from, in words."""
        return self.foreseen.source

    @property
    def margin(self) -> float | None:
        """The loss that truths are counted in: the margin; of grades the loss to plan for."""
        return planned_loss(self.question.response, self.foreseen)

    @property
    def biggest(self) -> float:
        """The largest loss there can be, in the unit of the bench."""
        return biggest_loss(self.question.response, self.foreseen)

    def loss(self, size: float) -> float:
        """Return the change, level minus reference, that is a loss of `size`."""
        return -self.question.response.sign * size

    def shares(self, change: float) -> tuple[float, ...]:
        """Return the shares of the compared level after a change, worst grade first."""
        return changed_shares(self.question.response, self.foreseen, change)

    @property
    def setups(self) -> NDArray[np.intp]:
        """Set-up of every coupon as 0, 1, ...; each its own where nothing is hard to change."""
        found = [
            (o.setup, -1) if o.setup is not None else (-1, n) for n, o in enumerate(self.blanks)
        ]
        return np.unique(np.array(found), axis=0, return_inverse=True)[1].reshape(-1)

    @property
    def apart(self) -> bool:
        """Whether every coupon is set up anew."""
        return len(np.unique(self.setups)) == len(self.blanks)

    def bounds(self, change: float) -> Floats:
        """Return between which numbers of 0 to 1 each grade lies, shape (n, grades - 1)."""
        question = self.question
        part = carried((question.factor, question.level, question.reference), self.blanks)
        return np.array([_bounds(self.shares(change * one)) for one in part.tolist()])

    def values(self, change: float, drawn: Floats) -> Floats:
        """Return the grades (0 failed, 1 passed) of coupons that drew `drawn`, shape (..., n)."""
        return graded(self.bounds(change), drawn)


def planned_loss(response: Response, foreseen: Foreseen) -> float | None:
    """Return the loss to plan for: the margin in points, or the log of `worse_odds`."""
    if response.kind == "graded":
        return log(foreseen.worse_odds)
    return None if response.margin is None else 100 * response.margin.value


def biggest_loss(response: Response, foreseen: Foreseen) -> float:
    """Return the largest loss there can be: all that pass, in points, or the odds a thousandth."""
    if response.kind == "graded":
        return log(MOST_ODDS)
    return 100 * (foreseen.passing if response.sign > 0 else 1 - foreseen.passing)


def changed_shares(response: Response, foreseen: Foreseen, change: float) -> tuple[float, ...]:
    """Return the shares after a change, worst grade first.

    Parameters
    ----------
    change
        In points of per cent of the share that passes, which stays within 0 and 100; of grades the
        change of the log odds of a better grade.
    """
    if response.kind == "graded":
        below = special.expit(special.logit(np.cumsum(foreseen.shares)[:-1]) - change)
        return tuple(np.diff(np.concatenate([[0.0], below, [1.0]])).tolist())
    passing = min(1.0, max(0.0, foreseen.passing + change / 100))
    return 1 - passing, passing


def _bounds(shares: Sequence[float]) -> Floats:
    return np.asarray(np.minimum(np.cumsum(shares)[:-1], 1.0))


def graded(bounds: Floats, drawn: Floats) -> Floats:
    """Return the place of the grade that a number of 0 to 1 falls on; `bounds` (n, grades - 1)."""
    return np.asarray((drawn[..., None] >= bounds).sum(axis=-1), dtype=float)


def draw_alike(
    setups: NDArray[np.intp], alike: float, trials: int, random: np.random.Generator
) -> Floats:
    """Draw the numbers of every coupon, shape (trials, n), coupons of a set-up by the urn.

    Each trial takes one row of numbers, so trials drawn a few at a time are the same trials.
    """
    n = len(setups)
    rows = random.random((trials, 3 * n))
    found, copies, picks = rows[:, :n].copy(), rows[:, n : 2 * n], rows[:, 2 * n :]
    if alike <= 0:
        return found
    for code in np.unique(setups):
        mine = np.flatnonzero(setups == code)
        for place in range(1, len(mine)):
            chance = place * alike / (1 - alike + place * alike)
            copied = copies[:, mine[place]] < chance
            source = mine[(picks[:, mine[place]] * place).astype(int)]
            took = found[np.arange(trials), source]
            found[:, mine[place]] = np.where(copied, took, found[:, mine[place]])
    return found
