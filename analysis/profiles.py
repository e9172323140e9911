"""Profile likelihood: one test and one interval for every fit that has a likelihood.

A contrast is held at a value, everything else is fitted again, and the loss of twice the log
likelihood is referred to chi-squared with one degree of freedom.  Wald intervals, estimate plus
and minus so many standard errors, are never used: for pass/fail and graded findings they are
shortest, or meaningless, where the gases are clearest apart.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

from weldtrial.analysis.linear import contrast_rows
from weldtrial.shared.problems import NotEstimable

Floats = NDArray[np.float64]

MOST_STEPS = 200
"""Newton steps; ten are usual."""
HALVINGS = 40
"""Halvings of a step that does not climb."""
FARTHEST = 60.0
"""Contrast beyond which an interval is called open on that side: odds of 1e26."""
CLOSE = 1e-18
"""Expected gain of the log likelihood at which the climb ends."""
CLOSE_ENOUGH = 1e-9
"""The same where rounding hides any further gain."""

Climb = Callable[[Floats], tuple[float, Floats, Floats]]
"""From parameters to log likelihood, its slope and its information (minus curvature)."""


@dataclass(frozen=True, slots=True)
class Profile:
    """One contrast, profiled.

    Attributes
    ----------
    estimate
        Estimate of the contrast, on the scale of log odds.
    p
        Chance of a loss at least as large when the contrast is truly zero.
    loss
        Twice the log likelihood lost when the contrast is held at a value.
    scale
        Rough standard error: where the search for the limits begins, never shown.
    """

    estimate: float
    p: float
    loss: Callable[[float], float]
    scale: float

    def interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Profile interval, infinite on a side where the likelihood never falls enough.

        Parameters
        ----------
        confidence
            Between 0 and 1, both excluded.
        """
        if not 0.0 < confidence < 1.0:
            raise ValueError(f"confidence must be between 0 and 1, got {confidence!r}")
        allowed = float(special.chdtri(1.0, 1.0 - confidence))
        return self._limit(-1.0, allowed), self._limit(1.0, allowed)

    def odds_ratio(self, confidence: float = 0.95) -> tuple[float, float, float]:
        """Return the contrast as a ratio of odds with the ends of its interval."""
        low, high = self.interval(confidence)
        return as_odds(self.estimate), as_odds(low), as_odds(high)

    def _limit(self, side: float, allowed: float) -> float:
        inner, step = self.estimate, self.scale
        while True:
            outer = inner + side * step
            if self.loss(outer) > allowed:
                break
            if abs(outer - self.estimate) > FARTHEST:
                return side * math.inf
            inner, step = outer, 1.5 * step
        found = optimize.brentq(lambda at: self.loss(at) - allowed, inner, outer, xtol=1e-8)
        return float(found)


@dataclass(frozen=True, slots=True)
class RatioTest:
    """Likelihood-ratio test of several contrasts at once.

    Attributes
    ----------
    df
        Number of contrasts.
    statistic
        Twice the log likelihood lost by holding them all at zero.
    p
        Upper tail of chi-squared.
    """

    df: int
    statistic: float
    p: float


def climb(at: Climb, start: Floats, rows: Floats | None = None) -> tuple[Floats, float]:
    """Climb to the largest log likelihood by Newton steps that are halved until they climb.

    Parameters
    ----------
    at
        The log likelihood.
    start
        Where to begin, shape (p,); held contrasts keep the values they have there.
    rows
        Contrasts to hold, shape (q, p), or None.

    Returns
    -------
    tuple
        The parameters and the log likelihood there.

    Raises
    ------
    NotEstimable
        The climb does not end: an estimate runs away.
    """
    free = np.eye(len(start)) if rows is None else _free(rows)
    here = np.array(start, dtype=float)
    height, slope, information = at(here)
    if free.shape[1] == 0:
        return here, height
    for _ in range(MOST_STEPS):
        push = free.T @ slope
        curve = free.T @ information @ free
        try:
            step = np.linalg.solve(curve, push)
        except np.linalg.LinAlgError:
            step = np.linalg.lstsq(curve, push)[0]
        gain = float(push @ step)
        if gain < 0:  # Not a hill here: up the slope instead.
            step, gain = push, float(push @ push)
        if gain < CLOSE:
            return here, height
        move = free @ step
        for _ in range(HALVINGS):
            there = here + move
            found = at(there)
            if found[0] >= height:
                break
            move = move / 2
        else:
            return here, height
        stalled = found[0] <= height and gain < CLOSE_ENOUGH
        here, (height, slope, information) = there, found
        if stalled:
            return here, height
    if gain < CLOSE_ENOUGH:
        return here, height
    raise NotEstimable("an estimate runs away: the findings separate the settings without overlap")


def profiled(at: Climb, best: Floats, height: float, contrast: ArrayLike) -> Profile:
    """Profile one contrast of the parameters, shape (p,), from the maximum `best`."""
    rows = contrast_rows(contrast, len(best))
    if len(rows) != 1:
        raise ValueError(f"a profile takes one contrast, got {len(rows)}")
    row = rows[0]
    estimate = float(row @ best)
    along = row / float(row @ row)
    warm = {estimate: best}

    def loss(value: float) -> float:
        nearest = min(warm, key=lambda known: abs(known - value))
        start = warm[nearest] + along * (value - nearest)
        if not math.isfinite(at(start)[0]):
            start = best + along * (value - estimate)
        held, lower = climb(at, start, rows)
        warm[value] = held
        return float(max(0.0, 2.0 * (height - lower)))

    scale = math.sqrt(float(row @ np.linalg.solve(at(best)[2], row)))
    return Profile(estimate, float(special.chdtrc(1.0, loss(0.0))), loss, scale)


def ratio_test(at: Climb, best: Floats, height: float, contrasts: ArrayLike) -> RatioTest:
    """Test that all `contrasts`, shape (q, p), are zero."""
    rows = contrast_rows(contrasts, len(best))
    start = best - np.linalg.pinv(rows) @ (rows @ best)
    _, lower = climb(at, start, rows)
    statistic = float(max(0.0, 2.0 * (height - lower)))
    return RatioTest(len(rows), statistic, float(special.chdtrc(float(len(rows)), statistic)))


def recedes(rows: Floats) -> bool:
    """Whether some direction d has rows @ d at least 0 throughout and above 0 somewhere.

    With rows that a likelihood only gains by raising, it then rises for ever along d and an
    estimate is infinite: the findings part the settings (Albert & Anderson 1984, *Biometrika*
    71:1-10; by linear programming as Konis 2007, from memory).
    """
    scaled = rows / np.maximum(np.abs(rows).max(axis=0), 1e-300)
    found = optimize.linprog(-scaled.sum(axis=0), A_ub=-scaled, b_ub=np.zeros(len(rows)),
                             bounds=[(-1, 1)] * rows.shape[1])  # fmt: skip
    return bool(found.status == 0 and found.fun is not None and found.fun < -1e-7)


def _free(rows: Floats) -> Floats:
    """Orthonormal directions that leave the held contrasts alone, shape (p, p - q)."""
    q = np.linalg.qr(rows.T, mode="complete")[0]
    return np.asarray(q[:, len(rows) :])


def as_odds(value: float) -> float:
    """Return log odds as a ratio of odds, infinite where it cannot be held."""
    return math.exp(value) if value < 700 else math.inf
