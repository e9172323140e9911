"""Settings held against the trade's usual windows: outside is worth a word, never a refusal."""

from __future__ import annotations

from collections.abc import Iterator

from weldtrial.doe.cells import Cell
from weldtrial.doe.laid_out import Layout
from weldtrial.shared.factors import Factor
from weldtrial.shared.trade import Window, trade
from weldtrial.shared.trial import Trial
from weldtrial.shared.units import convert, kind

Span = tuple[float, float]


def outside_the_windows(trial: Trial, layout: Layout) -> tuple[str, ...]:
    """Return a sentence for every combination of settings that lies outside all usual windows.

    A combination is looked at when the joint names a wire the trade's table knows, the gas of
    each level is known by its ISO 14175 symbol, and volts or wire feed are set or held.  The
    windows are from memory: two makers differ by a volt or two on the same joint.
    """
    wires = wire_labels(trial)
    if not wires:
        return ()
    words: dict[str, None] = {}
    for cells in layout.cells.values():
        for cell in cells:
            words.update(dict.fromkeys(_outside(trial, cell, wires)))
    return tuple(words)


def wire_labels(trial: Trial) -> tuple[str, ...]:
    """Return the spool labels that the trade's table has for the trial's wire."""
    diameter = trial.joint.wire_diameter
    if diameter is None:
        return ()
    in_mm = convert(diameter.value, diameter.unit, "mm")
    return tuple(wire.label for wire in trade().wires if abs(wire.diameter_mm - in_mm) < 0.012)


def gas_symbol(factor: Factor, level: str) -> str:
    """Return the ISO 14175 symbol of a gas: ``M21`` from ``M21-ArC-18``; empty if not given."""
    return str(factor.about.get(level, {}).get("iso14175", "")).replace(" ", "-").split("-")[0]


def _outside(trial: Trial, cell: Cell, wires: tuple[str, ...]) -> Iterator[str]:
    gas = next((one for one in trial.factors if one.name == "gas"), None)
    symbol = gas_symbol(gas, cell.levels["gas"]) if gas else ""
    if not symbol:
        return
    volts, feed = value_of(trial, cell, "voltage", "V"), value_of(trial, cell, "wire_feed", "m/min")
    if volts is None and feed is None:
        return
    windows = [window for wire in wires for window in trade().windows_for(wire, symbol)]
    if not windows or any(inside_window(window, volts, feed) for window in windows):
        return
    shown = [f"{volts:g} V"] if volts is not None else []
    shown += [f"{feed:g} m/min"] if feed is not None else []
    known = "; ".join(dict.fromkeys(_window_words(window) for window in windows))
    yield (
        f"{cell.levels['gas']} at {' and '.join(shown)} lies outside the usual windows of "
        f"{wires[0]} wire under {symbol} ({known}; common practice, from memory). Weld a bead "
        "before you seal."
    )


def value_of(trial: Trial, cell: Cell, name: str, unit: str) -> float | None:
    """Return a setting that the cell sets or the trial holds, in `unit`."""
    units: dict[str, str | None] = {factor.name: factor.unit for factor in trial.factors}
    units |= {held.name: held.unit for held in trial.held}
    found = units.get(name)
    if found is None or kind(found) != kind(unit):
        return None
    held = {one.name: one.target for one in trial.held}
    return convert(float(cell.settings.get(name, held.get(name, 0.0))), found, unit)


def inside_window(window: Window, volts: float | None, feed: float | None) -> bool:
    """Tell whether volts and wire feed (m/min) lie in a window; what is not known is no bar."""
    return _within(volts, window.voltage_v) and _within(feed, window.wire_feed_m_min)


def _within(value: float | None, span: Span | None) -> bool:
    return value is None or span is None or span[0] <= value <= span[1]


def _window_words(window: Window) -> str:
    low, high = window.voltage_v
    words = f"{window.mode} {low:g}–{high:g} V"
    if window.wire_feed_m_min is None:
        return words
    slow, fast = window.wire_feed_m_min
    return f"{words}, {slow:g}–{fast:g} m/min"
