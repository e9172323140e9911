"""One level against its reference, judged: numbers, verdict, claims."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from math import isinf

from weldtrial.analysis.claims import weigh_claims
from weldtrial.analysis.compare import Contrast, compared_factors
from weldtrial.analysis.context import Context
from weldtrial.analysis.dealt import arrangements
from weldtrial.analysis.findings import (
    Alternative,
    Comparison,
    Strength,
    Verdict,
    VerdictCode,
)
from weldtrial.analysis.judge import strength
from weldtrial.analysis.model import BARE, ModelFit
from weldtrial.analysis.model_frame import ONE_LEVEL
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.question import Question
from weldtrial.analysis.reaching import (
    is_mostly_at_limit,
    past_words,
    reaching_verdict,
    unknown_verdict,
)
from weldtrial.analysis.settle import what_would_settle
from weldtrial.analysis.units_compared import units_compared
from weldtrial.analysis.verdict_words import (
    PILOT,
    Numbers,
    Setting,
    cannot_tell,
    depends_on,
    head,
    nothing_beside,
    nothing_repeated,
    number_line,
    write_verdict,
)
from weldtrial.analysis.view import View
from weldtrial.analysis.views import WITHOUT_CORRECTIONS
from weldtrial.shared.factors import Factor
from weldtrial.shared.fair import Reading, shared_control
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.responses import Response
from weldtrial.shared.rounding import brief, spaced


def compare(
    context: Context,
    question: Question,
    fit: ModelFit,
    observations: Sequence[Observation],
    views: Sequence[View],
    others: Sequence[Alternative],
) -> Comparison:
    """Return the comparison of one level with its reference, verdict and claims included."""
    try:
        answered = question.answer(fit)
    except NotEstimable as error:
        return _unknown(context, question, observations, error.words)
    if answered is None:
        return _cannot(context, question, fit, observations)
    found, code = answered
    if code == "not_settled" and is_mostly_at_limit(question.of(observations)):
        code = "at_limit"
    setting = _setting(context, question, fit, observations, found, code)
    units = units_compared(question, question.of(observations))
    firm = _firm(context, code, units)
    numbers = _numbers(found)
    verdict = (
        _reached(context, question, observations, number_line(setting, numbers))
        if code == "at_limit"
        else write_verdict(code, firm, setting, found.evidence, numbers)
    )
    if context.trial.purpose == "pilot":
        verdict = Verdict(None, None, PILOT, verdict.lines[:1])
    else:
        verdict = _turns_on(context, verdict, question, setting, units, views, others)
    low, high = found.together.interval(found.difference, 0.95)
    low90, high90 = found.together.interval(found.difference, 0.90)
    ratio = numbers.ratio or (None, None, None)
    margin = question.response.margin
    difference = found.difference
    comparison = Comparison(
        factor=question.factor.name,
        level=question.level,
        reference=question.reference,
        difference=difference.estimate,
        percent=_percent(difference.estimate, found.reference.estimate),
        se=difference.se,
        df=difference.df,
        ci_low=low,
        ci_high=high,
        ci90_low=low90,
        ci90_high=high90,
        p=difference.p,
        p_adjusted=found.together.p_adjusted,
        margin=found.margin,
        margin_percent=100 * margin.value if margin and margin.percent else None,
        ratio=ratio[0],
        ratio_low=ratio[1],
        ratio_high=ratio[2],
        verdict=verdict,
    )
    return _claimed(context, question, _at(question, comparison))


def _unknown(
    context: Context, question: Question, observations: Sequence[Observation], why: str
) -> Comparison:
    dealt = partial(arrangements, context, observations, question.factor)
    mine = question.of(observations)
    return unanswered(context, question, unknown_verdict(question, mine, why, dealt))


def _reached(
    context: Context, question: Question, observations: Sequence[Observation], line: str
) -> Verdict:
    dealt = partial(arrangements, context, observations, question.factor)
    return reaching_verdict(question, question.of(observations), [line], dealt)


def _claimed(context: Context, question: Question, found: Comparison) -> Comparison:
    """Return a comparison with what it says of the claims; a pilot says nothing of any."""
    if context.trial.purpose == "pilot":
        return found
    return replace(found, claims=weigh_claims(context.trial.claims, question.response, found))


def _firm(context: Context, code: VerdictCode, units: int) -> Strength | None:
    """Return how firmly a verdict may be worded; nothing is firm at a look nobody planned."""
    if context.look.state == "unplanned":
        return None
    shuffled = context.shuffled and context.look.state != "unfinished"
    return strength(code, shuffled=shuffled, units_per_level=units)


def _percent(difference: float, reference: float) -> float | None:
    return 100 * difference / reference if reference else None


def _numbers(found: Contrast) -> Numbers:
    low, high = found.together.interval(found.difference, 0.95)
    return Numbers(found.difference.estimate, low, high, found.reference.estimate, found.ratio)


def _setting(
    context: Context,
    question: Question,
    fit: ModelFit,
    observations: Sequence[Observation],
    found: Contrast,
    code: VerdictCode,
) -> Setting:
    early = context.look.state in ("planned", "unplanned")
    return Setting(
        response=question.response,
        level=said_level(context, question.factor, question.level, question.at),
        reference=said_level(context, question.factor, question.reference, question.at),
        counts=count_words(
            question.response,
            question.of(observations),
            setups=any(o.setup is not None for o in observations),
        ),
        looks=context.looks,
        factors=len(compared_factors(context.trial)),
        settle=(
            what_would_settle(fit, question, found, observations)
            if code == "not_settled" and not early
            else ""
        ),
        interval="95 % interval for all looks" if context.look.ends[1:] else "95 % interval",
        early=early,
    )


def said_level(context: Context, factor: Factor, level: str, at: Reading | None = None) -> str:
    """Return a level as it is said, with its factor where several are compared, and its reading.

    A control welded alike under both readings of fair is the same coupons in either, so it is
    said without one.
    """
    said = factor.said(level)
    said = f"{factor.name} {said}" if len(compared_factors(context.trial)) > 1 else said
    if at is None or (level == factor.reference and shared_control(at.slider, factor)):
        return said
    return f"{said} {at.words}"


def count_words(response: Response, observations: Sequence[Observation], *, setups: bool) -> str:
    """Return "6 rounds, 12 set-ups, 36 coupons", leaving out what the trial does not have."""
    rounds = {o.round for o in observations} - {None}
    welded = {o.setup for o in observations} - {None}
    parts = [f"{len(rounds)} rounds"] if len(rounds) > 1 else []
    parts += [f"{len(welded)} set-ups"] if setups else []
    parts.append(f"{len(observations)} coupons")
    if past := sum(isinf(o.high - o.low) for o in observations):
        parts.append(f"{past} of them {past_words(response, observations)}")
    between = sum(o.ends is not None and not isinf(o.high - o.low) for o in observations)
    parts += [f"{between} of them known between two stops only"] if between else []
    return ", ".join(parts)


def _turns_on(
    context: Context,
    verdict: Verdict,
    question: Question,
    setting: Setting,
    units: int,
    views: Sequence[View],
    others: Sequence[Alternative],
) -> Verdict:
    """Return a `depends_on` verdict where a failed check would change the answer."""
    decisive = [
        (view.what, view.alternative)
        for view in views
        if view.decides and view.check.passed is False and view.alternative is not None
    ]
    if any(correction.codes_open for correction in context.record.corrections):
        late = [way for way in others if way.name == WITHOUT_CORRECTIONS]
        decisive += [("corrections made after the codes were open", way) for way in late]
    for what, other in decisive:
        if other.code is None or other.code == verdict.code:
            continue
        second = _second_answer(context, question, setting, units, other)
        return depends_on(what, verdict, second, other.words[:1].upper() + other.words[1:])
    return verdict


def _second_answer(
    context: Context, question: Question, setting: Setting, units: int, other: Alternative
) -> Verdict:
    """Return the head and the number line that another view of the coupons leads to."""
    code = other.code or "not_settled"
    fewer = other.name.startswith(("without round", "without set-up"))
    firm = _firm(context, code, units - fewer)
    numbers = Numbers(other.difference, other.ci_low, other.ci_high, 0.0, None)
    worse = question.response.sign * other.difference < 0
    words = head(code, firm, setting, worse=worse)
    counted = replace(setting, counts=f"{other.coupons} coupons")
    return Verdict(code, firm, words, (number_line(counted, numbers),))


def _averages(question: Question, observations: Sequence[Observation]) -> str:
    """Return the plain average of either level, listed and not compared."""
    sides = []
    for level in (question.reference, question.level):
        mine = [
            o.value for o in question.of(observations) if o.levels[question.factor.name] == level
        ]
        if mine:
            mean = f"{brief(sum(mine) / len(mine), 3)}{spaced(question.response.unit)}"
            sides.append(f"{question.factor.said(level)} {mean} ({len(mine)} coupons)")
    return ", ".join(sides)


def _cannot(
    context: Context, question: Question, fit: ModelFit, observations: Sequence[Observation]
) -> Comparison:
    tied = next(
        (left.tied_to for left in fit.left_out if left.term == question.factor.name), "its set-up"
    )
    averages = _averages(question, observations)
    verdict = cannot_tell(question.factor.name, tied, averages)
    if tied == ONE_LEVEL:
        verdict = nothing_beside(question.factor.name, averages)
    if fit.method == BARE:
        verdict = nothing_repeated()
    return unanswered(context, question, verdict)


def unanswered(context: Context, question: Question, verdict: Verdict) -> Comparison:
    """Return a comparison that has no numbers, only a verdict that says why."""
    if context.trial.purpose == "pilot":
        verdict = Verdict(None, None, PILOT, (verdict.words, *verdict.lines))
    margin = question.response.margin
    found = Comparison(
        factor=question.factor.name,
        level=question.level,
        reference=question.reference,
        difference=None,
        percent=None,
        se=None,
        df=None,
        ci_low=None,
        ci_high=None,
        ci90_low=None,
        ci90_high=None,
        p=None,
        p_adjusted=None,
        margin=margin.value if margin and not margin.percent else None,
        margin_percent=100 * margin.value if margin and margin.percent else None,
        ratio=None,
        ratio_low=None,
        ratio_high=None,
        verdict=verdict,
    )
    return _at(question, found)


def _at(question: Question, found: Comparison) -> Comparison:
    """Return a comparison with the reading of fair it is of, where both are welded."""
    at = question.at
    return found if at is None else replace(found, reading=at.role, at=at.words)
