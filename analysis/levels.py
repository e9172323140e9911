"""The nominal error rates that one look is read with; plain ones where no looks were planned."""

from __future__ import annotations

from dataclasses import dataclass

ALPHA = 0.05
"""Two-sided error rate of the interval, and the one-sided rate of a limit, over all looks."""


@dataclass(frozen=True, slots=True)
class Levels:
    """Nominal error rates of one look.

    Attributes
    ----------
    two_sided
        Of the interval that is called the 95 % interval.
    one_sided
        Of a one-sided limit, the end of what is called the 90 % interval.
    """

    two_sided: float = ALPHA
    one_sided: float = ALPHA

    @property
    def interval(self) -> float:
        """Confidence of the interval at this look alone, 0.95 without looks."""
        return 1 - self.two_sided

    @property
    def limits(self) -> float:
        """Confidence of the interval whose ends are the one-sided limits, 0.90 without looks."""
        return 1 - 2 * self.one_sided


ONCE = Levels()
"""One look only, at the end."""
