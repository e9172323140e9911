"""Which kind of transfer a setting is likely to give, by the trade's usual windows."""

from __future__ import annotations

from weldtrial.doe.windows import inside_window
from weldtrial.shared.trade import trade


def likely_modes(
    wires: tuple[str, ...], symbol: str, volts: float | None, feed: float | None
) -> tuple[str, ...]:
    """Return the kinds of transfer whose usual window holds a setting; none when outside all.

    Parameters
    ----------
    wires
        Spool labels of the wire, as the trade's table knows them.
    symbol
        ISO 14175 symbol of the gas, such as ``M21``.
    volts, feed
        V and m/min.  Both must be known: volts alone tell no transfer.
    """
    if volts is None or feed is None:
        return ()
    windows = [window for wire in wires for window in trade().windows_for(wire, symbol)]
    named = [
        window.mode
        for window in windows
        if window.wire_feed_m_min is not None and inside_window(window, volts, feed)
    ]
    return tuple(dict.fromkeys(named))


def never(symbol: str, mode: str) -> str:
    """Return the source that says a gas never gives a kind of transfer; empty where none does."""
    limits = trade().transfer_limits
    found = (unbracketed(one.cited) for one in limits if symbol in one.gases and one.never == mode)
    return next(found, "")


def between_modes(symbol: str, volts: float | None) -> bool:
    """Tell whether volts lie where an argon mix is neither short arc nor spray."""
    if volts is None or not symbol.startswith("M2"):
        return False
    zone = trade().range_of("volts between short arc and spray, argon mixes")
    return zone.low < volts < zone.high


def between_words() -> str:
    """Return those volts in words, with their standing."""
    zone = trade().range_of("volts between short arc and spray, argon mixes")
    return f"{zone.low:g}–{zone.high:g} V ({unbracketed(zone.cited)})"


def unbracketed(cited: str) -> str:
    """Return a source and its standing fit to stand in brackets itself."""
    return cited.replace(" (", "; ").removesuffix(")")
