"""From a record to one number a coupon: readings averaged, lost ones set aside with a reason."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from weldtrial.analysis.findings import SetAside
from weldtrial.shared.coding import Point, coded_point
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotYet
from weldtrial.shared.record import Coupon, Reading, Record
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Trial

AT_LEAST = ("plate", "folded flat")
"""Where a break says only that the weld held at least so much."""

COUNTED = ("number", "pass", "fail", "grade")
"""Kinds of reading that count as they are."""


@dataclass(frozen=True, slots=True)
class Observation:
    """One coupon of one response.

    Attributes
    ----------
    point
        Coded point of the varied factors (see `weldtrial.shared.coding.coded_point`).
    value
        Mean of the coupon's readings, in the response's unit.  Of a coupon that passes or fails: 1
        where every piece passed, else 0.  Of a graded one: the place of its worst piece in the
        scale, 0 for the worst grade.
    """

    stamp: str
    run: int | None
    round: int | None
    setup: int | None
    levels: Mapping[str, str]
    point: Point
    value: float
    readings: tuple[float, ...]


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

    Raises
    ------
    NotYet
        When a reading is at a gauge limit or between two stops, or the coupon broke where the
        weld only held "at least" that load.
    """
    observations, aside, unread = [], [], []
    if response.kind == "number":
        _refuse_limits(record, response)
    for coupon in record.coupons:
        readings = coupon.readings.get(response.name, ())
        found = (_value(r, response) for r in readings if _counts(r))
        numbers = tuple(value for value in found if value is not None)
        if numbers and not coupon.lost:
            observations.append(_observation(trial, coupon, numbers, response))
        elif why := _why_lost(coupon, readings):
            aside.append(SetAside(coupon.stamp, why, response.name))
        else:
            unread.append(coupon.stamp)
    return Observed(tuple(observations), tuple(aside), tuple(unread))


def _observation(
    trial: Trial, coupon: Coupon, numbers: tuple[float, ...], response: Response
) -> Observation:
    # A coupon is as good as its worst piece: half a pass, or a grade between two, is no reading.
    one = sum(numbers) / len(numbers) if response.kind == "number" else min(numbers)
    return Observation(
        stamp=coupon.stamp,
        run=coupon.run,
        round=coupon.round,
        setup=coupon.setup,
        levels=coupon.levels,
        point=coded_point(trial.varied, coupon.levels),
        value=one,
        readings=numbers,
    )


def _counts(reading: Reading) -> bool:
    return reading.kind in COUNTED and reading.failed_at != "slipped"


def _value(reading: Reading, response: Response) -> float | None:
    if reading.kind == "grade":
        return float(response.scale.index(reading.text))
    return {"pass": 1.0, "fail": 0.0}.get(reading.kind, reading.value)


def _why_lost(coupon: Coupon, readings: Sequence[Reading]) -> str:
    if coupon.lost:
        return coupon.lost
    for reading in readings:
        if reading.failed_at == "slipped":
            return "slipped in the fixture" + (f": {reading.note}" if reading.note else "")
        if reading.kind == "lost":
            return reading.note or "lost, no reason given"
    return ""


def _refuse_limits(record: Record, response: Response) -> None:
    seen = [
        (coupon, reading)
        for coupon in record.coupons
        if not coupon.lost
        for reading in coupon.readings.get(response.name, ())
        if reading.kind not in ("number", "lost")
        or (reading.kind == "number" and reading.failed_at in AT_LEAST)
    ]
    if not seen:
        return
    listed = ", ".join(
        f"{coupon.stamp} {reading.text}"
        + (f" ({reading.failed_at})" if reading.failed_at in AT_LEAST else "")
        for coupon, reading in seen[:8]
    )
    more = f" and {len(seen) - 8} more" if len(seen) > 8 else ""
    raise NotYet(
        f"{response.title}: limits, grades or passes are recorded, but this version cannot analyse "
        f"them yet: {listed}{more}. They are kept as they are; counting them as plain numbers, or "
        "leaving them out, would flatter one side.",
        hint="Nothing need be typed again: the folder waits for the version that handles limits.",
    )


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
