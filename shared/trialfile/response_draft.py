"""A response while it is being read: its good settings, and where faults go."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from weldtrial.shared.trialfile.draft import Plain
from weldtrial.shared.trialfile.faults import Faults
from weldtrial.shared.trialfile.values import plain_number
from weldtrial.shared.units import NotANumber, parse_number

_PERCENT = re.compile(r"\s*(\S+?)\s*%\s*")


@dataclass(frozen=True, slots=True)
class ResponseDraft:
    """A response being read."""

    raw: Plain
    path: str
    purpose: str
    system: str
    faults: Faults

    @property
    def name(self) -> str:
        """Its name, a question mark where it has none."""
        return str(self.raw.get("name", "?"))

    @property
    def kind(self) -> str:
        """What a reading is."""
        return str(self.raw.get("kind", "number"))

    @property
    def unit(self) -> str:
        """Its unit, in words where it has none."""
        return str(self.raw.get("unit", "its unit"))

    def wrong(self, key: str, words: str, value: object = None) -> None:
        """Report what is wrong with one of its settings."""
        self.faults.wrong(f"{self.path}.{key}".rstrip("."), words, value)


def share_of(value: Any) -> tuple[float | int | None, bool]:
    """Return the number of ``4`` or ``"5 %"`` and whether it is in percent; None for no number."""
    if not isinstance(value, str):
        return plain_number(value), False
    found = _PERCENT.fullmatch(value)
    if found is None:
        return None, False
    try:
        return parse_number(found[1]), True
    except NotANumber:
        return None, True


def gauge_limit_before(value: float, raw: Plain) -> float | None:
    """Return the gauge limit that `value` lies beyond, or None."""
    most, least = raw.get("most"), raw.get("least")
    if most is not None and least is not None and least >= most:
        return None
    if most is not None and value > most:
        return float(most)
    return float(least) if least is not None and value < least else None
