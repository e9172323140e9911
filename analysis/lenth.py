"""Effects without replicates: Lenth's pseudo standard error, critical values by simulation.

References
----------
Lenth, R. V. (1989), Technometrics 31, 469-473 (the pseudo standard error).
Ye, K. Q. & Hamada, M. (2000), Journal of Quality Technology 32, 57-66 (simulated critical values;
the common t(m/3) approximation is too large by up to 64 %).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from weldtrial.analysis.linear import Floats
from weldtrial.shared.problems import NotEstimable

FEWEST = 7
"""Contrasts below which most of them cannot be taken for noise."""
DRAWS = 2_000_000
"""Simulated contrasts behind the critical values, over all sets."""
SEED = 1989
PLANS = 20_000
"""Simulated sets behind a planned chance."""


def pseudo_standard_error(contrasts: Floats) -> tuple[float, float]:
    """Return Lenth's s0 and pseudo standard error of contrasts that share one variance.

    Parameters
    ----------
    contrasts
        At least seven estimates, shape (m,).

    Raises
    ------
    NotEstimable
        With fewer, or when half of them are zero.
    """
    size = np.abs(np.asarray(contrasts, dtype=float))
    if len(size) < FEWEST:
        raise NotEstimable(
            f"{len(size)} contrasts and no replicates: at least {FEWEST} are needed to tell "
            "effects from scatter",
            hint="weld replicates, or leave out terms to have coupons over",
        )
    s0 = 1.5 * float(np.median(size))
    kept = size[size < 2.5 * s0]
    if s0 <= 0 or not len(kept):
        raise NotEstimable("half of the contrasts are zero, so they show no scatter")
    return s0, 1.5 * float(np.median(kept))


@cache
def _null(m: int) -> tuple[Floats, Floats]:
    """Return sorted |contrast| / PSE of noise: all of them, and the largest of each set."""
    sets = max(20_000, DRAWS // m)
    draws = np.abs(np.random.default_rng(SEED + m).normal(size=(sets, m)))
    s0 = 1.5 * np.median(draws, axis=1, keepdims=True)
    trimmed = np.where(draws < 2.5 * s0, draws, np.nan)
    ratios = draws / (1.5 * np.nanmedian(trimmed, axis=1, keepdims=True))
    return np.sort(ratios.ravel()), np.sort(ratios.max(axis=1))


@dataclass(frozen=True, slots=True)
class Lenth:
    """Lenth's yardstick for m contrasts.

    Attributes
    ----------
    m
        How many contrasts it was taken from.
    s0, pse
        Initial and pseudo standard error, in the contrasts' unit.
    """

    m: int
    s0: float
    pse: float

    @classmethod
    def of(cls, contrasts: Floats) -> Lenth:
        """Take the yardstick; raises as `pseudo_standard_error`."""
        return cls(len(contrasts), *pseudo_standard_error(contrasts))

    def critical(self, confidence: float = 0.95, *, together: bool = False) -> float:
        """Return the multiple of the PSE beyond which a contrast stands out.

        `together` gives the experiment-wise value, for the largest of all m.
        """
        each, largest = _null(self.m)
        return float(np.quantile(largest if together else each, confidence))

    def p(self, ratio: float) -> float:
        """Return the two-sided individual p of a contrast of so many PSEs, never zero."""
        each, _ = _null(self.m)
        beyond = len(each) - int(np.searchsorted(each, abs(ratio), side="left"))
        return (beyond + 1) / (len(each) + 1)


@cache
def _noise(m: int) -> Floats:
    return np.random.default_rng(SEED - m).normal(size=(PLANS, m))


def chance_to_stand_out(m: int, shift: float) -> float:
    """Return the chance that one true effect among m contrasts stands out at 5 %.

    Parameters
    ----------
    m
        Contrasts, at least seven; all others are truly zero.
    shift
        The effect in units of its true standard error.

    Notes
    -----
    Simulated with a fixed seed, so that it never falls as `shift` grows by more than its own
    error, about 0.3 in 100.
    """
    estimates, pse = _planned(m, shift)
    return float(np.mean(np.abs(estimates) > Lenth(m, 1.0, 1.0).critical() * pse))


def chance_within(m: int, margin: float, *, both: bool) -> float:
    """Return the chance that the 90 % interval of one of m effects, all zero, clears a margin.

    Parameters
    ----------
    margin
        In units of an effect's true standard error.
    both
        True for "equal within" (both ends inside), False for "no worse" (the lower one).
    """
    estimates, pse = _planned(m, 0.0)
    half = Lenth(m, 1.0, 1.0).critical(0.90) * pse
    inside = estimates - half > -margin
    if both:
        inside &= estimates + half < margin
    return float(np.mean(inside))


def _planned(m: int, shift: float) -> tuple[Floats, Floats]:
    """Return simulated estimates of the first of m effects, and the pseudo standard errors."""
    noise = _noise(m)
    first = noise[:, 0] + shift
    size = np.column_stack([np.abs(first), np.abs(noise[:, 1:])])
    s0 = 1.5 * np.median(size, axis=1, keepdims=True)
    return first, 1.5 * np.nanmedian(np.where(size < 2.5 * s0, size, np.nan), axis=1)


@cache
def shift_to_stand_out(m: int, chance: float) -> float:
    """Return the effect, in true standard errors, that stands out with a chance; to 1 in 1000."""
    low, high = 0.0, 4.0
    while chance_to_stand_out(m, high) < chance:
        low, high = high, 2 * high
    while high - low > 1e-3 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if chance_to_stand_out(m, middle) < chance else (low, middle)
    return high
