"""What every response of a trial shares when it is analysed."""

from __future__ import annotations

from dataclasses import dataclass

from weldtrial.shared.record import Record
from weldtrial.shared.trial import Trial


@dataclass(frozen=True, slots=True)
class Context:
    """What every response of a trial shares.

    Attributes
    ----------
    shuffled, units
        Whether the order was drawn beforehand, and set-ups (or coupons) of the scarcer level.
    looks
        How many comparisons the trial looks at in all.
    """

    trial: Trial
    record: Record
    shuffled: bool
    units: int
    looks: int
