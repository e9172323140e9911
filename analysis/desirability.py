"""Desirability: several responses turned into one number, for those who ask for one.

Derringer & Suich 1980, J. Qual. Technol. 12, 214-219: each response is worth 0 where it is no
good and 1 where more is worth nothing, and the whole is the geometric mean, so one response that
is no good cannot be bought back by the others.  It says nothing of how often a weld would fail:
`weldtrial.analysis.joint` does.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from weldtrial.analysis.linear import Floats


@dataclass(frozen=True, slots=True)
class Wish:
    """What one response should be.

    Attributes
    ----------
    response
        Its name.
    worthless_below, enough
        Higher is better: at or below the first it is worth 0, at or above the second 1.
    worthless_above
        With `enough`: lower is better, unless `worthless_below` is given too; then `enough` is
        the target between the two.
    bend_below, bend_above
        Powers on the side below and above the target, above 0: over 1 the worth stays low until
        close to `enough`, under 1 it rises early.  One-sided wishes use the one on their side.
    weight
        How much the response counts, above 0; alike for all is the published form.

    Raises
    ------
    ValueError
        When the ends are out of order, none is given, or a power or a weight is not above 0.
    """

    response: str
    enough: float
    worthless_below: float | None = None
    worthless_above: float | None = None
    bend_below: float = 1.0
    bend_above: float = 1.0
    weight: float = 1.0

    def __post_init__(self) -> None:
        low, high = self.worthless_below, self.worthless_above
        if low is None and high is None:
            raise ValueError(f"{self.response}: say below or above what it is worth nothing")
        if (low is not None and low >= self.enough) or (high is not None and high <= self.enough):
            raise ValueError(
                f"{self.response}: {self.enough:g} must lie above what is worthless below and "
                "below what is worthless above"
            )
        if min(self.bend_below, self.bend_above, self.weight) <= 0:
            raise ValueError(f"{self.response}: powers and weights must be above 0")

    def worth(self, values: Floats) -> Floats:
        """Return the worth of values, 0 to 1, same shape."""
        found = np.ones(np.shape(values))
        if self.worthless_below is not None:
            span = self.enough - self.worthless_below
            share = np.clip((values - self.worthless_below) / span, 0.0, 1.0)
            found = found * share**self.bend_below
        if self.worthless_above is not None:
            span = self.worthless_above - self.enough
            share = np.clip((self.worthless_above - values) / span, 0.0, 1.0)
            found = found * share**self.bend_above
        return np.asarray(found)


def desirability(wishes: Sequence[Wish], values: Mapping[str, Floats]) -> Floats:
    """Return the weighted geometric mean of the worths, shape of the values.

    Parameters
    ----------
    values
        Fitted means by response, all of one shape.

    Raises
    ------
    ValueError
        Without a wish.
    KeyError
        When a wish names a response without values.
    """
    if not wishes:
        raise ValueError("desirability needs at least one wish")
    worths = np.array([one.worth(np.asarray(values[one.response], float)) for one in wishes])
    weights = np.array([one.weight for one in wishes])
    weights = weights / weights.sum()
    return np.asarray(np.prod(worths ** weights.reshape(-1, *[1] * (worths.ndim - 1)), axis=0))
