"""Coupons welded alike that shift from one run to the next: something else changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from weldtrial.analysis.observations import Observation

WORTH_A_LOOK = 0.05
"""Level of this check: it changes no answer, and a handful of repeats shows little."""
FEWEST = 5
"""Coupons alike below which a shift among them is not looked for."""


@dataclass(frozen=True, slots=True)
class Shift:
    """A step among coupons welded alike.

    Attributes
    ----------
    after
        Run after which they read differently.
    size
        Later less earlier, in the response's unit.
    p
        Smallest two-sample t test over all places for a step, times their number.
    """

    after: int
    size: float
    p: float


def shift_in_repeats(observations: Sequence[Observation]) -> Shift | None:
    """Look for a step among coupons of identical settings, in the order of their runs.

    Parameters
    ----------
    observations
        One entry a coupon, without set-ups; those with set-ups carry their shifts anyway.

    Returns
    -------
    Shift or None
        The clearest step, p by Bonferroni's correction over groups and places; None where no
        settings were repeated often enough.

    References
    ----------
    Worsley (1979), J. Am. Stat. Assoc. 74, 365-367 (a step at an unknown place; the Bonferroni
    bound is exact enough for so few places).
    """
    if any(o.setup is not None for o in observations):
        return None
    alike: dict[tuple[object, ...], list[Observation]] = {}
    for o in observations:
        key = (o.round, *sorted(o.levels.items()))
        alike.setdefault(key, []).append(o)
    groups = [sorted(g, key=lambda o: o.run or 0) for g in alike.values() if len(g) >= FEWEST]
    looks = sum(len(group) - 3 for group in groups)
    steps = [_step(group, place) for group in groups for place in range(2, len(group) - 1)]
    found = min(steps, key=lambda shift: shift.p, default=None)
    return None if found is None else Shift(found.after, found.size, min(1.0, looks * found.p))


def _step(group: Sequence[Observation], place: int) -> Shift:
    values = np.array([o.value for o in group])
    early, late = values[:place], values[place:]
    df = len(values) - 2
    pooled = (((early - early.mean()) ** 2).sum() + ((late - late.mean()) ** 2).sum()) / df
    size = float(late.mean() - early.mean())
    se = float(np.sqrt(pooled * (1 / len(early) + 1 / len(late))))
    p = float(2 * special.stdtr(df, -abs(size) / se)) if se > 0 else float(size == 0)
    return Shift(group[place - 1].run or 0, size, p)
