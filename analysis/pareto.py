"""Settings not beaten on every count: to gain in one thing, something else must be given up.

A place is beaten when another is at least as good in everything and better in something (Pareto
dominance).  It blends nothing: what is given up for what is for people to say.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from weldtrial.analysis.linear import Floats
from weldtrial.analysis.settings_grid import Mask


def not_beaten(
    values: Floats, higher: Sequence[bool], feasible: Mask | None = None
) -> NDArray[np.intp]:
    """Return the places that no feasible place beats on every count.

    Parameters
    ----------
    values
        Shape (m, counts), finite.
    higher
        For each count whether higher is better.
    feasible
        Shape (m,): places that may be chosen; None for all.

    Returns
    -------
    Place numbers, best in the first count first; places alike in every count all stay.
    """
    table = np.asarray(values, dtype=float)
    if table.ndim != 2 or table.shape[1] != len(higher):
        raise ValueError(f"values must have {len(higher)} columns, got shape {table.shape}")
    if not np.all(np.isfinite(table)):
        raise ValueError("values must be finite numbers")
    good = table * np.where(np.array(higher), 1.0, -1.0)
    kept = np.arange(len(good)) if feasible is None else np.flatnonzero(feasible)
    # Sorted by all counts, whoever beats a place stands before it.
    order = kept[np.lexsort(tuple(-good[kept, c] for c in reversed(range(good.shape[1]))))]
    front: list[int] = []
    for place in order:
        ahead = good[front]
        at_least = np.all(ahead >= good[place], axis=1)
        if not np.any(at_least & np.any(ahead > good[place], axis=1)):
            front.append(int(place))
    return np.array(front, dtype=np.intp)
