"""What would undo an answer: single coupons and rounds that carry it, and coupons that were lost.

Leave-one-out deletion after Cook & Weisberg (1982), *Residuals and Influence in Regression*,
chapter 3; the values that lost coupons would have had to read follow the tipping-point analysis of
missing outcomes (Yan, Lee & Li 2009, J. Biopharm. Stat. 19:1085; citation from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import floor, inf, isinf, log10, sqrt
from statistics import pstdev

from weldtrial.analysis.findings import VerdictCode
from weldtrial.analysis.model import ModelFit
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.question import Question
from weldtrial.analysis.reaching import gauge_only
from weldtrial.analysis.undo_records import Carries, LostWould, Unbroken, Undo
from weldtrial.shared.coding import coded_point
from weldtrial.shared.record import Coupon, Record
from weldtrial.shared.rounding import decimals_for, decimals_of, fixed, plain, spaced

UNDECIDED = ("cannot_tell", "depends_on", "at_limit")
MOST_COUPONS = 100
"""Coupons beyond which none is left out by itself."""
FARTHEST = 10.0
"""Coupon standard deviations from its level's mean within which a lost coupon is imagined."""
_STEPS = 20
_HALVINGS = 30


def undo(
    question: Question,
    fit: ModelFit,
    observations: Sequence[Observation],
    record: Record,
    code: VerdictCode | None,
) -> Undo | None:
    """Return what would undo the verdict `code` of a question, None where there is none.

    Parameters
    ----------
    question, fit, observations
        The comparison, its fit and the coupons behind it.
    record
        Where the lost coupons stand.
    """
    if code is None or code in UNDECIDED:
        return None
    # Each answer beyond a gauge limit is climbed for, and one coupon of many hardly carries an
    # answer: coupon by coupon only where that is worth its time.
    one_by_one = not fit.limited and len(observations) <= MOST_COUPONS
    groups = [(f"coupon {o.stamp}", {o.stamp}) for o in observations] if one_by_one else []
    rounds = {o.round for o in observations} - {None}
    by = "round" if len(rounds) > 1 else "set-up"
    places = [o.round if by == "round" else o.setup for o in observations]
    for place in sorted({one for one in places if one is not None}):
        mine = {o.stamp for o, at in zip(observations, places, strict=True) if at == place}
        if len(mine) > 1:
            groups.append((f"{by} {place}", mine))
    carries = []
    for what, stamps in groups:
        other = _code(question, [o for o in observations if o.stamp not in stamps])
        if other is not None and other != code:
            carries.append(Carries(what, other))
    lost = tuple(
        _lost(question, fit, observations, coupons, code)
        for coupons in lost_by_level(
            question.factor.name,
            (question.reference, question.level),
            question.response.name,
            observations,
            record,
        )
    )
    unbroken = tuple(
        found
        for level in (question.reference, question.level)
        if (found := _unbroken(question, observations, level, code)) is not None
    )
    words = _words(question, fit, carries, lost, by) if groups or lost else ()
    words += unbroken_words(question, unbroken)
    return Undo(tuple(carries), lost, len(groups), words, unbroken)


def _unbroken(
    question: Question, observations: Sequence[Observation], level: str, code: VerdictCode
) -> Unbroken | None:
    """Walk the coupons of one level past the gauge limit until the verdict is another."""
    factor = question.factor.name
    mine = {o.stamp for o in observations if o.levels[factor] == level and isinf(o.high - o.low)}
    if not mine:
        return None
    upwards = [isinf(o.high) for o in observations if o.stamp in mine]
    if len(set(upwards)) > 1:
        return None
    sign = 1 if upwards[0] else -1
    scatter = pstdev([o.value for o in observations]) or 1.0

    def at(far: float) -> VerdictCode | None:
        made = [
            replace(o, value=o.value + (sign * far if o.stamp in mine else 0.0), ends=None)
            if isinf(o.high - o.low)
            else o
            for o in observations
        ]
        return _code(question, made)

    edge = max(sign * o.value for o in observations if o.stamp in mine) * sign
    limits = [o.value for o in observations if isinf(o.high - o.low)]
    own = not gauge_only(question.response, sorted(set(limits)))
    # What is never read below 0, a depth or a load, cannot have gone there either.
    lowest = min(o.value for o in observations)
    farthest = lowest if sign < 0 <= lowest else inf
    inside = 0.0
    for step in range(2 * _STEPS + 1):
        far = min(step * scatter * FARTHEST / _STEPS, farthest)
        other = at(far)
        if other is not None and other != code:
            distance, found = (0.0, other) if step == 0 else _edge(at, inside, far, code)
            return Unbroken(
                level,
                len(mine),
                edge + sign * distance,
                found,
                step == 0,
                distance if own else None,
            )
        if far >= farthest:
            break
        inside = far
    return Unbroken(level, len(mine), None, None)


def unbroken_words(question: Question, unbroken: Sequence[Unbroken]) -> tuple[str, ...]:
    """Say how far the coupons past the gauge would have had to go, all levels in one sentence."""
    if not unbroken:
        return ()
    if any(one.at_once for one in unbroken):
        return (
            "The answer rests on how far the coupons past a limit would have gone: had each of "
            "them failed just there, it would be another.",
        )
    tips = [
        f"{_tip(question, one)} (the {one.coupons} of {one.level})"
        for one in unbroken
        if one.value is not None
    ]
    if not tips:
        return (
            "The coupons past a limit could not have changed the answer, however far they would "
            "have gone.",
        )
    fast = [f"the {one.coupons} of {one.level}" for one in unbroken if one.value is None]
    rest = f"; {' and '.join(fast)} could not, however far" if fast else ""
    if any(one.further is not None for one in unbroken):
        return (
            f"The coupons known to a limit only would change the answer had each gone further by "
            f"{' or '.join(tips)}, with those of the other failing just at theirs{rest}.",
        )
    return (
        f"The coupons past the gauge limit would change the answer had they all gone to "
        f"{' or '.join(tips)}, with those of the other failing just at the limit{rest}.",
    )


def _tip(question: Question, one: Unbroken) -> str:
    far = one.value if one.further is None else one.further
    shown = _readable(far or 0.0, question.response.reads_to)
    return f"{plain(shown)}{spaced(question.response.unit)}"


def _readable(value: float, step: float | None) -> float:
    """Return a value to three figures, and no finer than the gauge reads."""
    places = 2 - floor(log10(abs(value))) if value else 0
    if step is not None:
        places = min(places, decimals_of(step))
    return round(value, places)


def _code(question: Question, observations: Sequence[Observation]) -> VerdictCode | None:
    found = question.alternative("", "", observations)
    return None if found is None else found.code


def lost_by_level(
    factor: str,
    levels: Sequence[str],
    response: str,
    observations: Sequence[Observation],
    record: Record,
) -> list[list[Coupon]]:
    """Return the lost coupons that nothing stands in for, by those levels of a factor."""
    seen = {o.stamp for o in observations}
    replaced = {c.replaces for c in record.coupons if c.replaces and c.stamp in seen}
    groups = []
    for level in levels:
        mine = [
            c
            for c in record.coupons
            if c.role == "count"
            and c.stamp not in seen | replaced
            and c.levels.get(factor) == level
            and _is_lost(c, response)
        ]
        if mine:
            groups.append(mine)
    return groups


def _is_lost(coupon: Coupon, response: str) -> bool:
    readings = coupon.readings.get(response, ())
    return bool(coupon.lost) or any(
        one.kind == "lost" or one.failed_at == "slipped" for one in readings
    )


def _lost(
    question: Question,
    fit: ModelFit,
    observations: Sequence[Observation],
    coupons: Sequence[Coupon],
    code: VerdictCode,
) -> LostWould:
    level = coupons[0].levels[question.factor.name]
    mean = fit.estimate(question.mean(fit, level)).estimate
    sd = sqrt(float((fit.y - fit.fitted) @ (fit.y - fit.fitted)) / max(1, len(fit.y) - 1))

    def at(value: float) -> VerdictCode | None:
        made = [
            Observation(
                c.stamp, c.run, c.round, c.setup, c.levels,
                coded_point(question.factors, c.levels), value, (value,),
            )
            for c in coupons
        ]  # fmt: skip
        return _code(question, [*observations, *made])

    ends: dict[int, tuple[float, VerdictCode | None]] = {}
    for side in (-1, 1):
        inside = mean
        for step in range(1, _STEPS + 1):
            value = mean + side * sd * FARTHEST * step / _STEPS
            other = at(value)
            if other is not None and other != code:
                ends[side] = _edge(at, inside, value, code)
                break
            inside = value
    below, above = ends.get(-1), ends.get(1)
    return LostWould(
        level,
        tuple(c.stamp for c in coupons),
        below[0] if below else None,
        above[0] if above else None,
        below[1] if below else None,
        above[1] if above else None,
    )


def _edge(
    at: Callable[[float], VerdictCode | None], inside: float, outside: float, code: VerdictCode
) -> tuple[float, VerdictCode | None]:
    """Halve the way between a reading that keeps the verdict and one that changes it."""
    for _ in range(_HALVINGS):
        middle = (inside + outside) / 2
        if at(middle) == code:
            inside = middle
        else:
            outside = middle
    return outside, at(outside)


def _words(
    question: Question,
    fit: ModelFit,
    carries: Sequence[Carries],
    lost: Sequence[LostWould],
    by: str,
) -> tuple[str, ...]:
    one_by_one = not fit.limited and len(fit.y) <= MOST_COUPONS
    alone = f"No single coupon and no single {by}" if one_by_one else f"no single {by}"
    if by == "set-up" and fit.setup is None:
        alone = "No single coupon"  # Each is a set-up of its own.
    if carries:
        named = ", ".join(one.what for one in carries[:6])
        more = f" and {len(carries) - 6} more" if len(carries) > 6 else ""
        without = "Without it" if len(carries) == 1 else "Without any one of them"
        words = [f"Carried by {named}{more}. {without} the answer would be another."]
    else:
        words = [f"{alone[:1].upper()}{alone[1:]} carries the answer."]
    for one in lost:
        words.append(_lost_words(question, fit, one))
    return tuple(words)


def _lost_words(question: Question, fit: ModelFit, one: LostWould) -> str:
    who = f"The {len(one.stamps)} lost coupon{'s' if len(one.stamps) > 1 else ''} of {one.level}"
    unit = spaced(question.response.unit)
    half, step = fit.estimate(question.mean(fit, one.level)).se, question.response.reads_to
    places = decimals_for(half) if step is None else min(decimals_for(half), decimals_of(step))
    ways = [
        f"{fixed(value, places)}{unit} or {way}"
        for value, way in ((one.below, "less"), (one.above, "more"))
        if value is not None
    ]
    if not ways:
        return f"{who} ({', '.join(one.stamps)}) could not have changed the answer."
    return (
        f"{who} ({', '.join(one.stamps)}) would have had to read {', or '.join(ways)} to change "
        "the answer."
    )
