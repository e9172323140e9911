"""Bounds for planned looks: how far an answer must clear its threshold at each of them.

At look k the standardised difference Z is held against z_k; together they are crossed by chance
with the stated error rate when nothing is there.  Pocock: every z_k alike.  O'Brien-Fleming: z_k
falls as one over the root of the share of the trial that is in, so that the running total is held
against one number.  The crossing chances come from recursive numerical integration over the
running total, for looks at any shares.

With few degrees of freedom plain z bounds give 18 to 20 false alarms in 100.  Each is therefore
turned into its nominal level p_k = 2(1 - Phi(z_k)), and Student's t is read at p_k and the
degrees of freedom of that look.  Intervals made with these levels are repeated confidence
intervals: they hold at all the looks at once, whatever is done about stopping.

References
----------
Armitage, McPherson & Rowe (1969). *J. R. Stat. Soc. A* 132:235-244 (the recursion).
Pocock (1977). *Biometrika* 64:191-199.  O'Brien & Fleming (1979). *Biometrics* 35:549-556.
Jennison & Turnbull (1989). *J. R. Stat. Soc. B* 51:305-361 (repeated intervals).
Jennison & Turnbull (2000). *Group Sequential Methods with Applications to Clinical Trials*,
tables 2.1 and 2.3, and section 3.8 on unknown variance.  All citations from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from scipy import optimize, special

from weldtrial.analysis.levels import ALPHA, ONCE, Levels
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.resized import resized_level
from weldtrial.shared.factors import Factor
from weldtrial.shared.look_state import Look
from weldtrial.shared.looks import Bounds
from weldtrial.shared.trial import Trial

NODES = 128
"""Gauss-Legendre nodes over the region in which a trial goes on."""


def crossing(z: Sequence[float], shares: Sequence[float], drift: float = 0.0) -> Floats:
    """Return the chance that |Z| exceeds its bound first at each look.

    Parameters
    ----------
    z
        Bound of each look, above 0.
    shares
        Share of the whole trial that is in at each look, rising, the last at most 1.
    drift
        Mean of Z when everything is in.

    Returns
    -------
    array
        One chance a look; their sum is the chance of crossing at all.
    """
    found = np.zeros(len(z))
    points, weights, before = np.zeros(1), np.ones(1), 0.0
    x, w = np.polynomial.legendre.leggauss(NODES)
    for k, (bound, share) in enumerate(zip(z, shares, strict=True)):
        sd, mean = np.sqrt(share - before), points + drift * (share - before)
        edge = bound * np.sqrt(share)
        out = special.ndtr((mean - edge) / sd) + special.ndtr((-edge - mean) / sd)
        found[k] = weights @ out
        nodes = edge * x
        density = np.exp(-(((nodes[:, None] - mean) / sd) ** 2) / 2) / (sd * np.sqrt(2 * np.pi))
        points, weights, before = nodes, (density @ weights) * edge * w, share
    return found


def bounds_at(kind: Bounds, constant: float, shares: Sequence[float]) -> tuple[float, ...]:
    """Return z at each look for the constant of a kind of bounds."""
    if kind == "pocock":
        return tuple(constant for _ in shares)
    return tuple(constant / float(np.sqrt(share)) for share in shares)


@cache
def constant_of(kind: Bounds, shares: tuple[float, ...], alpha: float = ALPHA) -> float:
    """Return the constant that makes all looks together err with chance `alpha`, two-sided.

    Parameters
    ----------
    kind
        ``pocock`` or ``obrien-fleming``.
    shares
        Share of the trial in at each look, rising to 1.
    alpha
        In (0, 1).
    """
    return float(
        optimize.brentq(
            lambda c: float(crossing(bounds_at(kind, c, shares), shares).sum()) - alpha,
            0.1,
            12.0,
            xtol=1e-10,
        )
    )


@cache
def levels_of_looks(
    kind: Bounds, shares: tuple[float, ...], comparisons: int = 1
) -> tuple[Levels, ...]:
    """Return the nominal levels of every look.

    Parameters
    ----------
    kind
        ``pocock`` or ``obrien-fleming``.
    shares
        Share of the trial in at each look, rising to 1.
    comparisons
        How many comparisons are read together.  The bounds of one are then set at the rate that
        makes so many independent ones err with 5 %, and each look's joint level follows from
        them.  For comparisons that go together the promise is kept with something to spare
        (Sidak 1967, J. Am. Stat. Assoc. 62:626-633; citation from memory).
    """
    return tuple(
        Levels(
            _nominal(kind, shares, share, ALPHA, comparisons),
            _nominal(kind, shares, share, 2 * ALPHA, comparisons) / 2,
        )
        for share in shares
    )


def _nominal(
    kind: Bounds, shares: tuple[float, ...], share: float, alpha: float, comparisons: int
) -> float:
    """Return the joint two-sided level at one share of the trial."""
    single = 1 - (1 - alpha) ** (1 / comparisons)
    (z,) = bounds_at(kind, constant_of(kind, shares, single), (share,))
    return float(1 - (1 - 2 * special.ndtr(-z)) ** comparisons)


def levels_at(trial: Trial, look: Look, factor: Factor | None = None) -> Levels:
    """Return the nominal levels that a look reads the comparisons of a factor with.

    Parameters
    ----------
    factor
        The compared factor; None for a single effect or mean.

    Notes
    -----
    At a look that nobody planned the bounds of the plan are read off at the rounds that are in:
    that keeps the intervals as wide as at a planned look, and repairs nothing.  A trial sized from
    its scatter reads its limits at the level of `weldtrial.analysis.resized`.
    """
    looks = trial.looks
    if looks is None or not look.ends:
        return ONCE
    if looks.scatter_only:
        most = trial.design.rounds or look.ends[-1]
        level = resized_level(looks, most, units_a_round(trial), trial.deciding.ask)
        return Levels(ALPHA, level)
    shares = tuple(one / look.ends[-1] for one in look.ends)
    comparisons = 1 if factor is None else comparisons_of(factor)
    if look.number is not None:
        return levels_of_looks(looks.bounds, shares, comparisons)[look.number - 1]
    share = max(1, look.uses or len(look.read)) / look.ends[-1]
    return Levels(
        _nominal(looks.bounds, shares, share, ALPHA, comparisons),
        _nominal(looks.bounds, shares, share, 2 * ALPHA, comparisons) / 2,
    )


def units_a_round(trial: Trial) -> int:
    """Return how many set-ups of each level a round holds, where one factor is hard to change."""
    rounds, setups = trial.design.rounds, trial.design.set_ups
    if not rounds or not setups or not trial.hard:
        return 1
    return max(1, setups // (rounds * len(trial.hard[0].levels)))


def comparisons_of(factor: Factor) -> int:
    """Return how many comparisons between the levels of a factor are read together."""
    levels = len(factor.levels)
    if levels < 3 or factor.kind == "numeric":
        return 1
    return levels - 1 if factor.control is not None else levels * (levels - 1) // 2


def critical(level: float, df: float) -> float:
    """Return Student's t at a nominal two-sided level; the normal for endless `df`."""
    return float(special.stdtrit(df, 1 - level / 2))
