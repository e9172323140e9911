"""A chance found by simulation, with the interval that its finite number of trials leaves.

References
----------
Clopper & Pearson (1934), Biometrika 26, 404-413: the exact binomial interval.
Kish (1965), *Survey Sampling*, Wiley, section 8.2 (design effect; from memory).
Korn & Graubard (1998), Survey Methodology 24, 193-201 (the exact interval at the effective number
of observations; citation from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from weldtrial.analysis.linear import Floats

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class SimulatedChance:
    """A share of pretend trials.

    Attributes
    ----------
    chance
        The share, 0 to 1.
    low, high
        95 % Monte-Carlo interval: what other seeds would give, not what scatter you will meet.
    effective
        Independent trials that the share is worth; fewer than were played where trials of one
        pattern of losses are alike.
    """

    chance: float
    low: float
    high: float
    effective: float


def of_trials(hits: int, trials: int) -> SimulatedChance:
    """Return the chance behind `hits` of independent `trials`, with the exact interval."""
    return SimulatedChance(hits / trials, *_exact(hits, trials), float(trials))


def of_patterns(hits: Floats, size: int) -> SimulatedChance:
    """Return the chance behind trials that share patterns.

    Parameters
    ----------
    hits
        Trials that hit in each of p patterns, p at least 2.
    size
        Trials of each pattern.

    Notes
    -----
    The variance is that between patterns, which holds that within them; the exact binomial
    interval is taken at the number of independent trials that would have that variance.  Where
    all patterns agree on none or all, only patterns count as independent.
    """
    shares = np.asarray(hits, dtype=float) / size
    chance = float(shares.mean())
    trials = len(shares) * size
    if chance in (0.0, 1.0):
        effective = float(len(shares))
    else:
        variance = float(shares.var(ddof=1)) / len(shares)
        effective = min(float(trials), chance * (1 - chance) / variance) if variance else trials
    # Few patterns know their own variance badly: widen as Student's t does.
    inner = special.stdtrit(len(shares) - 1, 0.5 + CONFIDENCE / 2)
    effective *= float((special.ndtri(0.5 + CONFIDENCE / 2) / inner) ** 2)
    return SimulatedChance(chance, *_exact(chance * effective, effective), effective)


def _exact(hits: float, trials: float) -> tuple[float, float]:
    tail = (1 - CONFIDENCE) / 2
    low = 0.0 if hits <= 0 else float(special.betaincinv(hits, trials - hits + 1, tail))
    high = 1.0 if hits >= trials else float(special.betaincinv(hits + 1, trials - hits, 1 - tail))
    return low, high
