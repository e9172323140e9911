"""Numbers with units: conversion, numbers as people write them, numbers in the wrong unit.

Factors come from pint's exact definitions, held as fractions, and pint is loaded only when a
number really has to change its unit: most trials never need it, and it takes half a second.

A number as written is plain: digits, one decimal sign, perhaps a sign in front.  Exponents,
thousands separators and words are refused, because a spreadsheet or a tired hand put them
there and nobody can say what was meant.

References
----------
Thompson & Taylor (2008). *Guide for the Use of the International System of Units (SI)*,
NIST Special Publication 811, appendix B (the factors the tests check against).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Any

from weldtrial.shared.unit_names import (
    KNOWN_UNITS,
    DifferentKinds,
    NotANumber,
    Unit,
    UnknownUnit,
    canonical,
    find,
    from_slug,
    kind,
    same_kind,
    slug,
)

__all__ = [
    "KNOWN_UNITS",
    "PLAUSIBLE",
    "DifferentKinds",
    "NotANumber",
    "PlausibleRange",
    "Unit",
    "UnknownUnit",
    "canonical",
    "convert",
    "find",
    "from_slug",
    "kind",
    "likely_other_unit",
    "parse_number",
    "parse_quantity",
    "same_kind",
    "slug",
]

_FRACTION = re.compile(r"([+-]?)(?:([0-9]{1,4}) +)?([0-9]{1,2})/(2|4|8|16|32|64)")
_FRONT = re.compile(r"[+-]?(?:[0-9]+ +[0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]*[.,]?[0-9]+)")


def _plain(text: str) -> str:
    """Take a printed minus and a printed fraction stroke for the typed ones."""
    return text.strip().replace("\u2212", "-").replace("\u2044", "/")


def parse_number(text: str, *, decimal: str = ".", fractions: bool = False) -> float:
    """Return the number that `text` spells.

    Parameters
    ----------
    text
        Such as ``84.2``, ``-3``, ``.035``; never ``1e5`` or ``1,000``.
    decimal
        The decimal sign, ``"."`` or ``","``.
    fractions
        Also read ``5/16`` and ``1 1/4``, as on a tape: halves to sixty-fourths.

    Raises
    ------
    NotANumber
        If the text is not one plain, finite number.
    """
    plain = _plain(text)
    if fractions and (found := _FRACTION.fullmatch(plain)):
        return _tape_fraction(text, *found.groups())
    if not re.fullmatch(rf"[+-]?(?:[0-9]+|[0-9]*{re.escape(decimal)}[0-9]+)", plain):
        raise NotANumber(_why_not(text, plain, decimal))
    value = float(plain.replace(decimal, "."))
    if not math.isfinite(value):
        raise NotANumber("a number with that many digits cannot be meant.")
    return value


def _tape_fraction(text: str, sign: str, whole: str | None, top: str, bottom: str) -> float:
    if int(top) >= int(bottom) or int(top) == 0:
        raise NotANumber(f"{text!r} is not a fraction on a tape: write it like 5/16 or 1 1/4.")
    size = int(whole or 0) + int(top) / int(bottom)
    return -size if sign == "-" else size


def _why_not(text: str, plain: str, decimal: str) -> str:
    """Say what is wrong with a number, and the one thing to do."""
    other = "," if decimal == "." else "."
    if not plain:
        return "the number is missing."
    if re.fullmatch(r"[+-]?[0-9.,]+[eE][+-]?[0-9]+", plain):
        return f"{text!r} has an exponent. Write the number out in full."
    if "/" in plain:
        return f"{text!r} is a fraction, and only inches are read in fractions (5/16 in)."
    if other in plain and re.fullmatch(r"[+-]?[0-9.,]+", plain):
        return (
            f"{text!r} has {other!r} in it, and the decimal sign here is {decimal!r}. "
            "Write the number without thousands separators and with that sign."
        )
    if re.match(r"[+-]?[0-9]+[ '_][0-9]", plain):
        return f"{text!r} has a gap between its figures. Write the number without separators."
    return f"{text!r} is not a plain number."


def parse_quantity(text: str, default_unit: str, *, decimal: str = ".") -> float:
    """Return a reading in `default_unit`, whatever unit of that kind it was written in.

    ``parse_quantity("18950 lbf", "kN")`` is 84.29…; a bare number is already in
    `default_unit`.  Fractions are read when the number is in inches.

    Raises
    ------
    NotANumber
        If the number is not a plain one.
    UnknownUnit
        If a unit is written that is not known.
    DifferentKinds
        If the unit written measures something else.
    """
    plain = _plain(text)
    front = _FRONT.match(plain)
    number, written = (front[0], plain[front.end() :].strip()) if front else (plain, "")
    if re.match(r"[eE][+-]?[0-9]|[.,]|['_]?[0-9]", written):
        number, written = plain, ""
    unit = canonical(written) if written else canonical(default_unit)
    if not same_kind(unit, default_unit):
        raise DifferentKinds(
            f"{text!r} is in {unit}, a {kind(unit)}; here a {kind(default_unit)} in "
            f"{canonical(default_unit)} is wanted."
        )
    value = parse_number(number, decimal=decimal, fractions=unit == "in")
    return convert(value, unit, default_unit)


@dataclass(frozen=True, slots=True)
class PlausibleRange:
    """What a bench could meet, loosely: outside it a slip of unit is likelier than a weld.

    Attributes
    ----------
    quantity
        What is measured: ``"wire feed"``.
    low, high
        The range, ends included, in `unit`.
    units
        The units in use for it, commonest first: the ones a slip may have come from.
    """

    quantity: str
    low: float
    high: float
    unit: str
    units: tuple[str, ...]

    def holds(self, value: float, unit: str) -> bool:
        """Tell whether a value in `unit` lies in the range."""
        return self.low <= convert(value, unit, self.unit) <= self.high


# Common practice, no source: the working windows of wire makers' and machine makers' tables
# (0.8 to 1.6 mm wire, 15 to 35 V, 25 to 80 cm/min, 10 to 25 L/min) loosened by about a half.
PLAUSIBLE: tuple[PlausibleRange, ...] = (
    PlausibleRange("wire feed", 1, 25, "m/min", ("m/min", "in/min")),
    PlausibleRange("travel", 2, 200, "cm/min", ("cm/min", "mm/min", "in/min", "mm/s")),
    PlausibleRange("voltage", 8, 50, "V", ("V",)),
    PlausibleRange("current", 20, 600, "A", ("A",)),
    PlausibleRange("flow", 3, 60, "L/min", ("L/min", "ft³/h")),
    PlausibleRange("heat input", 0.08, 6, "kJ/mm", ("kJ/mm", "kJ/in")),
    PlausibleRange("stress", 100, 1500, "MPa", ("MPa", "ksi")),
    PlausibleRange("wire diameter", 0.5, 4, "mm", ("mm", "in")),
    PlausibleRange("leg", 2, 40, "mm", ("mm", "in")),
    PlausibleRange("thickness", 0.5, 150, "mm", ("mm", "in", "cm")),
    PlausibleRange("stick-out", 4, 50, "mm", ("mm", "in")),
)

# What a unit alone gives away.  in/min may be wire feed or travel; a length may be anything.
_BY_UNIT: dict[str, tuple[str, ...]] = {
    "m/min": ("wire feed",),
    "cm/min": ("travel",),
    "mm/min": ("travel",),
    "mm/s": ("travel",),
    "in/min": ("wire feed", "travel"),
    "V": ("voltage",),
    "A": ("current",),
    "L/min": ("flow",),
    "ft³/h": ("flow",),
    "kJ/mm": ("heat input",),
    "kJ/in": ("heat input",),
}


def likely_other_unit(
    value: float, unit: str, *, quantity: str | None = None
) -> tuple[str, float] | None:
    """Return the unit that `value` was probably written in, or None.

    ``likely_other_unit(335, "m/min")`` is ``("in/min", 8.509)``: 335 m/min is no wire feed,
    335 in/min is, and that is 8.509 m/min.  Nothing is suggested when the value is plausible as
    it stands, nor when no unit in use makes it plausible.

    Parameters
    ----------
    value, unit
        As written.
    quantity
        One of the quantities of `PLAUSIBLE`; without it the unit alone decides, so a length or
        a stress is never doubted.

    Returns
    -------
    tuple or None
        The other unit, and the value converted from it into `unit`.
    """
    symbol = canonical(unit)
    wanted = (quantity,) if quantity is not None else _BY_UNIT.get(symbol, ())
    ranges = [
        known for known in PLAUSIBLE if known.quantity in wanted and same_kind(known.unit, symbol)
    ]
    if not ranges or any(known.holds(value, symbol) for known in ranges):
        return None
    for known in ranges:
        for other in known.units:
            if other != symbol and known.holds(value, other):
                return other, convert(value, other, symbol)
    return None


@cache
def _registry() -> Any:
    import pint

    # Fractions keep 1 in = 25.4 mm exact, so a converted 5/16 in is 7.9375 mm and not nearly.
    return pint.UnitRegistry(non_int_type=Fraction)


_DECADES = {"m/min": 3, "cm/min": 1, "mm/min": 0}
"""Travel is worked out for every coupon, and half a second of registry buys no digit here."""


@cache
def _line(from_symbol: str, to_symbol: str) -> tuple[Fraction, Fraction]:
    """Return scale and offset of one conversion, exact."""
    if from_symbol in _DECADES and to_symbol in _DECADES:
        return Fraction(10) ** (_DECADES[from_symbol] - _DECADES[to_symbol]), Fraction(0)
    return _by_registry(from_symbol, to_symbol)


def _by_registry(from_symbol: str, to_symbol: str) -> tuple[Fraction, Fraction]:
    quantity = _registry().Quantity
    source, target = find(from_symbol).pint_name, find(to_symbol).pint_name
    at_zero, at_one = (
        Fraction(quantity(Fraction(value), source).to(target).magnitude) for value in (0, 1)
    )
    return at_one - at_zero, at_zero


def convert(value: float, from_unit: str, to_unit: str, *, difference: bool = False) -> float:
    """Return `value` in another unit of the same kind.

    The value is taken as the decimal number it prints as and the factor is exact, so the
    answer is the correctly rounded one.

    Parameters
    ----------
    value
        A finite number in `from_unit`.
    difference
        True for a tolerance, margin or spread: 10 °C apart is 18 °F apart, not 50 °F.

    Raises
    ------
    DifferentKinds
        If the units measure different things.
    NotANumber
        If `value` is not finite.
    """
    source, target = find(from_unit), find(to_unit)
    if source.kind != target.kind:
        raise DifferentKinds(
            f"{source.symbol} is a {source.kind} and {target.symbol} a {target.kind}: "
            "one cannot be turned into the other."
        )
    value = float(value)
    if not math.isfinite(value):
        raise NotANumber(f"{value!r} cannot be converted: give a finite number.")
    if source is target:
        return value
    scale, offset = _line(source.symbol, target.symbol)
    exact = Fraction(repr(value)) * scale
    return _rounded(exact if difference else exact + offset)


def _rounded(exact: Fraction) -> float:
    try:
        return float(exact)
    except OverflowError:
        raise NotANumber("the converted number is too large to hold.") from None
