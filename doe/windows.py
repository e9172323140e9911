"""Settings held against the trade's usual windows: outside is worth a word, never a refusal."""

from __future__ import annotations

from weldtrial.doe.cells import Cell
from weldtrial.doe.laid_out import Layout
from weldtrial.shared.factors import Factor
from weldtrial.shared.trade import Window, trade
from weldtrial.shared.trial import Trial
from weldtrial.shared.units import convert, kind

Span = tuple[float, float]
FEW = 2
"""Settings of one gas that are named before the rest is counted."""


def outside_the_windows(trial: Trial, layout: Layout) -> tuple[str, ...]:
    """Return a sentence for each gas with combinations of settings outside all usual windows.

    A combination is looked at when the joint names a wire the trade's table knows, the gas of
    each level is known by its ISO 14175 symbol, and volts or wire feed are set or held.  The
    windows are from memory: two makers differ by a volt or two on the same joint.
    """
    wires = wire_labels(trial)
    if not wires:
        return ()
    outside: dict[str, dict[str, None]] = {}
    every: dict[str, int] = {}
    for cells in layout.cells.values():
        seen = {(cell.levels.get("gas", ""), _shown(trial, cell)): cell for cell in cells}
        for (gas, shown), cell in seen.items():
            every[gas] = every.get(gas, 0) + 1
            if _outside(trial, cell, wires):
                outside.setdefault(gas, {})[shown] = None
    return tuple(_words(trial, wires, gas, tuple(some), every[gas])
                 for gas, some in outside.items())  # fmt: skip


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


def _gas(trial: Trial, level: str) -> str:
    gas = next((one for one in trial.factors if one.name == "gas"), None)
    return gas_symbol(gas, level) if gas else ""


def _windows(symbol: str, wires: tuple[str, ...]) -> list[Window]:
    return [window for wire in wires for window in trade().windows_for(wire, symbol)]


def _outside(trial: Trial, cell: Cell, wires: tuple[str, ...]) -> bool:
    volts, feed = value_of(trial, cell, "voltage", "V"), value_of(trial, cell, "wire_feed", "m/min")
    symbol = _gas(trial, cell.levels.get("gas", ""))
    windows = _windows(symbol, wires) if symbol else []
    known = volts is not None or feed is not None
    return known and bool(windows) and not any(inside_window(one, volts, feed) for one in windows)


def _shown(trial: Trial, cell: Cell) -> str:
    volts, feed = value_of(trial, cell, "voltage", "V"), value_of(trial, cell, "wire_feed", "m/min")
    shown = [f"{volts:g} V"] if volts is not None else []
    shown += [f"{feed:g} m/min"] if feed is not None else []
    return " and ".join(shown)


def _words(
    trial: Trial, wires: tuple[str, ...], gas: str, shown: tuple[str, ...], every: int
) -> str:
    symbol = _gas(trial, gas)
    known = "; ".join(dict.fromkeys(_window_words(one) for one in _windows(symbol, wires)))
    what, verb = f"{gas} at {shown[0]}", "lies"
    if len(shown) > 1:
        named = "; ".join(shown[:FEW])
        more = f"; and {len(shown) - FEW} more" if len(shown) > FEW else ""
        all_of = "All" if len(shown) == every else f"{len(shown)} of"
        what, verb = f"{all_of} {every} settings of {gas} ({named}{more})", "lie"
    return (
        f"{what} {verb} outside the usual windows of {wires[0]} wire under {symbol} ({known}; "
        "common practice, from memory). Weld a bead before you seal."
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
