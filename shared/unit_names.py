"""The units of the trade by name: symbols, spellings, column forms and what each measures.

Only the units listed in `KNOWN_UNITS` are accepted, each in a handful of common spellings that
cannot mean anything else.  Conversion lives in `units`, which passes these names on.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from weldtrial.shared.problems import WeldtrialError, nearest


class UnknownUnit(WeldtrialError, ValueError):
    """A unit that weldtrial does not know, or a spelling that could mean two things."""


class DifferentKinds(WeldtrialError, ValueError):
    """Two units that measure different things."""


class NotANumber(WeldtrialError, ValueError):
    """Text that is not one plain number."""


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit of the trade.

    Attributes
    ----------
    symbol
        How it is written everywhere: ``m/min``.
    slug
        How it ends a column name: ``m_per_min``.  Empty for a plain number.
    kind
        What it measures, in words: two units convert exactly when their kinds are the same.
    words
        The unit said out loud.
    spellings
        Other ways people write it.
    pint_name
        Its name in pint's registry; empty when nothing converts to it.
    """

    symbol: str
    slug: str
    kind: str
    words: str
    spellings: tuple[str, ...] = ()
    pint_name: str = ""


def _unit(symbol: str, slug: str, kind: str, words: str, spellings: str, pint_name: str) -> Unit:
    return Unit(symbol, slug, kind, words, tuple(filter(None, spellings.split("|"))), pint_name)


KNOWN_UNITS: tuple[Unit, ...] = (
    _unit("V", "V", "voltage", "volts", "v|volt|volts", "volt"),
    _unit("A", "A", "current", "amperes", "a|amp|amps|ampere|amperes", "ampere"),
    _unit(
        "m/min",
        "m_per_min",
        "speed",
        "metres a minute",
        "m/minute|metres/min|meters/min",
        "meter/minute",
    ),
    _unit(
        "cm/min", "cm_per_min", "speed", "centimetres a minute", "cm/minute", "centimeter/minute"
    ),
    _unit(
        "mm/min", "mm_per_min", "speed", "millimetres a minute", "mm/minute", "millimeter/minute"
    ),
    _unit(
        "mm/s", "mm_per_s", "speed", "millimetres a second", "mm/sec|mm/second", "millimeter/second"
    ),
    _unit(
        "in/min",
        "in_per_min",
        "speed",
        "inches a minute",
        "ipm|inch/min|inches/min|in/minute|inches/minute|inch/minute",
        "inch/minute",
    ),
    _unit(
        "L/min",
        "L_per_min",
        "gas flow",
        "litres a minute",
        "l/min|lpm|litre/min|litres/min|liter/min|liters/min|L/minute",
        "liter/minute",
    ),
    _unit(
        "ft³/h",
        "ft3_per_h",
        "gas flow",
        "cubic feet an hour",
        "ft3/h|ft3/hr|cfh|scfh|cuft/h|cuft/hr|cubicfeet/hour|ft3/hour",
        "foot**3/hour",
    ),
    _unit(
        "mm",
        "mm",
        "length",
        "millimetres",
        "millimetre|millimetres|millimeter|millimeters",
        "millimeter",
    ),
    _unit(
        "cm",
        "cm",
        "length",
        "centimetres",
        "centimetre|centimetres|centimeter|centimeters",
        "centimeter",
    ),
    _unit("m", "m", "length", "metres", "metre|metres|meter|meters", "meter"),
    _unit("in", "in", "length", "inches", 'inch|inches|"|″|”', "inch"),
    _unit("ft", "ft", "length", "feet", "foot|feet", "foot"),
    _unit("mm²", "mm2", "area", "square millimetres", "mm2|sqmm", "millimeter**2"),
    _unit("kN", "kN", "force", "kilonewtons", "kilonewton|kilonewtons", "kilonewton"),
    _unit("N", "N", "force", "newtons", "newton|newtons", "newton"),
    _unit("lbf", "lbf", "force", "pounds-force", "poundforce|poundsforce", "pound_force"),
    _unit(
        "N·m",
        "Nm",
        "torque or energy",
        "newton metres",
        "Nm|newtonmetre|newtonmetres",
        "newton*meter",
    ),
    _unit(
        "ft·lbf",
        "ft_lbf",
        "torque or energy",
        "foot-pounds",
        "ftlbf|ftlb|ftlbs|lbfft|lbft|footpound|footpounds",
        "foot*pound_force",
    ),
    _unit("J", "J", "torque or energy", "joules", "joule|joules", "joule"),
    _unit(
        "N/mm",
        "N_per_mm",
        "force per length",
        "newtons a millimetre",
        "newton/millimetre|kN/m",
        "newton/millimeter",
    ),
    _unit(
        "lbf/in",
        "lbf_per_in",
        "force per length",
        "pounds-force an inch",
        "lbf/inch",
        "force_pound/inch",
    ),
    _unit("MPa", "MPa", "stress", "megapascals", "N/mm2|megapascal|megapascals", "megapascal"),
    _unit("ksi", "ksi", "stress", "thousands of pounds on a square inch", "", "ksi"),
    _unit("HV", "HV", "hardness", "Vickers hardness", "vickers", ""),
    _unit("deg", "deg", "angle", "degrees of angle", "°|degree|degrees", "degree"),
    _unit("%", "pct", "percentage", "per cent", "pct|percent|percentage", ""),
    _unit(
        "kJ/mm",
        "kJ_per_mm",
        "energy per length",
        "kilojoules a millimetre",
        "",
        "kilojoule/millimeter",
    ),
    _unit(
        "kJ/in", "kJ_per_in", "energy per length", "kilojoules an inch", "kJ/inch", "kilojoule/inch"
    ),
    _unit("s", "s", "time", "seconds", "sec|secs|second|seconds", "second"),
    _unit("min", "min", "time", "minutes", "mins|minute|minutes", "minute"),
    _unit("h", "h", "time", "hours", "hr|hrs|hour|hours", "hour"),
    _unit("g", "g", "mass", "grams", "gram|grams|gramme|grammes", "gram"),
    _unit("kg", "kg", "mass", "kilograms", "kilogram|kilograms", "kilogram"),
    _unit("kg/h", "kg_per_h", "mass rate", "kilograms an hour", "kg/hr|kg/hour", "kilogram/hour"),
    _unit(
        "lb/h",
        "lb_per_h",
        "mass rate",
        "pounds an hour",
        "lb/hr|lbs/h|lbs/hr|lb/hour",
        "pound/hour",
    ),
    _unit("°C", "C", "temperature", "degrees Celsius", "degC|celsius|degreesC|degreeC", "degC"),
    _unit(
        "°F",
        "F",
        "temperature",
        "degrees Fahrenheit",
        "degF|fahrenheit|degreesF|degreeF",
        "degF",
    ),
    _unit("1", "", "plain number", "no unit", "nounit|none", ""),
)

_BY_SYMBOL = {unit.symbol: unit for unit in KNOWN_UNITS}
_BY_SLUG = {unit.slug: unit for unit in KNOWN_UNITS}
_BY_FOLDED_SLUG = {unit.slug.casefold(): unit for unit in KNOWN_UNITS} | {
    "degc": _BY_SYMBOL["°C"],
    "degf": _BY_SYMBOL["°F"],
}

_COULD_MEAN_TWO_THINGS = {
    "C": ("a temperature or a charge", "°C"),
    "c": ("a temperature or a charge", "°C"),
    "F": ("a temperature or a capacitance", "°F"),
    "f": ("a temperature or a capacitance", "°F"),
    "lb": ("a mass or a force", "lbf"),
    "lbs": ("a mass or a force", "lbf"),
    "nm": ("newton metres or nanometres", "N·m"),
    "M": ("metres or minutes", "m"),
}


def _key(text: str) -> str:
    """Strip what people vary without meaning anything: spaces, dots, superscripts."""
    plain = unicodedata.normalize("NFKC", text).strip().replace("\u2032\u2032", '"')
    plain = re.sub(r"\s+per\s+", "/", plain, flags=re.IGNORECASE)
    return re.sub(r"[\s.·⋅•*^\u2010-\u2015-]", "", plain)


def _spelling_table() -> tuple[dict[str, Unit], dict[str, Unit]]:
    exact: dict[str, Unit] = {}
    for unit in KNOWN_UNITS:
        for spelling in (unit.symbol, *unit.spellings):
            exact[_key(spelling)] = unit
    folded: dict[str, Unit] = {}
    for spelling, unit in exact.items():
        # One letter in the wrong case is another unit (s and S), so case counts there.
        if len(spelling) > 1:
            folded[spelling.casefold()] = unit
    return exact, folded


_EXACT, _FOLDED = _spelling_table()


def find(text: str) -> Unit:
    """Return the record of the unit that `text` spells.

    Raises
    ------
    UnknownUnit
        If no unit is spelt so, or the spelling could mean two units.
    """
    by_symbol = _BY_SYMBOL.get(text)
    if by_symbol is not None:
        return by_symbol
    key = _key(text)
    if key in _COULD_MEAN_TWO_THINGS:
        meanings, instead = _COULD_MEAN_TWO_THINGS[key]
        raise UnknownUnit(f"unit {text!r} could mean {meanings}. Write {instead!r}.")
    found = _EXACT.get(key) or _FOLDED.get(key.casefold())
    if found is not None:
        return found
    if not key:
        raise UnknownUnit('the unit is empty. A number without a unit is written  unit = "1".')
    raise UnknownUnit(f"unit {text!r} is not known here. {_suggestion(key)}")


def _suggestion(key: str) -> str:
    close = nearest(key.casefold(), _FOLDED)
    if close is not None:
        return f"Did you mean {_FOLDED[close].symbol!r}?"
    return "Known units: " + ", ".join(unit.symbol for unit in KNOWN_UNITS) + "."


def canonical(text: str) -> str:
    """Return the one spelling used everywhere: ``canonical("CFH")`` is ``"ft³/h"``.

    Raises
    ------
    UnknownUnit
        With the nearest known unit as a suggestion.
    """
    return find(text).symbol


def kind(text: str) -> str:
    """Return what a unit measures, such as ``"speed"``."""
    return find(text).kind


def same_kind(first: str, second: str) -> bool:
    """Tell whether two units measure the same thing, so that one converts to the other."""
    return find(first).kind == find(second).kind


def slug(text: str) -> str:
    """Return a unit's form at the end of a column name: ``slug("m/min")`` is ``"m_per_min"``."""
    return find(text).slug


def from_slug(text: str) -> str:
    """Return the unit whose column form is `text`, in small or capital letters.

    Raises
    ------
    UnknownUnit
        If no unit has that column form.
    """
    found = _BY_SLUG.get(text) or _BY_FOLDED_SLUG.get(text.casefold())
    if found is None:
        close = nearest(text, _BY_SLUG)
        hint = f" Did you mean {close!r}?" if close else ""
        raise UnknownUnit(f"{text!r} is not the column form of a unit.{hint}")
    return found.symbol
