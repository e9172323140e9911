"""Figures rounded to what the data carry: at most two significant figures in the half-width."""

from __future__ import annotations

import math

MINUS = "\N{MINUS SIGN}"
PAST = "past the gauge"
"""Instead of an estimate that is infinite, as so much of it went past the gauge limit."""


def spaced(unit: str | None) -> str:
    """Return a unit with the space before it, or nothing for a plain number (unit ``1``)."""
    return "" if unit in (None, "", "1") else f" {unit}"


def give_or_take(within: float | None, unit: str | None = None) -> str:
    """Return a tolerance with the space before it, `` ± 3 cm/min``; empty where none is stated."""
    return "" if within is None else f" ± {plain(within)}{spaced(unit)}"


def decimals_for(half_width: float) -> int:
    """Return how many decimals a value deserves when its uncertainty is `half_width`.

    Two significant figures of the half-width are kept, so 0.125 gives 2 and 2.9 gives 1; never
    fewer than none.  A half-width of zero, or one that is not finite, gives 1.
    """
    if not math.isfinite(half_width) or half_width <= 0:
        return 1
    # Rounded first: 9.96 is shown as 10, which has one decimal fewer.
    rounded = float(f"{half_width:.1e}")
    return min(9, max(0, 1 - math.floor(math.log10(rounded))))


def decimals_of(step: float) -> int:
    """Return how many decimals a gauge of this smallest step can be read to."""
    return max(0, -math.floor(math.log10(step) + 1e-9))


def fixed(value: float, decimals: int, *, signed: bool = False) -> str:
    """Return `value` with `decimals` places, a true minus sign, and + when `signed`; ∞ too."""
    if math.isinf(value):
        return f"{MINUS if value < 0 else '+' if signed else ''}\N{INFINITY}"
    text = f"{abs(value):.{decimals}f}"
    if float(text) == 0:
        return text
    sign = MINUS if value < 0 else "+" if signed else ""
    return sign + text


def by_uncertainty(value: float, half_width: float, *, signed: bool = False) -> str:
    """Return `value` rounded to what an uncertainty of `half_width` carries, `PAST` if infinite."""
    if math.isinf(value):
        return PAST
    return fixed(value, decimals_for(half_width), signed=signed)


def interval(low: float, high: float, *, signed: bool = False, unit: str = "") -> str:
    """Return ``low to high``, each end rounded to what the interval's half-width carries.

    An interval with one end is ``89.3 or more`` or ``4.2 or less``; with none, ``any value``.
    `unit` holds the space before it.
    """
    if math.isinf(low) or math.isinf(high):
        end = high if math.isinf(low) else low
        if math.isinf(end):
            return "any value"
        places = decimals_for(abs(end) / (10 if abs(end) >= 1 else 1))
        way = "less" if math.isinf(low) else "more"
        return f"{fixed(end, places, signed=signed)}{unit} or {way}"
    places = decimals_for((high - low) / 2)
    return " to ".join(fixed(end, places, signed=signed) for end in (low, high)) + unit


def brief(value: float | None, figures: int = 4) -> str:
    """Return a reading or a mean with at most `figures` significant figures; None is empty."""
    if value is None or not math.isfinite(value):
        return "" if value is None else "\N{EN DASH}"
    return plain(float(f"{value:.{figures - 1}e}"))


def plain(value: float) -> str:
    """Return a number as a person would type it: 5, 0.3, 25.5 (up to six significant figures)."""
    text = f"{value:.6g}"
    if "e" in text:
        text = f"{value:.9f}".rstrip("0").rstrip(".")
    return text.replace("-", MINUS)


def p_value(p: float) -> str:
    """Return a p for the methods section: three decimals, two figures when small."""
    if p < 0.0001:
        return "< 0.0001"
    return f"{p:.4f}" if p < 0.001 else f"{p:.3f}"
