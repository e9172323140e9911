"""The trade's arithmetic: heat, wire, bead, gas and stress from what is set and measured.

Plain floats in the units named; nothing here is a setting to weld with or a code result.  The
page ``weldtrial help arithmetic`` prints every formula with its source and how far that source
was read.
"""

from __future__ import annotations

import math

from weldtrial.shared.problems import WeldtrialError

STEEL_DENSITY = 7.85
"""Density of carbon steel, g/cm³ (handbook value)."""

THERMAL_EFFICIENCY = {
    "12": 1.0,
    "131": 0.8,
    "135": 0.8,
    "136": 0.8,
    "138": 0.8,
    "114": 0.8,
    "111": 0.8,
    "141": 0.6,
    "15": 0.6,
}
"""Factor k by ISO 4063 process number; a two-figure entry holds for every process under it.

ISO/TR 17671-1 and EN 1011-1, read in secondary sources.
"""


class ImpossibleWeld(WeldtrialError, ValueError):
    """A number that no weld can have, such as a travel speed of nought."""


def _positive(**numbers: float) -> None:
    for name, number in numbers.items():
        if not (math.isfinite(number) and number > 0):
            raise ImpossibleWeld(f"{name.replace('_', ' ')} must be above 0, got {number!r}.")


def _not_negative(**numbers: float) -> None:
    for name, number in numbers.items():
        if not (math.isfinite(number) and number >= 0):
            raise ImpossibleWeld(f"{name.replace('_', ' ')} must be 0 or more, got {number!r}.")


def _efficiency(efficiency: float) -> None:
    if not 0 < efficiency <= 1:
        raise ImpossibleWeld(f"efficiency must be above 0 and at most 1, got {efficiency!r}.")


def arc_energy(voltage: float, current: float, travel: float) -> float:
    """Return arc energy in kJ/mm: U·I·60 / (1000·v).

    Parameters
    ----------
    voltage
        V, above 0, measured as close to the arc as can be.
    current
        A, above 0.
    travel
        mm/min, above 0.  With in/min the answer is in kJ/in.

    Notes
    -----
    AWS D1.1 and ASME IX call this heat input.  From average meters it does not hold for pulsed
    or waveform-controlled arcs: use `arc_energy_from_energy` or `arc_energy_from_power`.

    References
    ----------
    ISO/TR 18491 (read in a secondary source).
    """
    _positive(voltage=voltage, current=current, travel=travel)
    return voltage * current * 60 / (1000 * travel)


def arc_energy_from_energy(energy: float, length: float) -> float:
    """Return arc energy in kJ/mm from the meter's instantaneous energy: IE / (1000·L).

    Parameters
    ----------
    energy
        J over the bead, above 0.
    length
        mm of weld, above 0.

    References
    ----------
    ISO/TR 18491; ASME IX QW-409.1 (both from memory).
    """
    _positive(energy=energy, length=length)
    return energy / (1000 * length)


def arc_energy_from_power(power: float, travel: float) -> float:
    """Return arc energy in kJ/mm from average instantaneous power: IP·60 / (1000·v).

    Parameters
    ----------
    power
        W, above 0.
    travel
        mm/min, above 0.

    References
    ----------
    ISO/TR 18491; ASME IX QW-409.1 (both from memory).
    """
    _positive(power=power, travel=travel)
    return power * 60 / (1000 * travel)


def thermal_efficiency(process: str) -> float:
    """Return the factor k of an ISO 4063 process number, such as 0.8 for ``"135"``.

    It is one number for all MAG welding, so it cancels when gases are compared.

    Raises
    ------
    ImpossibleWeld
        If no factor is known for the process.

    References
    ----------
    ISO/TR 17671-1, EN 1011-1 (read in secondary sources).
    """
    number = process.strip()
    found = THERMAL_EFFICIENCY.get(number, THERMAL_EFFICIENCY.get(number[:2]))
    if found is None:
        raise ImpossibleWeld(f"no thermal efficiency is known for process {process!r}.")
    return found


def heat_input(energy_per_length: float, efficiency: float = 0.8) -> float:
    """Return heat input Q = k·AE, in the unit of `energy_per_length`.

    Parameters
    ----------
    energy_per_length
        Arc energy, kJ/mm, above 0.
    efficiency
        k, above 0 and at most 1; 0.8 is MIG/MAG.  See `thermal_efficiency`.

    References
    ----------
    ISO/TR 17671-1, EN 1011-1 (read in secondary sources).
    """
    _positive(arc_energy=energy_per_length)
    _efficiency(efficiency)
    return efficiency * energy_per_length


def wire_area(diameter: float) -> float:
    """Return the cross-section of a solid wire, mm², from its diameter, mm (above 0)."""
    _positive(wire_diameter=diameter)
    return math.pi * diameter**2 / 4


def melt_off_rate(diameter: float, wire_feed: float, density: float = STEEL_DENSITY) -> float:
    """Return the wire melted in an hour, kg/h: A·WFS·ρ·60/1000.

    Parameters
    ----------
    diameter
        Wire, mm, above 0.
    wire_feed
        m/min, above 0.
    density
        g/cm³, above 0.

    References
    ----------
    Geometry.
    """
    _positive(wire_feed=wire_feed, density=density)
    return wire_area(diameter) * wire_feed * density * 60 / 1000


def deposition_rate(
    diameter: float, wire_feed: float, efficiency: float, density: float = STEEL_DENSITY
) -> float:
    """Return the metal laid down in an hour, kg/h: melt-off rate × deposition efficiency η.

    `efficiency` is above 0 and at most 1; the rest as in `melt_off_rate`.

    References
    ----------
    Geometry; η for each gas and transfer is common practice, no source.
    """
    _efficiency(efficiency)
    return melt_off_rate(diameter, wire_feed, density) * efficiency


def deposited_area(diameter: float, wire_feed: float, travel: float, efficiency: float) -> float:
    """Return the cross-section laid down, mm²: A·WFS·1000·η / v.

    Parameters
    ----------
    diameter
        Wire, mm, above 0.
    wire_feed
        m/min, above 0.
    travel
        mm/min, above 0.
    efficiency
        Deposition efficiency η, above 0 and at most 1.

    References
    ----------
    Geometry: what is laid down in a minute, spread over the length welded in it.
    """
    _positive(wire_feed=wire_feed, travel=travel)
    _efficiency(efficiency)
    return wire_area(diameter) * wire_feed * 1000 * efficiency / travel


def fillet_leg(area: float, convexity: float = 0.10) -> float:
    """Return the leg of an equal-leg fillet, mm: z = √(2·A / (1 + c)).

    Parameters
    ----------
    area
        Deposited cross-section, mm², above 0.
    convexity
        c, the share of metal above the flat face, 0 or more; about 0.05 to 0.20.

    References
    ----------
    Geometry; c is from memory.
    """
    _positive(area=area)
    _not_negative(convexity=convexity)
    return math.sqrt(2 * area / (1 + convexity))


def throat_from_leg(leg: float) -> float:
    """Return the throat of a flat equal-leg fillet: a = z/√2, in the unit of `leg` (above 0)."""
    _positive(leg=leg)
    return leg / math.sqrt(2)


def leg_from_throat(throat: float) -> float:
    """Return the leg of a flat equal-leg fillet: z = a·√2, in the unit of `throat` (above 0)."""
    _positive(throat=throat)
    return throat * math.sqrt(2)


def travel_speed(length: float, arc_time: float) -> float:
    """Return travel speed as welded, mm/min: 60·L / t.

    Parameters
    ----------
    length
        Bead, mm, above 0.
    arc_time
        s with the arc burning, above 0.

    References
    ----------
    Definition.
    """
    _positive(bead_length=length, arc_time=arc_time)
    return 60 * length / arc_time


def arc_time(length: float, travel: float) -> float:
    """Return the time the arc burns, s, for a bead of `length` mm at `travel` mm/min."""
    _positive(bead_length=length, travel=travel)
    return 60 * length / travel


def weld_length(coupons: int, bead: float) -> float:
    """Return the weld in a trial, m: coupons (0 or more) × bead length, mm (above 0)."""
    _not_negative(coupons=coupons)
    _positive(bead_length=bead)
    return coupons * bead / 1000


def wire_use(wire_feed: float, arc_seconds: float) -> float:
    """Return the wire used, m, at `wire_feed` m/min (above 0) in `arc_seconds` (0 or more)."""
    _positive(wire_feed=wire_feed)
    _not_negative(arc_time=arc_seconds)
    return wire_feed * arc_seconds / 60


def wire_mass(length: float, diameter: float, density: float = STEEL_DENSITY) -> float:
    """Return the mass, kg, of `length` m of wire of `diameter` mm.

    `density` is in g/cm³.  Geometry; wire makers' tables of metres a kilogram agree within 2 %.
    """
    _not_negative(wire_length=length)
    _positive(density=density)
    return wire_area(diameter) * length * density / 1000


def gas_volume(
    flow: float, arc_seconds: float, purges: int = 0, purge_seconds: float = 30.0
) -> float:
    """Return the shielding gas used, L: flow × (arc time + purges), at the meter's conditions.

    Parameters
    ----------
    flow
        L/min at the nozzle, above 0.
    arc_seconds
        s of arc time in all, 0 or more.
    purges
        How often the hose is purged: once a set-up, 0 or more.
    purge_seconds
        s each, 0 or more; 30 to 60 is common practice, no source.

    Notes
    -----
    Pre-flow, post-flow, surge and leaks are left out.
    """
    _positive(flow=flow)
    _not_negative(arc_time=arc_seconds, purges=purges, purge_time=purge_seconds)
    return flow * (arc_seconds + purges * purge_seconds) / 60


def direct_stress(load: float, throat: float, length: float) -> float:
    """Return load over throat area, MPa: 1000·P / (a·L).

    Parameters
    ----------
    load
        kN, above 0, pulled or pressed across the throat.
    throat, length
        mm, above 0.

    References
    ----------
    Definition; a shop measure, not a code result.
    """
    _positive(load=load, throat=throat, length=length)
    return 1000 * load / (throat * length)


def hinge_stress(moment: float, throat: float, length: float) -> float:
    """Return the stress of a fillet folded open, MPa: 4000·M / (a²·L).

    The moment grows with the square of the throat: a throat 3 % smaller takes 6 % less moment
    with the same metal.

    Parameters
    ----------
    moment
        N·m, above 0, about the throat.
    throat, length
        mm, above 0.

    References
    ----------
    Plastic hinge across the throat; engineering estimate, no source.
    """
    _positive(moment=moment, throat=throat, length=length)
    return 4000 * moment / (throat**2 * length)


def torque_with_extension(reading: float, wrench: float, extension: float) -> float:
    """Return the torque applied with an extension in line: T·(Lw + Lx) / Lw.

    Parameters
    ----------
    reading
        What the wrench shows, above 0; the answer is in its unit.
    wrench, extension
        Length of the wrench (above 0) and of the extension (0 or more), in one unit.

    References
    ----------
    Geometry; an extension at a right angle changes nothing.
    """
    _positive(reading=reading, wrench=wrench)
    _not_negative(extension=extension)
    return reading * (wrench + extension) / wrench
