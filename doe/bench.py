"""What a plan asks of the bench: hours, days, bottle changes, metres of weld, gas and money."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil

from weldtrial.doe.laid_out import Layout
from weldtrial.shared.trial import Held, Trial
from weldtrial.shared.units import convert, kind
from weldtrial.shared.weld import gas_volume, weld_length


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
    cost
        Coupons, set-ups and, where its price is given, gas.
    """

    hours: Figure
    days: Figure
    reading_hours: Figure
    set_ups: int
    weld_m: Figure
    gas_l: Mapping[str, Figure]
    cost: Figure


def bench_of(trial: Trial, layout: Layout) -> Bench:
    """Work out what a laid-out trial asks of the bench."""
    hours = _hours(trial, layout)
    gas = _gas(trial, layout)
    return Bench(
        hours=hours,
        days=_days(trial, hours),
        reading_hours=_reading_hours(trial, layout),
        set_ups=layout.set_ups,
        weld_m=_weld(trial, layout),
        gas_l=gas,
        cost=_cost(trial, layout, gas),
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


def _cost(trial: Trial, layout: Layout, gas: Mapping[str, Figure]) -> Figure:
    coupon, setup = trial.budget.cost_coupon, trial.budget.cost_setup
    unit = trial.budget.currency
    if coupon is None:
        return Figure(None, unit, ("budget.cost_coupon",))
    cost = layout.total * coupon + layout.set_ups * (setup or 0.0)
    factor = next((factor for factor in trial.factors if factor.name == "gas"), None)
    for level, litres in gas.items():
        price = factor.about.get(level, {}).get("cost_per_m3") if factor else None
        if litres.value is not None and price is not None:
            cost += float(price) * litres.value / 1000
    return Figure(cost, unit)
