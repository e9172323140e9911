"""What a trial's scatter is made of, and what more coupons would buy: records."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Stratum = Literal["reading", "coupon", "setup"]


@dataclass(frozen=True, slots=True)
class ScatterRow:
    """Scatter of one kind, as standard deviations in the response's unit.

    Attributes
    ----------
    what
        ``reading`` (between readings of one coupon), ``coupon`` (between coupons, of one set-up
        where there are set-ups) or ``setup`` (between set-ups).
    sd
        The estimate, 0 where the variance came out at or below zero.
    low, high
        Its 95 % interval, at least 0; `low` is 0 where there may be none.
    df
        Degrees of freedom of the mean square it is seen in.
    holds_readings
        True where the readings' scatter is in it, because coupons were read once.
    """

    what: Stratum
    sd: float
    low: float
    high: float
    df: int
    holds_readings: bool = False


@dataclass(frozen=True, slots=True)
class Bought:
    """What one way of doing more would buy.

    Attributes
    ----------
    more
        What there would be twice of: ``readings``, ``coupons`` or ``setups``.
    half_width
        Half the width of the interval of the difference then, in the response's unit.
    df
        Degrees of freedom that would judge it.
    """

    more: Literal["readings", "coupons", "setups"]
    half_width: float
    df: float


@dataclass(frozen=True, slots=True)
class WouldBuy:
    """How wide the interval of the first comparison is at the scatter found, and would be.

    Worked out as for a balanced plan of the same size; a set-up scatter below zero counts as none.

    Attributes
    ----------
    level, reference
        What is compared.
    half_width, df
        Of the plan as it is, at the scatter found; not the interval that came out.
    rows
        Each way of doing more.
    """

    level: str
    reference: str
    half_width: float
    df: float
    rows: tuple[Bought, ...]
