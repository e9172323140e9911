"""Fairness between gases: what is equal in every cell and what then differs, by arithmetic.

A comparison of gases is fair in one reading and unfair in another: at one dial setting the arcs
have different lengths; at one arc length CO2 takes more volts and so more heat.  Nothing here
judges; it lays the readings side by side, holds the file to the rule it names, and never refuses.

References
----------
Arc energy ISO/TR 18491, factor k ISO/TR 17671-1 (both read second-hand); current by the burn-off
law of `weldtrial.shared.burn_off`; bead by geometry (`weldtrial.shared.weld`).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from weldtrial.doe.cells import Cell
from weldtrial.doe.laid_out import Layout
from weldtrial.doe.transfer import likely_modes
from weldtrial.doe.windows import gas_symbol, value_of, wire_labels
from weldtrial.shared.burn_off import USUAL_STICK_OUT, estimated_current
from weldtrial.shared.factors import Factor
from weldtrial.shared.trial import Quantity, Trial
from weldtrial.shared.units import convert
from weldtrial.shared.weld import (
    ImpossibleWeld,
    arc_energy,
    deposited_area,
    fillet_leg,
    heat_input,
    thermal_efficiency,
    throat_from_leg,
)

TRAVEL = ("travel", "travel_speed")
STICK_OUT = ("stick_out", "stickout", "ctwd", "electrode_stick_out")
EFFICIENCY = 0.95
"""Share of the wire that ends in the bead, taken alike for all gases (common practice)."""
ALIKE = 0.05
"""Percent below which two quantities are called the same."""
_ANY_WIRE = Quantity(1.0, "mm")
QUANTITIES = {
    "voltage": "V",
    "wire_feed": "m/min",
    "travel": "mm/min",
    "current": "A",
    "arc_energy": "kJ/mm",
    "heat_input": "kJ/mm",
    "deposit": "mm²",
    "leg": "mm",
    "throat": "mm",
}
"""What is laid side by side, each with the unit it is kept in."""


@dataclass(frozen=True, slots=True)
class Welded:
    """One gas in one cell.

    Attributes
    ----------
    level, symbol
        Level of the gas, and its ISO 14175 symbol (empty where the file gives none).
    values
        By the names of `QUANTITIES`, in their units; left out where the file does not tell.
    modes
        Kinds of transfer that are usual there; empty outside the windows or where not known.
    """

    level: str
    symbol: str
    values: Mapping[str, float]
    modes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Pair:
    """A gas beside the reference in one cell: the same levels of everything else.

    Attributes
    ----------
    at
        Levels of the other varied factors.
    percent
        How far `one` lies above `reference`, percent of the reference, by quantity; what the file
        does not give for either gas is taken as equal for both, see `Fairness.taken`.
    """

    at: Mapping[str, str]
    one: Welded
    reference: Welded
    percent: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Fairness:
    """What a rule of fairness makes equal and what it leaves different.

    Attributes
    ----------
    rule
        The rule of the file.
    factor
        Name of the factor whose levels are the gases.
    pairs
        Every cell compared between a gas and the reference.
    same
        Quantities equal in every pair.
    differs
        For each gas and quantity that is not: the smallest and the largest difference, percent.
    taken
        What had to be taken because the file does not say, in sentences.
    """

    rule: str
    factor: str
    pairs: tuple[Pair, ...]
    same: tuple[str, ...]
    differs: Mapping[tuple[str, str], tuple[float, float]]
    taken: tuple[str, ...]


def compared_gas(trial: Trial) -> Factor | None:
    """Return the category compared as gases are: ``gas``, or what settings slide with."""
    categories = {one.name: one for one in trial.varied if one.kind == "category"}
    owners = [one.slides_with for one in trial.factors if one.slides_with]
    return next((categories[one] for one in ("gas", *owners) if one in categories), None)


def fairness(trial: Trial, layout: Layout) -> Fairness | None:
    """Lay the gases of a trial side by side; None where no rule is named or nothing is known.

    Parameters
    ----------
    trial, layout
        A trial with ``fair.rule``, and how it is laid out.
    """
    gas = compared_gas(trial)
    if trial.fair.rule is None or gas is None:
        return None
    pairs = tuple(_pairs(trial, gas, _cells(layout)))
    if not pairs or not any(pair.percent for pair in pairs):
        return None
    named = [name for name in QUANTITIES if all(name in pair.percent for pair in pairs)]
    same = tuple(name for name in named if all(abs(pair.percent[name]) < ALIKE for pair in pairs))
    return Fairness(
        rule=trial.fair.rule,
        factor=gas.name,
        pairs=pairs,
        same=same,
        differs=dict(_differs(pairs, [name for name in named if name not in same])),
        taken=tuple(_taken(trial, pairs)),
    )


def _cells(layout: Layout) -> list[Cell]:
    """Return the distinct cells, in the order of the plan."""
    every = (cell for cells in layout.cells.values() for cell in cells)
    return list({tuple(cell.levels.items()): cell for cell in every}.values())


def _pairs(trial: Trial, gas: Factor, cells: Sequence[Cell]) -> Iterator[Pair]:
    found: dict[tuple[tuple[str, str], ...], dict[str, Cell]] = {}
    varied = {factor.name for factor in trial.varied}
    for cell in cells:
        rest = {name: lvl for name, lvl in cell.levels.items() if name != gas.name}
        key = tuple((name, lvl) for name, lvl in rest.items() if name in varied)
        found.setdefault(key, {})[cell.levels[gas.name]] = cell
    for key, welded in found.items():
        zero = welded.get(gas.reference)
        for level in gas.levels:
            if zero is None or level == gas.reference or level not in welded:
                continue
            one = worked_out(trial, gas, welded[level])
            reference = worked_out(trial, gas, zero)
            yield Pair(dict(key), one, reference, _percent(trial, one, reference))


def worked_out(trial: Trial, gas: Factor, cell: Cell) -> Welded:
    """Return what one cell is by the trade's arithmetic, as far as the file tells."""
    values = dialled(trial, cell)
    level = cell.levels[gas.name]
    symbol = gas_symbol(gas, level)
    modes = likely_modes(wire_labels(trial), symbol, values.get("voltage"), values.get("wire_feed"))
    return Welded(level, symbol, _whole(trial, values), modes)


def dialled(trial: Trial, cell: Cell) -> dict[str, float]:
    """Return volts, wire feed (m/min) and travel (mm/min) of a cell, those that the file gives."""
    volts = value_of(trial, cell, "voltage", "V")
    feed = value_of(trial, cell, "wire_feed", "m/min")
    speeds = (value_of(trial, cell, name, "mm/min") for name in TRAVEL)
    travel = next((one for one in speeds if one is not None), None)
    found = {"voltage": volts, "wire_feed": feed, "travel": travel}
    return {name: value for name, value in found.items() if value is not None and value > 0}


def wire_diameter(trial: Trial) -> float | None:
    """Return the wire's diameter in mm, None where the file does not say."""
    wire = trial.joint.wire_diameter
    return None if wire is None else convert(wire.value, wire.unit, "mm")


def _stick_out(trial: Trial) -> float | None:
    for held in trial.held:
        if held.name in STICK_OUT and held.unit in ("mm", "cm", "in"):
            return convert(held.target, held.unit, "mm")
    return None


def _whole(trial: Trial, dial: Mapping[str, float]) -> dict[str, float]:
    values = dict(dial)
    wire, feed, travel = wire_diameter(trial), dial.get("wire_feed"), dial.get("travel")
    if wire is not None and feed is not None:
        extension = USUAL_STICK_OUT if (said := _stick_out(trial)) is None else said
        values["current"] = estimated_current(wire, feed, extension)
    if travel is not None and "current" in values and "voltage" in values:
        energy = arc_energy(values["voltage"], values["current"], travel)
        values["arc_energy"] = energy
        values["heat_input"] = heat_input(energy, _k(trial))
    if travel is not None and wire is not None and feed is not None:
        values["deposit"] = deposited_area(wire, feed, travel, EFFICIENCY)
        values["leg"] = fillet_leg(values["deposit"])
        values["throat"] = throat_from_leg(values["leg"])
    return {name: values[name] for name in QUANTITIES if name in values}


def _k(trial: Trial) -> float:
    try:
        return thermal_efficiency(trial.joint.process or "135")
    except ImpossibleWeld:
        return thermal_efficiency("135")


def _percent(trial: Trial, one: Welded, reference: Welded) -> dict[str, float]:
    """Return differences in percent; what neither gas is given is taken as equal for both."""
    named = ("voltage", "wire_feed", "travel")
    dials = [{name: side.values.get(name) for name in named} for side in (one, reference)]
    if all(value is None for value in dials[0].values()):
        return {}
    usual = {"wire_feed": 8.0, "travel": 350.0}
    filled = [
        {name: value if value is not None else usual.get(name) for name, value in dial.items()}
        for dial in dials
    ]
    same_feed = dials[0]["wire_feed"] == dials[1]["wire_feed"]
    model = trial
    if wire_diameter(trial) is None and same_feed:
        # Any wire gives one current at one wire feed, and one bead from one feed and travel.
        model = replace(trial, joint=replace(trial.joint, wire_diameter=_ANY_WIRE))
    ends = [_whole(model, {n: v for n, v in dial.items() if v is not None}) for dial in filled]
    return {
        name: 100 * (ends[0][name] / ends[1][name] - 1)
        for name in QUANTITIES
        if name in ends[0] and name in ends[1]
    }


def _differs(
    pairs: Sequence[Pair], names: Sequence[str]
) -> Iterator[tuple[tuple[str, str], tuple[float, float]]]:
    for level in dict.fromkeys(pair.one.level for pair in pairs):
        for name in names:
            found = [pair.percent[name] for pair in pairs if pair.one.level == level]
            if any(abs(one) >= ALIKE for one in found):
                yield (level, name), (min(found), max(found))


def _taken(trial: Trial, pairs: Sequence[Pair]) -> Iterator[str]:
    values = pairs[0].reference.values
    for name, what in (("wire_feed", "Wire feed"), ("travel", "Travel")):
        if name not in values:
            yield (
                f"{what} is neither a factor nor held, so it is taken as the same for all. Hold it "
                "under [[held]] if it is."
            )
    if "voltage" not in values:
        yield "Volts are neither a factor nor held, so nothing is said of heat."
    if wire_diameter(trial) is None:
        yield "The wire's diameter is not given, so neither current nor bead is worked out."
    elif "current" in values and _stick_out(trial) is None:
        yield (
            f"Stick-out is not held in the file; {USUAL_STICK_OUT:g} mm is taken for the current."
        )
