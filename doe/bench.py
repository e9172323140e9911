"""What a plan asks of the bench: hours, days, bottle changes, metres of weld, gas and money."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil
from statistics import fmean

from weldtrial.doe.laid_out import Layout
from weldtrial.shared.trial import Held, Trial
from weldtrial.shared.units import convert, kind
from weldtrial.shared.weld import gas_volume, weld_length, wire_mass, wire_use

WIRE_FEED = "wire_feed"
"""Name of the factor or held setting that says how fast the wire runs."""


@dataclass(frozen=True, slots=True)
class Figure:
    """A number with its unit, or None and what the file would have to say.

    Attributes
    ----------
    needs
        Keys of the trial file that are missing, empty when there is a number.
    """

    value: float | None
    unit: str
    needs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Bench:
    """The bench's share of a plan; spares and warm-ups included throughout.

    Attributes
    ----------
    hours, days
        Welding with set-ups; days of `budget.hours_per_day`, whole.
    reading_hours
        Reading the counting coupons, every section of every response.
    set_ups
        Times the hard-to-change factor is set, the first fitting counted; 0 without one.
    weld_m
        Metres of weld.
    gas_l
        Litres of gas for each level of the factor ``gas`` (key ``""`` without one), purges
        included; each level's share of the spares is taken as equal.
    wire_kg
        Kilograms of wire, at the average of its feeds.
    cost
        Coupons, set-ups and, where their prices are given, wire and gas.
    """

    hours: Figure
    days: Figure
    reading_hours: Figure
    set_ups: int
    weld_m: Figure
    gas_l: Mapping[str, Figure]
    cost: Figure
    wire_kg: Figure


def bench_of(trial: Trial, layout: Layout) -> Bench:
    """Work out what a laid-out trial asks of the bench."""
    hours = _hours(trial, layout)
    return Bench(
        hours=hours,
        days=_days(trial, hours),
        reading_hours=_reading_hours(trial, layout),
        set_ups=layout.set_ups,
        weld_m=_weld(trial, layout),
        gas_l=_gas(trial, layout),
        cost=_cost(trial, layout),
        wire_kg=_wire(trial, layout),
    )


def _missing(wanted: Mapping[str, object]) -> tuple[str, ...]:
    return tuple(key for key, value in wanted.items() if value is None)


def _hours(trial: Trial, layout: Layout) -> Figure:
    coupon, setup = trial.budget.minutes_coupon, trial.budget.minutes_setup
    wanted = {"budget.minutes_coupon": coupon}
    if layout.set_ups:
        wanted["budget.minutes_setup"] = setup
    if missing := _missing(wanted):
        return Figure(None, "h", missing)
    minutes = layout.total * (coupon or 0.0) + layout.set_ups * (setup or 0.0)
    return Figure(minutes / 60, "h")


def _days(trial: Trial, hours: Figure) -> Figure:
    per_day = trial.budget.hours_per_day
    if hours.value is None or per_day is None:
        return Figure(None, "days", hours.needs + _missing({"budget.hours_per_day": per_day}))
    # A whole number of days must not become one more by a rounding error.
    return Figure(float(ceil(round(hours.value / per_day, 9))), "days")


def _reading_hours(trial: Trial, layout: Layout) -> Figure:
    minutes = trial.budget.minutes_reading
    if minutes is None:
        return Figure(None, "h", ("budget.minutes_reading",))
    readings = sum(response.sections for response in trial.to_read) * layout.coupons
    return Figure(readings * minutes / 60, "h")


def _weld(trial: Trial, layout: Layout) -> Figure:
    length = trial.joint.length
    if length is None:
        return Figure(None, "m", ("joint.length",))
    return Figure(weld_length(layout.total, convert(length.value, length.unit, "mm")), "m")


def _flow(trial: Trial) -> Held | None:
    return next((held for held in trial.held if kind(held.unit) == kind("L/min")), None)


def _gas(trial: Trial, layout: Layout) -> dict[str, Figure]:
    gas = next((factor for factor in trial.varied if factor.name == "gas"), None)
    levels = gas.levels if gas else ("",)
    flow, arc, purge = _flow(trial), trial.budget.arc_s_coupon, trial.budget.purge_s
    by_bottle = gas is not None and gas.name in layout.hard_factors
    wanted: dict[str, object] = {"[[held]] gas_flow": flow, "budget.arc_s_coupon": arc}
    if by_bottle:
        wanted["budget.purge_s"] = purge
    missing = _missing(wanted)
    if missing or flow is None or arc is None:
        return dict.fromkeys(levels, Figure(None, "L", missing))
    litres = gas_volume(
        convert(flow.target, flow.unit, "L/min"),
        arc * layout.total / len(levels),
        layout.set_ups // len(levels) if by_bottle else 0,
        purge or 0.0,
    )
    return dict.fromkeys(levels, Figure(litres, "L"))


def _wire_feed(trial: Trial) -> float | None:
    """Return the wire feed in m/min: as held, or the average over a factor's settings."""
    held = next((one for one in trial.held if one.name == WIRE_FEED), None)
    if held is not None:
        same = kind(held.unit) == kind("m/min")
        return convert(held.target, held.unit, "m/min") if same else None
    factor = next((one for one in trial.factors if one.name == WIRE_FEED), None)
    if factor is None or factor.unit is None or kind(factor.unit) != kind("m/min"):
        return None
    settings = [value for row in factor.settings.values() for value in row]
    return convert(fmean(settings), factor.unit, "m/min") if settings else None


def _wire_of_one(trial: Trial) -> Figure:
    """Return the wire that one coupon takes, kg."""
    feed, arc, diameter = _wire_feed(trial), trial.budget.arc_s_coupon, trial.joint.wire_diameter
    missing = _missing(
        {
            "[[held]] wire_feed": feed,
            "budget.arc_s_coupon": arc,
            "joint.wire.diameter": diameter,
        }
    )
    if missing or feed is None or arc is None or diameter is None:
        return Figure(None, "kg", missing)
    if feed <= 0:
        return Figure(None, "kg", ("[[held]] wire_feed",))
    through = convert(diameter.value, diameter.unit, "mm")
    return Figure(wire_mass(wire_use(feed, arc), through), "kg")


def _wire(trial: Trial, layout: Layout) -> Figure:
    one = _wire_of_one(trial)
    return one if one.value is None else Figure(one.value * layout.total, "kg")


@dataclass(frozen=True, slots=True)
class Prices:
    """What a coupon and a set-up cost, gas included where its price is given.

    Attributes
    ----------
    coupon, setup
        In `unit`; None where a price is missing, and `needs` says which.
    """

    coupon: float | None
    setup: float | None
    unit: str
    needs: tuple[str, ...] = ()

    def of(self, coupons: int, set_ups: int) -> float | None:
        """Return what so many coupons (spares and warm-ups included) and set-ups cost."""
        if self.coupon is None or self.setup is None:
            return None
        return coupons * self.coupon + set_ups * self.setup


def prices_of(trial: Trial, hard_factors: Sequence[str]) -> Prices:
    """Return what a coupon and a set-up of a trial cost.

    Gas is taken as shared evenly over its levels, as a balanced plan does.  Wire is steel of the
    handbook density (`weldtrial.shared.weld.STEEL_DENSITY`).

    Parameters
    ----------
    hard_factors
        Names of the factors that are changed between set-ups.
    """
    budget, unit = trial.budget, trial.budget.currency
    coupon = budget.cost_coupon
    if coupon is None and budget.cost_plate is None:
        wire = budget.cost_wire_kg is not None
        return Prices(None, None, unit, ("budget.cost_plate" if wire else "budget.cost_coupon",))
    if coupon is None:
        coupon = budget.cost_plate or 0.0
        if budget.cost_wire_kg is not None:
            wire_of_one = _wire_of_one(trial)
            if wire_of_one.value is None:
                return Prices(None, None, unit, wire_of_one.needs)
            coupon += budget.cost_wire_kg * wire_of_one.value
    setup = budget.cost_setup or 0.0
    factor = next((factor for factor in trial.factors if factor.name == "gas"), None)
    flow, arc, purge = _flow(trial), budget.arc_s_coupon, budget.purge_s
    by_bottle = factor is not None and factor.name in hard_factors
    if factor is None or flow is None or arc is None or (by_bottle and purge is None):
        return Prices(coupon, setup, unit)
    rate = convert(flow.target, flow.unit, "L/min")
    for level in factor.levels:
        price = float(factor.about.get(level, {}).get("cost_per_m3") or 0.0) / len(factor.levels)
        coupon += price * gas_volume(rate, arc) / 1000
        if by_bottle:
            setup += price * gas_volume(rate, 0.0, 1, purge or 0.0) / 1000
    return Prices(coupon, setup, unit)


def _cost(trial: Trial, layout: Layout) -> Figure:
    prices = prices_of(trial, layout.hard_factors)
    return Figure(prices.of(layout.total, layout.set_ups), prices.unit, prices.needs)
