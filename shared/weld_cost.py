"""What a metre of weld costs, from its settings and the prices that the user gives.

Per metre of weld welded at v mm/min the arc burns t = 60 · 1000 / v seconds:

- gas: flow · t / 60 litres at the price of a cubic metre (purge, pre- and post-flow left out);
- wire: what is *fed* in that time, spatter included, by its cross-section and the density of
  carbon steel (`weldtrial.shared.weld.STEEL_DENSITY`, handbook value);
- time: t over the share of paid time in which the arc burns;
- power: U · I · t over the efficiency of the machine;
- set-up: its cost over the metres welded in it.

No price and no share is assumed: what is not given is named in `missing` and left out of the sum.
The formulas are definitions and geometry; a deposition efficiency is not needed, because wire is
paid for as it is fed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from weldtrial.shared.prices import Prices
from weldtrial.shared.trial import Trial
from weldtrial.shared.units import convert, kind
from weldtrial.shared.weld import arc_time, gas_volume, wire_mass, wire_use

METRE = 1000.0
"""mm in the metre of weld that is priced."""


@dataclass(frozen=True, slots=True)
class CostPart:
    """One part of the cost of a metre of weld.

    Attributes
    ----------
    name
        ``gas``, ``wire``, ``time``, ``power`` or ``set-up``.
    amount, unit
        What is used for a metre, such as 37.5 L of gas.
    cost
        In the currency, for a metre of weld.
    """

    name: str
    amount: float
    unit: str
    cost: float


@dataclass(frozen=True, slots=True)
class WeldCost:
    """The cost of a metre of weld.

    Attributes
    ----------
    total
        Sum of `parts`, currency for a metre; None where nothing could be priced.
    missing
        What is not in the sum, and what the file would have to say, in words.
    notes
        How to read what is in the sum.
    """

    currency: str
    total: float | None
    parts: tuple[CostPart, ...]
    missing: tuple[str, ...]
    notes: tuple[str, ...] = ()

    @property
    def unit(self) -> str:
        """Unit of the total."""
        return f"{self.currency}/m"


def cost_per_metre(trial: Trial, settings: Mapping[str, str | float]) -> WeldCost | None:
    """Return what a metre of weld costs at settings; None where the file has no [prices].

    Parameters
    ----------
    settings
        Factors by name, numeric ones in their own units, and the level of every category; held
        settings come from the trial.
    """
    prices = trial.prices
    if prices is None:
        return None
    travel = _number(trial, settings, "speed", "mm/min", ("travel",), not_named=("wire", "feed"))
    if travel is None:
        return WeldCost(prices.currency, None, (), ("a travel speed, factor or held setting",))
    seconds = arc_time(METRE, travel)
    parts: list[CostPart] = []
    missing: list[str] = []
    for made in (
        _gas(trial, prices, settings, seconds),
        _wire(trial, prices, settings, seconds),
        _time(prices, seconds),
        _power(trial, prices, settings, seconds),
    ):
        if isinstance(made, CostPart):
            parts.append(made)
        else:
            missing.append(made)
    notes = []
    if prices.labour_hour is not None and prices.arc_share is None:
        notes.append("labour is counted for the arc time alone: arc_share is not given")
    if prices.set_up is not None and prices.metres_per_set_up is not None:
        share = 1 / prices.metres_per_set_up
        parts.append(CostPart("set-up", share, "of a set-up", prices.set_up * share))
    else:
        notes.append("set-ups are left out")
    total = sum(one.cost for one in parts) if parts else None
    return WeldCost(prices.currency, total, tuple(parts), tuple(missing), tuple(notes))


def _gas(
    trial: Trial, prices: Prices, settings: Mapping[str, str | float], seconds: float
) -> CostPart | str:
    level = str(settings.get("gas", ""))
    price = prices.gas_m3.get(level, prices.gas_m3.get(""))
    if price is None:
        about = next((one.about.get(level, {}) for one in trial.factors if one.name == "gas"), {})
        said = about.get("cost_per_m3")
        price = float(said) if isinstance(said, int | float) else None
    flow = _number(trial, settings, "gas flow", "L/min")
    lacking = []
    if price is None:
        where = "cost_per_m3 under about, or gas_m3" if level else "gas_m3"
        lacking.append(f"the price of {level or 'gas'} ({where} under [prices])")
    if flow is None:
        lacking.append("a gas flow, factor or held setting")
    if price is None or flow is None:
        return f"gas: {' and '.join(lacking)}"
    litres = gas_volume(flow, seconds)
    return CostPart("gas", litres, "L", price * litres / 1000)


def _wire(
    trial: Trial, prices: Prices, settings: Mapping[str, str | float], seconds: float
) -> CostPart | str:
    budget = trial.budget
    price = prices.wire_kg
    if price is None and budget.currency.strip() == prices.currency:
        price = budget.cost_wire_kg
    feed = _number(trial, settings, "speed", "m/min", ("wire", "feed"))
    size = trial.joint.wire_diameter
    lacking = []
    if price is None:
        lacking.append("the price of wire (wire_kg under [prices])")
    if feed is None:
        lacking.append("a wire feed, factor or held setting")
    if size is None:
        lacking.append("the diameter of the wire (under [joint])")
    if price is None or feed is None or size is None:
        return f"wire: {' and '.join(lacking)}"
    mass = wire_mass(wire_use(feed, seconds), convert(size.value, size.unit, "mm"))
    return CostPart("wire", mass, "kg", price * mass)


def _time(prices: Prices, seconds: float) -> CostPart | str:
    if prices.labour_hour is None:
        return "time: what an hour of the welder costs (labour_hour under [prices])"
    minutes = seconds / 60 / (prices.arc_share or 1.0)
    return CostPart("time", minutes, "min", prices.labour_hour * minutes / 60)


def _power(
    trial: Trial, prices: Prices, settings: Mapping[str, str | float], seconds: float
) -> CostPart | str:
    volts = _number(trial, settings, "voltage", "V")
    amps = _number(trial, settings, "current", "A")
    amps = prices.current if amps is None else amps
    lacking = [
        words
        for value, words in (
            (prices.power_kwh, "the price of a kWh (power_kwh under [prices])"),
            (prices.machine_efficiency, "the machine's efficiency (machine_efficiency)"),
            (volts, "a voltage, factor or held setting"),
            (amps, "the current (a setting, or current under [prices])"),
        )
        if value is None
    ]
    if lacking or volts is None or amps is None:
        return f"power: {', '.join(lacking)}"
    assert prices.machine_efficiency is not None
    assert prices.power_kwh is not None
    energy = volts * amps * seconds / prices.machine_efficiency / 3.6e6
    return CostPart("power", energy, "kWh", prices.power_kwh * energy)


def _number(
    trial: Trial,
    settings: Mapping[str, str | float],
    of_kind: str,
    unit: str,
    named: tuple[str, ...] = (),
    not_named: tuple[str, ...] = (),
) -> float | None:
    """Return a setting by its kind of unit, in `unit`; its name decides between several."""
    known = [(one.name, one.unit or "1", settings.get(one.name)) for one in trial.factors
             if one.kind == "numeric"]  # fmt: skip
    known += [(one.name, one.unit, one.target) for one in trial.held]
    fitting = [one for one in known if kind(one[1]) == of_kind and isinstance(one[2], int | float)]
    fitting = [one for one in fitting if not any(word in one[0] for word in not_named)]
    best = [one for one in fitting if any(word in one[0] for word in named)] if named else fitting
    if not best and not_named:
        best = fitting
    if not best:
        return None
    _, written, value = best[0]
    assert isinstance(value, int | float)
    return convert(float(value), written, unit)
