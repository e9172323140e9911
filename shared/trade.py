"""Numbers of the trade: what is assumed before a trial has numbers of its own.

Every record says where it comes from and how far to trust it.  They serve planning, defaults
and warnings, never a verdict, and none of them is a setting to weld with.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from importlib.resources import files
from typing import Any, Literal, TypeVar

Span = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sourced:
    """Where a number comes from.

    Attributes
    ----------
    source
        A publication, a definition, or ``common practice, no source``.
    provenance
        ``read`` (seen in the text), ``memory`` (not seen) or ``computed``.
    confidence
        ``high``, ``medium`` or ``low``.
    depth
        How much of a source was read: ``extract``, ``abstract``, ``secondary`` (in a guide,
        handbook or page quoting it), or empty.
    """

    source: str
    provenance: Literal["read", "memory", "computed"]
    confidence: Literal["high", "medium", "low"]
    depth: str = ""

    @property
    def cited(self) -> str:
        """Source and standing in words, for a report or a reference page."""
        if self.source.startswith("common practice"):
            how = "from memory"
        else:
            how = {
                "read": {"secondary": "read second-hand", "abstract": "abstract read"}.get(
                    self.depth, "read"
                ),
                "memory": "from memory",
                "computed": "computed",
            }[self.provenance]
        return f"{self.source} ({how}; confidence {self.confidence})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wire(Sourced):
    """One solid wire as its spool is labelled; 0.9 mm and 0.035 in are two wires."""

    label: str
    diameter_mm: float
    area_mm2: float
    grams_per_metre: float


@dataclass(frozen=True, slots=True, kw_only=True)
class GasBand(Sourced):
    """One ISO 14175 symbol; a band's lower edge is outside it, the upper edge inside."""

    symbol: str
    co2_pct: Span | None
    o2_pct: Span | None
    h2_pct: Span | None
    balance: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MixingTolerance(Sourced):
    """How far a bottle may be from its label, for a component in a range of nominal shares."""

    above_pct: float
    up_to_pct: float
    relative_pct: float | None
    absolute_pct: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Window(Sourced):
    """Where a wire runs in one kind of transfer under some gases; warn outside, never block."""

    wires: tuple[str, ...]
    mode: str
    gases: tuple[str, ...]
    wire_feed_m_min: Span | None
    current_a: Span
    voltage_v: Span
    stick_out_mm: Span | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Range(Sourced):
    """A named range with its unit."""

    name: str
    low: float
    high: float
    unit: str
    typical: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DepositionEfficiency(Sourced):
    """Share of the melted wire that ends in the weld (a fraction)."""

    case: str
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TransferLimit(Sourced):
    """A kind of transfer that some gases never give, whatever is dialled."""

    gases: tuple[str, ...]
    never: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GasEffect(Sourced):
    """What C1 does against M21, percent of the M21 mean, before any trial: a range."""

    response: str
    low_pct: float
    high_pct: float
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Scatter(Sourced):
    """Coefficient of variation between coupons of one set-up, percent; None where unknown."""

    quantity: str
    mechanised_cv_pct: Span | None
    manual_cv_pct: Span | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupScatter(Sourced):
    """Standard deviation between set-ups, percent of the mean."""

    cause: str
    low_pct: float
    high_pct: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument(Sourced):
    """What an instrument may be out by, in `unit` (``%`` of reading, ``mm``, ``1`` a factor)."""

    item: str
    low: float
    high: float
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Change(Sourced):
    """Minutes that a change or a wait takes at the bench."""

    what: str
    low_min: float
    high_min: float
    how: Literal["hard", "medium", "easy", "wait", "test"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Purge(Sourced):
    """What follows a change of gas: seconds at a flow, and a scrap bead in mm."""

    low_s: float
    high_s: float
    flow_l_min: float
    scrap_bead_mm: Span


@dataclass(frozen=True, slots=True, kw_only=True)
class FractureLocation(Sourced):
    """Where a coupon broke.

    Attributes
    ----------
    weld_at_least
        True when the weld held at least the reading.
    valid
        False when there is no reading.
    """

    name: str
    words: str
    weld_at_least: bool
    valid: bool


@dataclass(frozen=True, slots=True)
class Trade:
    """All of it; `trade` loads it once."""

    wires: tuple[Wire, ...]
    gas_bands: tuple[GasBand, ...]
    mixing_tolerance: tuple[MixingTolerance, ...]
    windows: tuple[Window, ...]
    ranges: tuple[Range, ...]
    transfer_limits: tuple[TransferLimit, ...]
    deposition_efficiency: tuple[DepositionEfficiency, ...]
    gas_effects: tuple[GasEffect, ...]
    scatter: tuple[Scatter, ...]
    setup_scatter: tuple[SetupScatter, ...]
    instruments: tuple[Instrument, ...]
    changes: tuple[Change, ...]
    purge: Purge
    fracture_locations: tuple[FractureLocation, ...]

    def range_of(self, name: str) -> Range:
        """Return a named range, such as ``"gas flow"``; KeyError when there is none."""
        return _named(self.ranges, "name", name)

    def scatter_of(self, quantity: str) -> Scatter:
        """Return the scatter of a quantity by its exact name; KeyError when there is none."""
        return _named(self.scatter, "quantity", quantity)

    def change_of(self, what: str) -> Change:
        """Return how long a change takes by its exact name; KeyError when there is none."""
        return _named(self.changes, "what", what)

    def windows_for(self, wire: str, gas: str | None = None) -> tuple[Window, ...]:
        """Return the windows of a wire by its spool label, under one ISO 14175 symbol or any."""
        return tuple(
            window
            for window in self.windows
            if wire in window.wires and (gas is None or gas in window.gases)
        )

    def iso_symbol(self, co2_pct: float, o2_pct: float = 0.0) -> str | None:
        """Return the ISO 14175 symbol of an argon-CO2-oxygen mix or of CO2, or None.

        Parameters
        ----------
        co2_pct, o2_pct
            Nominal volume percent, 0 or more; the rest is argon.

        Notes
        -----
        75/25 is M21 and 85/15 is M20, because the upper edge belongs to the band.
        """
        if co2_pct < 0 or o2_pct < 0 or co2_pct + o2_pct > 100:
            return None
        if co2_pct and co2_pct + o2_pct == 100:
            return "C1" if not o2_pct else ("C2" if 0.5 < o2_pct <= 30 else None)
        if not co2_pct and not o2_pct:
            return "I1"
        for band in self.gas_bands:
            fits = _inside(co2_pct, band.co2_pct) and _inside(o2_pct, band.o2_pct)
            if fits and band.balance == "Ar" and band.h2_pct is None:
                return band.symbol
        return None


def _inside(share: float, span: Span | None) -> bool:
    return share == 0 if span is None else span[0] < share <= span[1]


S = TypeVar("S", bound=Sourced)


def _named(records: tuple[S, ...], field: str, name: str) -> S:
    for record in records:
        if getattr(record, field) == name:
            return record
    raise KeyError(name)


def _record(kind: type[S], row: Mapping[str, Any]) -> S:
    values: dict[str, Any] = {
        key: tuple(value) if isinstance(value, list) else value for key, value in row.items()
    }
    if "note" in {field.name for field in fields(kind)}:
        values.setdefault("note", "")
    return kind(**values)


def _records(kind: type[S], rows: list[Mapping[str, Any]]) -> tuple[S, ...]:
    return tuple(_record(kind, row) for row in rows)


@cache
def trade() -> Trade:
    """Return the numbers of the trade, read once from the package."""
    text = files("weldtrial.shared").joinpath("trade.json").read_text(encoding="utf-8")
    data = json.loads(text)
    return Trade(
        wires=_records(Wire, data["wires"]),
        gas_bands=_records(GasBand, data["gas_bands"]),
        mixing_tolerance=_records(MixingTolerance, data["mixing_tolerance"]),
        windows=_records(Window, data["windows"]),
        ranges=_records(Range, data["ranges"]),
        transfer_limits=_records(TransferLimit, data["transfer_limits"]),
        deposition_efficiency=_records(DepositionEfficiency, data["deposition_efficiency"]),
        gas_effects=_records(GasEffect, data["gas_effects"]),
        scatter=_records(Scatter, data["scatter"]),
        setup_scatter=_records(SetupScatter, data["setup_scatter"]),
        instruments=_records(Instrument, data["instruments"]),
        changes=_records(Change, data["changes"]),
        purge=_record(Purge, data["purge"]),
        fracture_locations=_records(FractureLocation, data["fracture_locations"]),
    )
