"""Responses worked out from others and from the weld log: travel, energy, deposit, stress.

Every quantity is a product of powers of what it is worked out from, so the relative scatter that
a gauge brings in follows from the powers alone (first-order propagation of error: ISO/IEC Guide
98-3, clause 5.1.2; citation from memory).  The formulas are those of `weldtrial.shared.weld`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import sqrt

from weldtrial.shared.record import Coupon, Reading
from weldtrial.shared.responses import Quantity, Response, WorkedOut
from weldtrial.shared.trial import Trial
from weldtrial.shared.units import convert, kind
from weldtrial.shared.weld import (
    arc_energy,
    deposited_area,
    direct_stress,
    fillet_leg,
    heat_input,
    hinge_stress,
    thermal_efficiency,
    throat_from_leg,
    travel_speed,
)

Numbers = Mapping[str, float]

LOGGED = {"amps": "A", "arc_s": "s", "bead_mm": "mm", "throat_mm": "mm"}
"""Columns of the weld log that a quantity may need, and their units."""
SET = {"volts": ("voltage", "V"), "wire_feed": ("speed", "m/min")}
"""Settings that a quantity may need: kind of unit, and the unit the formulas take."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One quantity.

    Attributes
    ----------
    unit
        The unit that `formula` gives.
    powers
        What it is worked out from, and to which power each enters; ``of`` is another response.
    of_unit
        Unit that ``of`` is taken in, empty where there is none.
    formula
        From the numbers and what the trial file says to the quantity.
    words
        The formula and its source, for the report.
    """

    unit: str
    powers: Numbers
    formula: Callable[[Numbers, WorkedOut, Trial], float]
    words: str
    of_unit: str = ""


def _travel(n: Numbers) -> float:
    return travel_speed(n["bead_mm"], n["arc_s"])


def _energy(n: Numbers, _: WorkedOut, __: Trial) -> float:
    return arc_energy(n["volts"], n["amps"], _travel(n))


def _heat(n: Numbers, how: WorkedOut, trial: Trial) -> float:
    return heat_input(_energy(n, how, trial), thermal_efficiency(trial.joint.process))


def _area(n: Numbers, how: WorkedOut, trial: Trial) -> float:
    wire = trial.joint.wire_diameter
    assert wire is not None
    assert how.efficiency is not None
    diameter = convert(wire.value, wire.unit, "mm")
    return deposited_area(diameter, n["wire_feed"], _travel(n), how.efficiency)


def _leg(n: Numbers, how: WorkedOut, trial: Trial) -> float:
    assert how.convexity is not None
    return fillet_leg(_area(n, how, trial), how.convexity)


_TRAVEL = {"bead_mm": 1.0, "arc_s": -1.0}
_ENERGY = {"volts": 1.0, "amps": 1.0, "bead_mm": -1.0, "arc_s": 1.0}
_AREA = {"wire_feed": 1.0, "bead_mm": -1.0, "arc_s": 1.0}
_SIZE = {name: power / 2 for name, power in _AREA.items()}

RULES: Mapping[Quantity, Rule] = {
    "travel": Rule(
        "mm/min", _TRAVEL, lambda n, _, __: _travel(n), "60·bead / arc seconds (definition)"
    ),
    "arc-energy": Rule(
        "kJ/mm", _ENERGY, _energy, "U·I·60 / (1000·v) (ISO/TR 18491, from a secondary source)"
    ),
    "heat-input": Rule(
        "kJ/mm",
        _ENERGY,
        _heat,
        "k·U·I·60 / (1000·v) (k of ISO/TR 17671-1, from a secondary source)",
    ),
    "deposit-area": Rule(
        "mm²", _AREA, _area, "wire area·wire feed·1000·efficiency / travel (geometry)"
    ),
    "leg-of-deposit": Rule(
        "mm", _SIZE, _leg, "√(2·deposit area / (1 + convexity)) (geometry, equal legs)"
    ),
    "throat-of-deposit": Rule(
        "mm",
        _SIZE,
        lambda n, how, trial: throat_from_leg(_leg(n, how, trial)),
        "leg of the deposit / √2 (geometry, flat equal-leg fillet)",
    ),
    "stress-on-throat": Rule(
        "MPa",
        {"of": 1.0, "throat_mm": -1.0},
        lambda n, how, _: direct_stress(n["of"], n["throat_mm"], how.length_mm or 0.0),
        "1000·load / (throat·length) (definition; a shop measure, not a code result)",
        "kN",
    ),
    "moment-on-throat": Rule(
        "MPa",
        {"of": 1.0, "throat_mm": -2.0},
        lambda n, how, _: hinge_stress(n["of"], n["throat_mm"], how.length_mm or 0.0),
        "4000·moment / (throat²·length) (plastic hinge across the throat; engineering estimate)",
        "N·m",
    ),
    "load-per-length": Rule(
        "N/mm",
        {"of": 1.0},
        lambda n, how, _: 1000 * n["of"] / (how.length_mm or 0.0),
        "1000·load / length (definition)",
        "kN",
    ),
}


@dataclass(frozen=True, slots=True)
class Missing:
    """Why a response could not be worked out for a coupon: columns that hold nothing."""

    stamp: str
    columns: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Behind:
    """The factor or held setting that gives volts or wire feed."""

    name: str
    unit: str
    target: float | None


def setting_behind(trial: Trial, need: str) -> Behind | None:
    """Return the setting that gives ``volts`` or ``wire_feed``, None where none does.

    The name decides where several settings have a unit of that kind (travel is a speed too).
    """
    known = [Behind(f.name, f.unit or "1", None) for f in trial.factors if f.kind == "numeric"]
    known += [Behind(held.name, held.unit, held.target) for held in trial.held]
    fitting = [one for one in known if kind(one.unit) == SET[need][0]]
    if need == "wire_feed":
        fitting = [one for one in fitting if "wire" in one.name or "feed" in one.name]
    return fitting[0] if fitting else None


def work_out(trial: Trial, coupons: Sequence[Coupon]) -> tuple[Coupon, ...]:
    """Return the coupons with every worked-out response among their readings.

    A coupon without what is needed gets no reading; a reading at a gauge limit stays one.
    """
    derived = [one for one in trial.responses if one.worked_out is not None]
    if not derived:
        return tuple(coupons)
    found = []
    for coupon in coupons:
        readings = dict(coupon.readings)
        for response in derived:
            readings[response.name] = _readings(trial, response, replace(coupon, readings=readings))
        found.append(replace(coupon, readings=readings))
    return tuple(found)


def missing(trial: Trial, response: Response, coupons: Sequence[Coupon]) -> tuple[Missing, ...]:
    """Return which coupons that are not lost lack what the response is worked out from."""
    how = response.worked_out
    assert how is not None
    found = []
    for coupon in coupons:
        lacking = [need for need in RULES[how.quantity].powers if need != "of"]
        lacking = [need for need in lacking if _number(trial, coupon, need) is None]
        if how.of and not coupon.readings.get(how.of):
            lacking.append(how.of)
        if lacking and not coupon.lost:
            found.append(Missing(coupon.stamp, tuple(lacking)))
    return tuple(found)


def _number(trial: Trial, coupon: Coupon, need: str) -> float | None:
    """Return what the log says; a setting that was not written down is taken as planned."""
    if need in LOGGED:
        return coupon.measured.get(need)
    behind = setting_behind(trial, need)
    if behind is None:
        return None
    planned = coupon.settings.get(behind.name, behind.target)
    value = coupon.as_run.get(behind.name, planned if isinstance(planned, float) else None)
    return None if value is None else convert(value, behind.unit, SET[need][1])


def _readings(trial: Trial, response: Response, coupon: Coupon) -> tuple[Reading, ...]:
    how = response.worked_out
    assert how is not None
    rule = RULES[how.quantity]
    needs = [need for need in rule.powers if need != "of"]
    numbers = {need: _number(trial, coupon, need) for need in needs}
    known = {need: value for need, value in numbers.items() if value is not None}
    if len(known) < len(needs):
        return ()
    if not how.of:
        value = convert(rule.formula(known, how, trial), rule.unit, response.unit)
        return (Reading("number", value=value, text=f"{value:.4g}"),)
    of_unit = trial.response(how.of).unit

    def turned(value: float | None) -> float | None:
        if value is None or value <= 0:
            return None
        of = convert(value, of_unit, rule.of_unit)
        return convert(rule.formula({**known, "of": of}, how, trial), rule.unit, response.unit)

    return tuple(_turned(one, turned) for one in coupon.readings.get(how.of, ()))


def _turned(reading: Reading, turn: Callable[[float | None], float | None]) -> Reading:
    """Return a reading of another response in the new quantity, limits and losses kept."""
    if reading.kind == "lost":
        return reading
    value, low, high = turn(reading.value), turn(reading.low), turn(reading.high)
    text = {
        "number": f"{value or 0:.4g}",
        "above": f">{low or 0:.4g}",
        "below": f"<{high or 0:.4g}",
        "between": f"{low or 0:.4g}..{high or 0:.4g}",
    }.get(reading.kind, reading.text)
    first = None if reading.first is None else _turned(reading.first, turn)
    return replace(reading, value=value, low=low, high=high, text=text, first=first)


def gauge_share(response: Response, coupons: Sequence[Coupon]) -> float | None:
    """Return the relative standard deviation that the gauges' steps alone bring in.

    A gauge read to a step rounds evenly over it: standard deviation step/√12 (ISO/IEC Guide
    98-3, clause 4.3.7; citation from memory).  Only steps given in ``worked_out.reads_to`` are
    counted; None where none is given or nothing was measured.
    """
    how = response.worked_out
    if how is None or not how.reads_to:
        return None
    powers, squares = RULES[how.quantity].powers, []
    for column, step in how.reads_to.items():
        seen = [c.measured[column] for c in coupons if c.measured.get(column)]
        if not seen:
            return None
        relative = step / sqrt(12) / (sum(seen) / len(seen))
        squares.append((powers[column] * relative) ** 2)
    return sqrt(sum(squares))
