"""Dealing the levels to whole set-ups again: the one test that needs the draw and nothing else.

Whatever coupons of one set-up have in common, the set-up was dealt its gas by the draw.  The
statistic is worked out for every arrangement that the draw allowed (handed in by the caller, who
knows the restriction), and p is the share of arrangements at least as far out as the one welded.

References
----------
Fisher, R. A. (1935), The Design of Experiments, chapter 3.
Phipson & Smyth (2010), Stat. Appl. Genet. Mol. Biol. 9(1), article 39 (p never zero).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Levels = NDArray[np.int_]

TIE = 1e-9


@dataclass(frozen=True, slots=True)
class Redraw:
    """Result of dealing again.

    Attributes
    ----------
    p
        Share of arrangements whose statistic is at least as large.
    arrangements
        How many were looked at.
    sampled
        True when they were sampled; the welded one is then counted in.
    smallest
        The smallest p that these findings could have given, had another arrangement been welded.
    """

    p: float
    arrangements: int
    sampled: bool
    smallest: float


def redraw(
    statistic: Callable[[Levels], Floats],
    level: ArrayLike,
    arrangements: ArrayLike,
    *,
    listed: bool = True,
) -> Redraw:
    """Compare a statistic with what it would have been under the other arrangements.

    Parameters
    ----------
    statistic
        From levels (m, k) to the statistic of each arrangement (m,), large where the levels look
        apart.
    level
        Level of every set-up as welded, shape (k,).
    arrangements
        Levels as the draw could have dealt them, shape (m, k).
    listed
        True when these are all arrangements, the welded one among them; False when sampled.

    Raises
    ------
    ValueError
        Shapes do not fit, or the welded arrangement is not among those listed.
    """
    welded = np.asarray(level, dtype=int)
    others = np.asarray(arrangements, dtype=int)
    if others.ndim != 2 or others.shape[1] != len(welded) or not len(others):
        raise ValueError(f"arrangements must have {len(welded)} columns, got {others.shape}")
    if listed and not np.any(np.all(others == welded, axis=1)):
        raise ValueError("the arrangement that was welded is not among those listed")
    if not listed:
        others = np.vstack([welded, others])
    values = statistic(others)
    room = TIE * max(1.0, float(np.max(np.abs(values))))
    seen = float(statistic(welded[None, :])[0])
    p = float(np.mean(values >= seen - room))
    smallest = float(np.mean(values >= np.max(values) - room))
    return Redraw(p, len(others), not listed, smallest)


def mean_gap(scores: Floats, rounds: Sequence[object] | None = None) -> Callable[[Levels], Floats]:
    """Return how far apart two levels' mean scores lie, as a statistic for `redraw`.

    Parameters
    ----------
    scores
        One score a set-up, shape (k,).
    rounds
        Round of every set-up, or None; gaps are then taken within rounds and added up.
    """
    labels = list(rounds) if rounds is not None else [0] * len(scores)
    groups = [np.flatnonzero([label == one for label in labels]) for one in dict.fromkeys(labels)]

    def apart(levels: Levels) -> Floats:
        gaps = np.zeros(len(levels))
        for here in groups:
            ones, score = levels[:, here].astype(float), scores[here]
            many = ones.sum(axis=1)
            both = (many > 0) & (many < len(here))
            with np.errstate(divide="ignore", invalid="ignore"):
                gap = ones @ score / many - (1 - ones) @ score / (len(here) - many)
            gaps += np.where(both, gap, 0.0)
        return np.abs(gaps)

    return apart


def all_arrangements(level: ArrayLike, rounds: Sequence[object] | None = None) -> Levels:
    """List every way to deal two levels to the set-ups, keeping the count of each in its round.

    For a draw without a further restriction; a restricted one is listed by its caller.

    Parameters
    ----------
    level
        0 or 1 for every set-up, shape (k,).
    rounds
        Round of every set-up, or None for a draw over all of them.

    Returns
    -------
    Shape (m, k).
    """
    welded = np.asarray(level, dtype=int)
    labels = list(rounds) if rounds is not None else [0] * len(welded)
    groups = [np.flatnonzero([label == one for label in labels]) for one in dict.fromkeys(labels)]
    choices = [combinations(group.tolist(), int(welded[group].sum())) for group in groups]
    rows = []
    for chosen in product(*choices):
        row = np.zeros(len(welded), dtype=int)
        row[[place for some in chosen for place in some]] = 1
        rows.append(row)
    return np.array(rows)
