"""Scatter with its intervals, and what more readings, coupons or set-ups would buy, in words."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

from weldtrial.shared.rounding import decimals_for, fixed, plain, spaced

if TYPE_CHECKING:
    from weldtrial.analysis.findings import ResponseFindings
    from weldtrial.analysis.scatter_rows import Bought, ScatterRow


def _more(one: Bought) -> str:
    if one.more == "readings":
        return "twice the readings a coupon"
    if one.more == "setups":
        return "twice the set-ups"
    return "twice the coupons"


def row_name(row: ScatterRow, found: ResponseFindings) -> str:
    """Return what scatters: ``between coupons of one set-up``."""
    if row.what == "reading":
        return "between readings of one coupon"
    if row.what == "setup":
        return "between set-ups"
    name = "between coupons of one set-up" if found.variance.setup is not None else (
        "between coupons"
    )  # fmt: skip
    return f"{name}, readings counted in" if row.holds_readings else name


def row_words(row: ScatterRow, unit: str) -> str:
    """Return a standard deviation with its interval, or how much there may be at most."""
    if row.sd == 0:
        most = plain(float(f"{row.high:.2g}"))
        return f"nothing seen, at most {most}{spaced(unit)}" if row.high > 0 else "nothing seen"
    places = min(decimals_for(row.sd), decimals_for((row.high - row.low) / 2))
    sd, high = fixed(row.sd, places), fixed(row.high, places)
    if row.low == 0:
        return f"{sd}{spaced(unit)} (at most {high}; there may be none)"
    return f"{sd}{spaced(unit)} ({fixed(row.low, places)} to {high})"


def scatter_words(found: ResponseFindings) -> str:
    """Return the standard deviations of readings, coupons and set-ups with their intervals."""
    if not found.scatter:
        return _without_intervals(found)
    parts = [f"{row_name(row, found)} {row_words(row, found.unit)}" for row in found.scatter]
    told = "; ".join(parts) or "nothing shows it"
    words = f"Scatter (standard deviation, 95 % interval): {told}."
    # Readings of one coupon have an interval where coupons past the gauge leave the others none.
    shown = {row.what for row in found.scatter}
    if found.variance.coupon is None or "coupon" in shown:
        return words
    return f"{words} {_without_intervals(found, shown)}"


def _without_intervals(found: ResponseFindings, but: Collection[str] = ()) -> str:
    """Return the estimates alone, where coupons past the gauge leave no interval for them."""
    variance = found.variance
    coupons = "between coupons of one set-up" if variance.setup is not None else "between coupons"
    known = (
        ("between readings of one coupon", None if "reading" in but else variance.reading),
        (coupons, variance.coupon),
        ("between set-ups", variance.setup),
    )
    parts = [
        f"{name} {plain(float(f'{value**0.5:.2g}'))}{spaced(found.unit)}"
        if value > 0
        else f"{name} none seen"
        for name, value in known
        if value is not None
    ]
    past = any(coupon.beyond in ("above", "below") for coupon in found.coupons)
    why = "; no interval with coupons at a limit" if past else ""
    told = ", ".join(parts) or "nothing shows it"
    if but:
        return f"Without interval, as coupons are at a limit: {told}."
    return f"Scatter (standard deviation{why}): {told}."


def buy_words(found: ResponseFindings) -> str:
    """Return what more would buy in one sentence; empty where nothing was compared."""
    buy = found.would_buy
    if buy is None:
        return ""
    unit = spaced(found.unit)
    places = decimals_for(min(one.half_width for one in buy.rows))
    parts = [
        f"{_more(one)}{_on(one, found)} \N{PLUS-MINUS SIGN}{fixed(one.half_width, places)}"
        for one in buy.rows
    ]
    now = f"\N{PLUS-MINUS SIGN}{fixed(buy.half_width, places)}{unit}"
    # Several comparisons are read together with wider intervals; these are of one by itself.
    alone = " one comparison by itself" if len(found.comparisons) > 1 else ""
    return (
        f"At this scatter a plan of this size gives{alone} an interval of {now}; "
        f"{', '.join(parts[:-1])}{' and ' if parts[1:] else ''}{parts[-1]}."
    )


def _on(one: Bought, found: ResponseFindings) -> str:
    both = found.would_buy is not None and any(row.more == "setups" for row in found.would_buy.rows)
    return " on the same set-ups" if both and one.more == "coupons" else ""
