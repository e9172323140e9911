"""What a setting's name gives away: the quantity, its usual unit, and a slip of unit.

Common practice, no source: the names a shop gives its settings.
"""

from __future__ import annotations

from weldtrial.shared.trialfile.faults import as_number

# Part of a name, the quantity of shared/units.py (empty: none), metric and US unit.
_HINTS: tuple[tuple[str, str, str, str], ...] = (
    ("wire_feed", "wire feed", "m/min", "in/min"),
    ("feed", "wire feed", "m/min", "in/min"),
    ("wfs", "wire feed", "m/min", "in/min"),
    ("travel", "travel", "cm/min", "in/min"),
    ("volt", "voltage", "V", "V"),
    ("current", "current", "A", "A"),
    ("amp", "current", "A", "A"),
    ("flow", "flow", "L/min", "ft³/h"),
    ("heat_input", "heat input", "kJ/mm", "kJ/in"),
    ("stick", "stick-out", "mm", "in"),
    ("ctwd", "stick-out", "mm", "in"),
    ("diameter", "wire diameter", "mm", "in"),
    ("thickness", "thickness", "mm", "in"),
    ("leg", "leg", "mm", "in"),
    ("gap", "", "mm", "in"),
    ("penetration", "", "mm", "in"),
    ("throat", "", "mm", "in"),
    ("temp", "", "°C", "°F"),
    ("preheat", "", "°C", "°F"),
    ("load", "", "kN", "lbf"),
    ("force", "", "kN", "lbf"),
    ("torque", "", "N·m", "ft·lbf"),
    ("stress", "stress", "MPa", "ksi"),
    ("strength", "", "MPa", "ksi"),
    ("hardness", "", "HV", "HV"),
    ("angle", "", "deg", "deg"),
    ("bend", "", "deg", "deg"),
    ("time", "", "s", "s"),
)


def quantity_of(name: str) -> str | None:
    """Return the quantity that a setting's name speaks of, or None."""
    return next((quantity for part, quantity, _, _ in _HINTS if quantity and part in name), None)


def usual_unit(name: str, system: str = "metric") -> str | None:
    """Return the unit usual for a setting of that name, or None."""
    for part, _, metric, us in _HINTS:
        if part in name:
            return us if system == "us" else metric
    return None


def unit_clash(
    name: str, what: str, value: float, unit: str, *, quantity: str | None = None
) -> str:
    """Return the message for a number that was probably written in another unit, or ``""``.

    Parameters
    ----------
    name, what
        The setting and its part: ``wire_feed``, ``target``.
    value, unit
        As written.
    quantity
        What it measures; without it, what the name speaks of, or else what the unit does.
    """
    from weldtrial.shared.units import NotANumber, likely_other_unit

    try:
        found = likely_other_unit(value, unit, quantity=quantity or quantity_of(name))
    except NotANumber:
        return ""
    if found is None:
        return ""
    other, meant = found
    number = as_number(value)
    return (
        f"{name} is in {unit} but the {what} {number} looks like {other}. {number} {other} is "
        f"{_brief(meant)} {unit}. Fix the unit or the number."
    )


def _brief(value: float) -> str:
    return f"{value:.2g}" if abs(value) < 1 else as_number(round(value, 1))
