"""Intervals for all differences between the settings of two levels that hold at once.

A pair differs in what changes between set-ups (the gas) and in what changes within them (the
settings), each judged by its own scatter, so the half-width is the root of c_between^2 times the
variance of the one part plus c_within^2 times that of the other (as Banerjee 1961, Biometrika 48,
465-468, does for a single difference).  Each c is the 95 % point of the largest |t| of its part
over the pairs, simulated (Edwards & Berry 1987, Biometrics 43, 913-928) and never above Scheffe's
(1953, Biometrika 40, 87-104).  Both are then widened until all pairs together are covered in a
simulation of both levels of scatter, at whichever of `RATIOS` between them asks most.  Of every
simulated point an upper limit is taken, so that simulation does not shorten an interval.  Papers
from memory; coverage measured in tests/promises/test_chosen_best.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray
from scipy import special

from weldtrial.analysis.fitted import FittedSurface
from weldtrial.analysis.joint_draws import between_columns, root_of
from weldtrial.analysis.linear import Floats
from weldtrial.shared.problems import NotEstimable

DRAWS = 4000
THINNED = 100
"""Settings of each level among which the largest |t| is looked for, spread out."""
JOINT = 40
"""The same where both levels of scatter are simulated together."""
RATIOS = (0.1, 1.0, 10.0)
"""True set-up scatter over what was found, tried for the widest interval."""
BLOCK = 200


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Differences of all pairs, their variance in two parts, their half-widths; (ours, theirs)."""

    difference: Floats
    between: Floats
    within: Floats
    half: Floats
    c_between: float | None
    c_within: float


def all_pairs(
    surface: FittedSurface, rows: list[Floats], confidence: float, draws: int, seed: int
) -> Pairs:
    """Hold every difference between a row of ours and a row of theirs at once.

    Parameters
    ----------
    rows
        Model rows of the settings of the two levels, each (settings, p).
    draws, seed
        Of the simulation.

    Raises
    ------
    NotEstimable
        When nothing differs between them.
    """
    ours, theirs = rows
    difference = (ours @ surface.coefficients)[:, None] - theirs @ surface.coefficients
    hard = between_columns(surface)
    total = _variances(rows, surface.covariance)
    if not np.any(total > 0):
        raise NotEstimable("the model says the same of both levels everywhere: nothing to compare")
    parts = [_variances([one * kept for one in rows], surface.covariance) for kept in (hard, ~hard)]
    # Unbalanced, the two parts are not quite apart: their sum is brought to the whole.
    whole = np.maximum(parts[0] + parts[1], 1e-300)
    between, within = (part * total / whole for part in parts)
    critical = [
        _critical(surface, [one * kept for one in rows], df, confidence, draws, seed)
        for kept, df in ((hard, surface.df_setup or surface.df), (~hard, surface.df))
    ]
    if all(critical):
        wider = _widening(surface, rows, hard, critical, confidence, draws, seed)
        critical = [one * wider for one in critical]
    half = np.sqrt(critical[0] ** 2 * between + critical[1] ** 2 * within)
    return Pairs(difference, between, within, half, critical[0] or None, critical[1])


def _widening(
    surface: FittedSurface,
    rows: list[Floats],
    hard: NDArray[np.bool_],
    critical: list[float],
    confidence: float,
    draws: int,
    seed: int,
) -> float:
    """Return by how much both c grow, from 1, so that all pairs together are covered."""
    root = root_of(surface.covariance)
    some = [_rows_spread_out(one, root) for one in rows]
    sides = [[(one * kept) @ root for one in some] for kept in (hard, ~hard)]
    squares = [((one[:, None, :] - two[None, :, :]) ** 2).sum(axis=2) for one, two in sides]
    allowed = [c**2 * square for c, square in zip(critical, squares, strict=True)]
    rng = np.random.default_rng([seed, 2])
    found = np.empty((len(RATIOS), draws))
    for start in range(0, draws, BLOCK):
        many = min(BLOCK, draws - start)
        parts = []
        for one, two in sides:
            z = rng.standard_normal((len(root), many))
            parts.append((one @ z)[:, None, :] - (two @ z)[None, :, :])
        df = (surface.df_setup or surface.df, surface.df)
        scatter = [rng.chisquare(one, many) / one for one in df]
        for place, ratio in enumerate(RATIOS):
            spread = (
                ratio * allowed[0][:, :, None] * scatter[0] + allowed[1][:, :, None] * scatter[1]
            )
            t = (sqrt(ratio) * parts[0] + parts[1]) ** 2 / np.maximum(spread, 1e-300)
            found[place, start : start + many] = np.max(t, axis=(0, 1))
    return max(1.0, max(sqrt(_upper_point(one, confidence)) for one in found))


def _upper_point(values: Floats, confidence: float) -> float:
    """Return the order statistic that lies above the true point in 99 of 100 simulations."""
    many = len(values)
    upper = confidence * many + 2.33 * sqrt(many * confidence * (1 - confidence))
    return float(np.sort(values)[min(many - 1, int(upper))])


def _rows_spread_out(rows: Floats, root: Floats) -> Floats:
    return rows[_kept(rows @ root, JOINT)]


def _variances(rows: list[Floats], covariance: Floats) -> Floats:
    """Return the variance of every difference, shape (ours, theirs)."""
    ours, theirs = rows
    own = [np.einsum("ij,jk,ik->i", one, covariance, one) for one in rows]
    square = own[0][:, None] + own[1] - 2 * ours @ covariance @ theirs.T
    return np.asarray(np.maximum(square, 0.0))


def _critical(
    surface: FittedSurface,
    rows: list[Floats],
    df: float,
    confidence: float,
    draws: int,
    seed: int,
) -> float:
    """Return the simulated point of the largest |t| over pairs, at most Scheffe's."""
    root = root_of(surface.covariance)
    moved = [_spread_out(one @ root) for one in rows]
    contrasts = (moved[0][:, None, :] - moved[1][None, :, :]).reshape(-1, len(root))
    largest_part = float(np.abs(contrasts).max())
    rank = int(np.linalg.matrix_rank(contrasts, tol=1e-9 * largest_part)) if largest_part else 0
    if rank == 0:
        return 0.0
    scheffe = sqrt(rank * float(special.fdtri(rank, df, confidence)))
    if rank == 1:
        return scheffe
    square = ((moved[0][:, None, :] - moved[1][None, :, :]) ** 2).sum(axis=2)
    tiny = 1e-14 * square.max()
    weight = np.where(square > tiny, 1 / np.sqrt(np.maximum(square, tiny)), 0.0)
    rng = np.random.default_rng(seed)
    largest = np.empty(draws)
    for start in range(0, draws, BLOCK):
        z = rng.standard_normal((len(root), min(BLOCK, draws - start)))
        t = np.abs((moved[0] @ z)[:, None, :] - (moved[1] @ z)[None, :, :]) * weight[:, :, None]
        largest[start : start + z.shape[1]] = np.max(t, axis=(0, 1))
    points = largest * np.sqrt(df / rng.chisquare(df, draws))
    return min(_upper_point(points, confidence), scheffe)


def _spread_out(at: Floats) -> Floats:
    """Return up to `THINNED` rows, far apart from one another; the last is among them."""
    return at[_kept(at, THINNED)]


def _kept(at: Floats, many: int) -> list[int]:
    """Return the numbers of up to `many` rows, each the farthest from those before."""
    if len(at) <= many:
        return list(range(len(at)))
    kept = [len(at) - 1]
    distance = ((at - at[kept[0]]) ** 2).sum(axis=1)
    while len(kept) < many and distance.max() > 1e-18:
        kept.append(int(np.argmax(distance)))
        distance = np.minimum(distance, ((at - at[kept[-1]]) ** 2).sum(axis=1))
    return kept
