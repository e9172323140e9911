"""Findings of one response that passes or fails, or is graded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

from weldtrial.analysis import respond_grades, respond_passes
from weldtrial.analysis.context import Context
from weldtrial.analysis.count_records import NO_COUNTS, Counts
from weldtrial.analysis.counted import Answer, Pair, judged, other_ways, pairs, way
from weldtrial.analysis.dealt import unit_of
from weldtrial.analysis.fair_levels import at_readings
from weldtrial.analysis.findings import (
    Alternative,
    Comparison,
    CouponValue,
    LackOfFit,
    LeastSquares,
    Note,
    ResponseFindings,
    Variance,
)
from weldtrial.analysis.looks import levels_at
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.points import in_points
from weldtrial.analysis.survives import survives
from weldtrial.analysis.undo_counted import undo_counted
from weldtrial.analysis.views import EVERY_COUPON_APART, TWO_HEAPS
from weldtrial.shared.responses import Response

NARROW = 0.8
"""Width beside that of the interval that forgets the set-ups, below which it is remarked on."""
ALIKE = (
    "The set-ups agree better than independent coupons would, so the interval is narrower than one "
    "that forgets them. That can be luck: lean on the wider one beside it."
)
FROM_EVEN = "points from 50"
"""Unit of a comparison of grades: how far the chance to grade better lies above 50 in 100."""
WITHIN = (
    "Coupons of one set-up are not independent: they are compared within their set-ups, which "
    "takes out what a set-up has in common."
)


def analyse_counted(
    context: Context,
    response: Response,
    observations: Sequence[Observation],
    uncorrected: Sequence[Observation],
) -> ResponseFindings:
    """Analyse a response whose coupons pass or fail, or are graded.

    Parameters
    ----------
    context, response
        The trial and one of its responses that is no number.
    observations, uncorrected
        Coupons, and the same as first typed in.
    """
    kind = respond_passes if response.kind == "pass-fail" else respond_grades
    answer: Answer = partial(kind.numbers, context)
    comparisons: list[Comparison] = []
    ways: tuple[Alternative, ...] = ()
    naive: list[Alternative] = []
    orders = shuffled = undone = None
    for pair in pairs(context, response):
        found = answer(pair, observations)
        others = other_ways(pair, answer, observations, uncorrected, context.record)
        comparisons.append(judged(context, pair, found, observations, others))
        ways = ways if len(comparisons) > 1 else others
        if len(comparisons) == 1 and context.trial.purpose != "pilot":
            undone = undo_counted(context, pair, observations, comparisons[0].verdict.code)
        naive += _naive(pair, kind.every_coupon_apart, observations)
        if len(comparisons) == 1 and found.orders is not None:
            orders, shuffled = found.orders, found.p_exact
    method = _method(comparisons, response)
    notes = _warnings(context, response, observations) + _too_alike(comparisons, naive)
    pilot = context.trial.purpose == "pilot"
    least = LeastSquares((), tuple(_unjudged(naive) if pilot else naive)) if naive else None
    setups = {o.setup for o in observations} - {None}
    return ResponseFindings(
        name=response.name,
        title=response.title,
        unit="points" if response.kind == "pass-fail" else FROM_EVEN,
        kind=response.kind,
        rank=response.rank,
        method=method,
        source=(respond_passes.SOURCES | respond_grades.SOURCES).get(method, ""),
        n=len(observations),
        setups_total=len(setups) or None,
        tests=(),
        effects=(),
        coefficients=(),
        means=(),
        variance=Variance(None, None, None),
        comparisons=tuple(comparisons),
        lack_of_fit=LackOfFit(),
        r_squared=None,
        least_squares=least,
        warnings=notes,
        alternatives=_unjudged(ways) if pilot else ways,
        coupons=_coupons(observations),
        shuffle_p=shuffled,
        shuffle_orders=orders if shuffled is not None else None,
        undo=undone,
        counts=_counts(context, response, observations),
        survives=survives(context, in_points(response), comparisons),
    )


def _naive(pair: Pair, apart: Answer, observations: Sequence[Observation]) -> list[Alternative]:
    """Return the comparison that forgets the set-ups, under both names it is asked for."""
    if unit_of(pair.factor, pair.of(observations)) == "coupons":
        return []
    found = []
    for name, words in (
        (EVERY_COUPON_APART, "as if every coupon had its own bottle change"),
        (TWO_HEAPS, "as two heaps of coupons, nothing else considered"),
    ):
        heap = [replace(o, round=None) for o in observations] if name == TWO_HEAPS else observations
        found.append(way(pair, apart, heap, name, words))
    return [one for one in found if one is not None]


def _unjudged(ways: Sequence[Alternative]) -> tuple[Alternative, ...]:
    return tuple(replace(one, code=None) for one in ways)


def _method(comparisons: Sequence[Comparison], response: Response) -> str:
    used = [c.counted.method for c in comparisons if c.counted and c.counted.method]
    usual = respond_passes.EXACT if response.kind == "pass-fail" else respond_grades.RANKS
    return used[0] if used else usual


def _coupons(observations: Sequence[Observation]) -> tuple[CouponValue, ...]:
    mean = sum(o.value for o in observations) / len(observations)
    return tuple(
        CouponValue(
            o.stamp, o.run, o.round, o.setup, o.levels, o.value, mean, o.value - mean, o.readings
        )
        for o in observations
    )


def _counts(context: Context, response: Response, observations: Sequence[Observation]) -> Counts:
    factors, observations = at_readings(context.trial, observations)
    confidence = levels_at(context.trial, context.look).interval
    if response.kind == "pass-fail":
        return replace(
            NO_COUNTS,
            passes=respond_passes.pass_rows(factors, observations),
            odds=respond_passes.odds_of(factors, observations, confidence),
        )
    return replace(
        NO_COUNTS,
        grades=respond_grades.grade_rows(factors, observations, len(response.scale)),
        scale=response.scale,
        odds=respond_grades.odds_of(factors, observations, confidence),
    )


def _warnings(
    context: Context, response: Response, observations: Sequence[Observation]
) -> tuple[Note, ...]:
    notes = []
    compared = pairs(context, response)
    units = {unit_of(pair.factor, pair.of(observations)) for pair in compared}
    if "set-ups" in units:
        notes.append(Note("set_ups_count", respond_passes.NOT_APART))
    elif "within set-ups" in units:
        notes.append(Note("set_ups_count", WITHIN))
    if response.kind == "graded":
        bad = [
            pair.factor.title
            for pair in compared[:1]
            if unit_of(pair.factor, observations) == "coupons"
            and respond_grades.failed(context.trial.varied, pair.factor, observations)
        ]
        notes += [Note("odds_differ", respond_grades.FAILED.format(factor=name)) for name in bad]
    notes += _plate(context, response)
    planned = sum(c.role == "count" for c in context.record.coupons)
    if len(observations) < planned:
        words = f"{len(observations)} of {planned} coupons have a {response.title} reading that "
        notes.append(Note("incomplete", words + "counts."))
    return tuple(notes)


def _too_alike(comparisons: Sequence[Comparison], naive: Sequence[Alternative]) -> tuple[Note, ...]:
    """Warn where set-ups agree better than independent coupons would: by luck, or evened out."""
    apart = next((one for one in naive if one.name == EVERY_COUPON_APART), None)
    first = next(iter(comparisons), None)
    if apart is None or first is None or first.ci_low is None or first.ci_high is None:
        return ()
    if first.ci_high - first.ci_low >= NARROW * (apart.ci_high - apart.ci_low):
        return ()
    return (Note("set_ups_agree", ALIKE),)


def _plate(context: Context, response: Response) -> list[Note]:
    """Name coupons that failed in the plate: that is no failure of the weld."""
    stamps = [
        coupon.stamp
        for coupon in context.record.coupons
        if any(
            reading.kind == "fail" and reading.failed_at == "plate"
            for reading in coupon.readings.get(response.name, ())
        )
    ]
    if not stamps:
        return []
    words = (
        f"Counted as failed though it was the plate that broke: {', '.join(stamps)}. If the weld "
        "held, that is no failure of the weld: look at these before you believe the answer."
    )
    return [Note("failed_in_plate", words)]
