"""The scatter that a plan is worked out from, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldtrial.shared.rounding import brief

if TYPE_CHECKING:
    from weldtrial.analysis.precision import Spread


def scatter_words(spread: Spread, unit: str) -> str:
    """Return ``4 kN coupon to coupon, 1 kN between readings, 2 readings each, 2 kN set-up ...``."""
    words = [f"{with_unit(spread.coupon, unit)} coupon to coupon"]
    if spread.reading:
        words.append(f"{with_unit(spread.reading, unit)} between readings")
        words.append(
            "1 reading each" if spread.readings == 1 else f"{spread.readings} readings each"
        )
    words.append(f"{with_unit(spread.setup, unit)} set-up to set-up")
    return ", ".join(words)


def with_unit(value: float | None, unit: str) -> str:
    """Return a figure with its unit, ``–`` for none."""
    return "–" if value is None else f"{brief(value, 3)} {unit}".strip()
