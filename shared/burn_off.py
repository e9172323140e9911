"""Current from wire feed: what a constant-voltage set will draw, within about a fifth.

On such a set wire feed and volts are dialled and the current follows.  The law knows wire, feed
and extension; it does not know the gas, so gases compared at one wire feed are given one current.
Calibrate it on your own set: shop rules and this law differ by up to 20 %.

References
----------
Burn-off law of Lesnewich (1958), *Welding Journal*; coefficients for 1.2 mm plain carbon steel
after Norrish, *Advanced Welding Processes* (both from memory).
"""

from __future__ import annotations

import math

from weldtrial.shared.weld import ImpossibleWeld, wire_area

ALPHA = 0.30
"""Melting by the arc, mm/(A·s), for 1.2 mm wire; it goes with 1 / cross-section."""
BETA = 5e-5
"""Melting by resistance, 1/(A²·s), for 1.2 mm wire; it goes with 1 / cross-section squared."""
WITHIN_PERCENT = 20
"""How far law and shop rules differ (four worked cases, computed)."""
USUAL_STICK_OUT = 15.0
"""mm, taken where a trial does not say; common practice, no source."""


def wire_feed_for(diameter: float, current: float, extension: float) -> float:
    """Return the wire feed, m/min, that burns off at a current: α·I + β·L·I².

    Parameters
    ----------
    diameter
        Solid carbon-steel wire, mm, above 0.
    current
        A, above 0.
    extension
        Electrode extension L, mm, 0 or more.

    Raises
    ------
    ImpossibleWeld
        For a number that no weld can have.
    """
    if not (math.isfinite(current) and current > 0 and math.isfinite(extension) and extension >= 0):
        raise ImpossibleWeld(f"current and extension must be sensible, got {current}, {extension}.")
    alpha, beta = _coefficients(diameter)
    return (alpha * current + beta * extension * current**2) * 60 / 1000


def estimated_current(diameter: float, wire_feed: float, extension: float) -> float:
    """Return the current, A, that melts `wire_feed` m/min: `wire_feed_for` the other way round.

    Parameters as in `wire_feed_for`; `wire_feed` is above 0.
    """
    if not (math.isfinite(wire_feed) and wire_feed > 0 and extension >= 0):
        raise ImpossibleWeld(f"wire feed must be above 0 m/min, got {wire_feed!r}.")
    alpha, beta = _coefficients(diameter)
    speed, resistance = wire_feed * 1000 / 60, beta * extension
    # The root written so that it also holds for an extension of nought.
    return 2 * speed / (alpha + math.sqrt(alpha**2 + 4 * resistance * speed))


def _coefficients(diameter: float) -> tuple[float, float]:
    ratio = wire_area(1.2) / wire_area(diameter)
    return ALPHA * ratio, BETA * ratio**2
