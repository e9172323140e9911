"""From a record to one number a coupon: readings averaged, lost ones set aside with a reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf, isfinite

from weldtrial.analysis.findings import SetAside
from weldtrial.shared.coding import Point, coded_point
from weldtrial.shared.factors import Factor
from weldtrial.shared.record import Coupon, Reading, Record
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Trial

AT_LEAST = ("plate", "folded flat")
"""Where a break says only that the weld held at least so much."""

COUNTED = ("number", "above", "below", "between", "pass", "fail", "grade")
"""Kinds of reading that count; the others are lost."""


@dataclass(frozen=True, slots=True)
class Observation:
    """One coupon of one response.

    Attributes
    ----------
    point
        Coded point of the varied factors (see `weldtrial.shared.coding.coded_point`).
    value
        Mean of the coupon's readings, in the response's unit; of a coupon at a gauge limit the
        limit itself, of one that failed between two stops their middle.  Of a coupon that passes
        or fails: 1 where every piece passed, else 0.  Of a graded one: the place of its worst
        piece in the scale, 0 for the worst grade.
    ends
        Between what the coupon's value lies, where it is not one number: (90, inf) for ``>90``.
    """

    stamp: str
    run: int | None
    round: int | None
    setup: int | None
    levels: Mapping[str, str]
    point: Point
    value: float
    readings: tuple[float, ...]
    ends: tuple[float, float] | None = None

    @property
    def low(self) -> float:
        """Lower end of what the value may be."""
        return self.value if self.ends is None else self.ends[0]

    @property
    def high(self) -> float:
        """Upper end of what the value may be."""
        return self.value if self.ends is None else self.ends[1]


@dataclass(frozen=True, slots=True)
class Observed:
    """The observations of a response and what is not among them."""

    observations: tuple[Observation, ...]
    set_aside: tuple[SetAside, ...]
    unread: tuple[str, ...]


def observe(trial: Trial, record: Record, response: Response) -> Observed:
    """Average readings into coupons and list what cannot be used.

    Parameters
    ----------
    trial, record, response
        The trial, what the bench wrote, and which response.

    Notes
    -----
    Of several readings of one coupon the ends are averaged; a coupon that broke in the plate, or
    folded flat, held at least its reading.
    """
    observations, aside, unread = [], [], []
    for coupon in record.coupons:
        readings = coupon.readings.get(response.name, ())
        spans = [_span(r, response) for r in readings if _counts(r)]
        if spans and not coupon.lost:
            observations.append(_observation(trial, coupon, spans, response))
        elif why := _why_lost(coupon, readings):
            aside.append(SetAside(coupon.stamp, why, response.name))
        else:
            unread.append(coupon.stamp)
    return Observed(tuple(observations), tuple(aside), tuple(unread))


def _observation(
    trial: Trial, coupon: Coupon, spans: Sequence[tuple[float, float]], response: Response
) -> Observation:
    if response.kind == "number":
        value, readings, ends = averaged(spans)
    else:
        # A coupon is as good as its worst piece: half a pass, or a grade between two, is no
        # reading.
        readings, ends = tuple(one for one, _ in spans), None
        value = min(readings)
    return Observation(
        stamp=coupon.stamp,
        run=coupon.run,
        round=coupon.round,
        setup=coupon.setup,
        levels=coupon.levels,
        point=coded_point(trial.varied, coupon.levels),
        value=value,
        readings=readings,
        ends=ends,
    )


def averaged(
    spans: Sequence[tuple[float, float]],
) -> tuple[float, tuple[float, ...], tuple[float, float] | None]:
    """Average the readings of one coupon, each given by its ends.

    Returns
    -------
    value, readings, ends
        As an `Observation` holds them.
    """
    low, high = (sum(ends) / len(ends) for ends in zip(*spans, strict=True))
    if low == high:
        return low, tuple(one for one, _ in spans), None
    finite = [end for end in (low, high) if isfinite(end)]
    # Readings past the gauge on both sides leave nothing: the coupon could be anything.
    value = sum(finite) / len(finite) if finite else 0.0
    return value, (value,), (low, high)


def _counts(reading: Reading) -> bool:
    return reading.kind in COUNTED and reading.failed_at != "slipped"


def _span(reading: Reading, response: Response) -> tuple[float, float]:
    """Return between what a reading lies; both ends alike for what is one number."""
    if reading.kind in ("pass", "fail"):
        return (1.0, 1.0) if reading.kind == "pass" else (0.0, 0.0)
    if reading.kind == "grade":
        place = float(response.scale.index(reading.text))
        return place, place
    if reading.kind == "number":
        assert reading.value is not None
        beyond = reading.failed_at in AT_LEAST
        return reading.value, inf if beyond else reading.value
    low = -inf if reading.low is None else reading.low
    return low, inf if reading.high is None else reading.high


def _why_lost(coupon: Coupon, readings: Sequence[Reading]) -> str:
    if coupon.lost:
        return coupon.lost
    for reading in readings:
        if reading.failed_at == "slipped":
            return "slipped in the fixture" + (f": {reading.note}" if reading.note else "")
        if reading.kind == "lost":
            return reading.note or "lost, no reason given"
    return ""


def as_run_points(
    factors: Sequence[Factor], record: Record, observations: Sequence[Observation]
) -> list[Point] | None:
    """Return the coded points with easy settings as run, or None where too few were written.

    Hard-to-change and category factors keep their planned level.  Settings that were not written
    down keep the planned value; unless half the coupons carry at least one, there is no second
    view to take.
    """
    as_run = {coupon.stamp: coupon.as_run for coupon in record.coupons}
    names = [f.name for f in factors if f.kind == "numeric" and not f.hard_to_change]
    written = [any(n in as_run.get(o.stamp, {}) for n in names) for o in observations]
    if not names or sum(written) * 2 < len(observations):
        return None
    points: list[Point] = []
    for observation in observations:
        point = dict(observation.point)
        for factor in factors:
            value = as_run.get(observation.stamp, {}).get(factor.name)
            if factor.name in names and value is not None:
                owner = observation.levels.get(factor.slides_with or "", "")
                point[factor.name] = factor.coded(value, owner)
        points.append(point)
    return points


def reading_variance(observations: Sequence[Observation]) -> float | None:
    """Return the pooled variance between readings of one coupon, None without repeats."""
    squares, df = 0.0, 0
    for observation in observations:
        k = len(observation.readings)
        squares += sum((r - observation.value) ** 2 for r in observation.readings)
        df += k - 1
    return squares / df if df > 0 else None


def reading_share(observations: Sequence[Observation], variance: float | None) -> float:
    """Return the readings' share of the variance between coupon means."""
    if variance is None:
        return 0.0
    return variance * sum(1 / len(o.readings) for o in observations) / len(observations)
