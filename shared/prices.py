"""Prices as the user gives them; nothing here has a value of its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Prices:
    """What things cost, in `currency`; None where the file does not say.

    Attributes
    ----------
    gas_m3
        Price of a cubic metre of gas: one entry keyed ``""``, or one for each gas; empty where the
        file gives none here.
    arc_share
        Share of paid time in which the arc burns, above 0 and at most 1.
    machine_efficiency
        Arc power over mains power, above 0 and at most 1.
    current
        A, used where no setting gives the current.
    set_up, metres_per_set_up
        Cost of one set-up and the metres of weld over which it is shared.
    """

    currency: str
    gas_m3: Mapping[str, float] = field(default_factory=dict)
    wire_kg: float | None = None
    labour_hour: float | None = None
    arc_share: float | None = None
    power_kwh: float | None = None
    machine_efficiency: float | None = None
    current: float | None = None
    set_up: float | None = None
    metres_per_set_up: float | None = None
