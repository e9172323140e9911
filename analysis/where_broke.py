"""Where coupons broke, by level of the compared factor: a finding without an order.

A coupon has one place: where all its pieces broke, or "more than one place".  Tested exactly by
coupons (`contingency.exact_test`) where coupons were dealt, by dealing whole set-ups again
(`contingency.redealt`) where those were; else only tabulated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weldtrial.analysis.compare import compared_factors
from weldtrial.analysis.context import Context
from weldtrial.analysis.contingency import exact_test, redealt
from weldtrial.analysis.count_records import Places
from weldtrial.analysis.dealt import arrangements, unit_of
from weldtrial.analysis.observations import Observation
from weldtrial.shared.coding import coded_point
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.record import Coupon
from weldtrial.shared.responses import FAILED_AT, Response

SEVERAL = "more than one place"
ALARM = 0.05
TOO_FEW = "Too few set-ups to tell that from chance."
NOT_TESTED = (
    "Not tested: coupons of one set-up are not independent, and the draw of the set-ups could not "
    "be redone."
)
MOST_NAMED = 12
"""Stamps named before the rest is counted."""


@dataclass(frozen=True, slots=True)
class _Broke:
    coupon: Coupon
    place: str


def where_broke(context: Context, response: Response) -> Places | None:
    """Return where the coupons of a response broke, None where nobody wrote it down."""
    broke = [
        _Broke(coupon, place)
        for coupon in context.record.coupons
        if not coupon.lost and (place := _place(coupon, response))
    ]
    if not broke:
        return None
    places = tuple(one for one in (*FAILED_AT, SEVERAL) if any(b.place == one for b in broke))
    factor = next(iter(compared_factors(context.trial)), None)
    if factor is None:
        total = (tuple(sum(b.place == one for b in broke) for one in places),)
        return Places("", ("",), places, total, None, None, "", _words(broke, places, total, ""))
    levels = tuple(
        one for one in factor.levels if any(b.coupon.levels[factor.name] == one for b in broke)
    )
    counts = tuple(
        tuple(
            sum(b.place == place and b.coupon.levels[factor.name] == level for b in broke)
            for place in places
        )
        for level in levels
    )
    p, drawn, method, told = _tested(
        context, factor, broke, places, np.asarray(counts, dtype=np.int_)
    )
    judged = _judged(levels, places, p, told=told)
    return Places(
        factor.name, levels, places, counts, p, drawn, method,
        _words(broke, places, counts, judged, tuple(factor.said(one) for one in levels)),
    )  # fmt: skip


def _place(coupon: Coupon, response: Response) -> str:
    seen = {
        reading.failed_at
        for reading in coupon.readings.get(response.name, ())
        if reading.failed_at and reading.kind != "lost"
    }
    return SEVERAL if len(seen) > 1 else next(iter(seen), "")


def _tested(
    context: Context,
    factor: Factor,
    broke: Sequence[_Broke],
    places: Sequence[str],
    counts: NDArray[np.int_],
) -> tuple[float | None, int | None, str, bool]:
    """Return the exact p, tables or orders drawn, how it was tested, and if it could reach 5 %."""
    coupons = [_observed(context, b) for b in broke]
    unit = unit_of(factor, coupons)
    try:
        if unit == "coupons":
            found = exact_test(counts)
            return found.p, found.drawn, "exact", True
        dealt = arrangements(context, coupons, factor) if unit == "set-ups" else None
        if dealt is None or min(counts.shape) < 2:
            return None, None, "", False
        by_setup = np.zeros((len(dealt.setups), len(places)), dtype=int)
        welded = np.zeros(len(dealt.setups), dtype=int)
        for b, o in zip(broke, coupons, strict=True):
            row = dealt.setups.index(o.setup or 0)
            by_setup[row, places.index(b.place)] += 1
            welded[row] = factor.levels.index(o.levels[factor.name])
        again = redealt(by_setup, welded, dealt.levels, listed=dealt.listed)
    except NotEstimable:
        return None, None, "", False
    drawn = again.arrangements if again.sampled else None
    return again.p, drawn, "set-ups dealt again", again.smallest < ALARM


def _observed(context: Context, one: _Broke) -> Observation:
    coupon = one.coupon
    return Observation(
        coupon.stamp, coupon.run, coupon.round, coupon.setup, coupon.levels,
        coded_point(context.trial.varied, coupon.levels), 0.0, (),
    )  # fmt: skip


def _judged(levels: Sequence[str], places: Sequence[str], p: float | None, *, told: bool) -> str:
    if len(levels) < 2 or len(places) < 2:
        return ""
    if p is None:
        return NOT_TESTED
    if not told:
        return TOO_FEW
    if p < ALARM:
        return "They differ more than chance explains."
    return "They differ no more than chance explains."


def _words(
    broke: Sequence[_Broke],
    places: Sequence[str],
    counts: Sequence[Sequence[int]],
    judged: str,
    levels: Sequence[str] = (),
) -> tuple[str, ...]:
    columns = [
        f"{place} {' and '.join(str(row[column]) for row in counts)}"
        for column, place in enumerate(places)
    ]
    sides = f" ({' and '.join(levels)})" if len(levels) > 1 else ""
    words = [f"Where it broke{sides}: {', '.join(columns)}. {judged}".rstrip()]
    for place, meaning in (
        ("plate", "broke in the plate and {do} not measure the weld: it held at least so much"),
        ("folded flat", "folded flat: the test ended before the weld did, a limit and not a miss"),
    ):
        stamps = [b.coupon.stamp for b in broke if _has(b, place)]
        if stamps:
            # "and 1 more" would be longer than the stamp itself.
            named = stamps if len(stamps) <= MOST_NAMED + 1 else stamps[:MOST_NAMED]
            said = ", ".join(named)
            more = f" and {len(stamps) - len(named)} more" if len(stamps) > len(named) else ""
            did = meaning.format(do="does" if len(stamps) == 1 else "do")
            words.append(f"{len(stamps)} {did} ({said}{more}).")
    return tuple(words)


def _has(one: _Broke, place: str) -> bool:
    typed = (reading for found in one.coupon.readings.values() for reading in found)
    return one.place == place or (
        one.place == SEVERAL and any(reading.failed_at == place for reading in typed)
    )
