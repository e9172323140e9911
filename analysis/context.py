"""What every response of a trial shares when it is analysed."""

from __future__ import annotations

from dataclasses import dataclass

from weldtrial.shared.look_state import FIXED, Look
from weldtrial.shared.record import Record
from weldtrial.shared.trial import Trial


@dataclass(frozen=True, slots=True)
class Context:
    """What every response of a trial shares.

    Attributes
    ----------
    shuffled
        Whether the order was drawn beforehand.
    looks
        How many comparisons the trial looks at in all.
    look
        Which of the planned looks this is.
    """

    trial: Trial
    record: Record
    shuffled: bool
    looks: int
    look: Look = FIXED
