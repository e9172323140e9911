"""Responses: what a trial measures, what would matter, and what a reading may be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

Better = Literal["higher", "lower"]
Ask = Literal["difference", "no-worse", "equal-enough"]
ResponseKind = Literal["number", "pass-fail", "graded"]

FAILED_AT = (
    "throat",
    "toe",
    "root",
    "fusion line",
    "HAZ",
    "plate",
    "folded flat",
    "slipped",
)
"""Where it broke or cracked; ``slipped`` makes the reading invalid."""


@dataclass(frozen=True, slots=True)
class Margin:
    """The smallest change that matters.

    Attributes
    ----------
    value
        In the response's unit, or as a fraction of the reference mean when `percent`.
    percent
        True when `value` is a fraction (0.05 for 5 %).
    """

    value: float
    percent: bool = False

    def in_units(self, mean: float) -> float:
        """Return the margin in the response's unit, for a reference mean of `mean`."""
        return abs(mean) * self.value if self.percent else self.value


@dataclass(frozen=True, slots=True)
class Typical:
    """What to expect of a response before the trial, for planning only.

    Attributes
    ----------
    mean, sd_coupon, sd_setup
        In the response's unit; `sd_coupon` between coupons of one set-up, `sd_setup` between
        set-ups.
    source
        Where the figures come from, in the user's words.
    sd_reading
        Between readings of one coupon, in the response's unit.  Where it is given `sd_coupon` is
        what coupons would scatter if every reading were perfect.
    pilot_coupons, pilot_setups
        Coupons that `sd_coupon`, and set-ups that `sd_setup` came from; None for a guess.
    """

    mean: float
    sd_coupon: float
    sd_setup: float = 0.0
    source: str = ""
    sd_reading: float = 0.0
    pilot_coupons: int | None = None
    pilot_setups: int | None = None


@dataclass(frozen=True, slots=True)
class Foreseen:
    """What to expect of coupons that pass or fail, or are graded, for planning only.

    Attributes
    ----------
    shares
        Share of today's coupons in each grade, worst first, adding to 1; of coupons that pass or
        fail: the share that fails, then the share that passes.
    alike
        How alike coupons of one set-up are: their intraclass correlation, from 0 to 1.
    source
        Where the figures come from, in the user's words.
    worse_odds
        The loss to plan for, as how many times smaller the odds of a better grade become; above 1
        (graded only).
    """

    shares: tuple[float, ...]
    alike: float = 0.0
    source: str = ""
    worse_odds: float = 3.0

    @property
    def passing(self) -> float:
        """Share of today's coupons that pass (that have the best grade)."""
        return self.shares[-1]


Quantity = Literal[
    "travel",
    "arc-energy",
    "heat-input",
    "deposit-area",
    "leg-of-deposit",
    "throat-of-deposit",
    "stress-on-throat",
    "moment-on-throat",
    "load-per-length",
]


@dataclass(frozen=True, slots=True)
class WorkedOut:
    """How a response follows from what was read and written into the weld log.

    Attributes
    ----------
    quantity
        One of the trade's quantities; see `weldtrial.shared.worked_out`.
    of
        The response it is worked out from, empty for what the weld log alone gives.
    length_mm
        Length of weld that was loaded, in mm.
    efficiency
        Deposition efficiency, above 0 and at most 1.
    convexity
        Share of metal above the flat face of a fillet, 0 or more.
    reads_to
        Smallest division of the gauge behind a column of the weld log, in the column's unit.
    """

    quantity: Quantity
    of: str = ""
    length_mm: float | None = None
    efficiency: float | None = None
    convexity: float | None = None
    reads_to: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Response:
    """One response.  Numbers are in `unit` throughout; `worked_out` ones are not read by anyone.

    What to plan with is `typical` of a number, `foreseen` of the other kinds.
    """

    name: str
    unit: str
    label: str = ""
    kind: ResponseKind = "number"
    better: Better = "higher"
    rank: int = 1
    reads_to: float | None = None
    most: float | None = None
    least: float | None = None
    margin: Margin | None = None
    margin_why: str = ""
    ask: Ask = "difference"
    at_least: float | None = None
    at_most: float | None = None
    typical: Typical | None = None
    sections: int = 1
    where: tuple[str, ...] = ()
    crack_rule: str = ""
    scale: tuple[str, ...] = ()
    stops: float | None = None
    worked_out: WorkedOut | None = None
    foreseen: Foreseen | None = None

    @property
    def title(self) -> str:
        """Label for eyes."""
        return self.label or self.name.replace("_", " ")

    @property
    def sign(self) -> int:
        """+1 when higher is better, -1 when lower is: multiplies level minus reference."""
        return 1 if self.better == "higher" else -1
