"""Findings of one response: fit, compare, check, judge."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

from weldtrial.analysis.censored import CensoredFit
from weldtrial.analysis.censored_setups import CensoredSetupFit
from weldtrial.analysis.compare import asked_of, compared_factors, mean_rows
from weldtrial.analysis.comparison import compare, unanswered
from weldtrial.analysis.context import Context
from weldtrial.analysis.coupon_views import (
    bare_coupons,
    coupon_values,
    of_one_reading,
    round_gaps,
    shuffle,
)
from weldtrial.analysis.covariates import covariate_views
from weldtrial.analysis.curvature import curvature, curvature_check
from weldtrial.analysis.dealt import arrangements
from weldtrial.analysis.findings import (
    Alternative,
    Comparison,
    LackOfFit,
    LeastSquares,
    Note,
    ResponseFindings,
    Variance,
)
from weldtrial.analysis.lack_of_fit import lack_of_fit, lack_of_fit_by_setups
from weldtrial.analysis.least_squares import LeastSquaresFit
from weldtrial.analysis.limited import CENSORED
from weldtrial.analysis.looks import levels_at
from weldtrial.analysis.mixed import SetupFit
from weldtrial.analysis.model import BARE, SOURCES, ModelFit, fit_model
from weldtrial.analysis.model_frame import LeftOut
from weldtrial.analysis.observations import Observation, reading_share, reading_variance
from weldtrial.analysis.question import Question
from weldtrial.analysis.reaching import unknown_verdict
from weldtrial.analysis.respond_counted import analyse_counted
from weldtrial.analysis.scatter import scatter_rows, would_buy
from weldtrial.analysis.scatter_rows import WouldBuy
from weldtrial.analysis.survives import survives
from weldtrial.analysis.undo import undo
from weldtrial.analysis.undo_records import Undo
from weldtrial.analysis.view import View
from weldtrial.analysis.views import (
    EVERY_COUPON_APART,
    all_views,
    other_ways,
    two_groups,
    without_doubtful,
)
from weldtrial.shared.fair import Reading, readings_of
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.responses import Response
from weldtrial.shared.terms import Term, trial_terms

WIDER = 1.2
"""How much wider than its strata call for an interval may be before the test is called timid."""
TIMID = (
    "The set-ups are unequal, and too few to show well how they scatter: the interval of what is "
    "changed by set-up is wider than it need be, and its test timid (false alarms rarer than 5 in "
    "100, real changes missed more often)."
)


def analyse_response(
    context: Context,
    response: Response,
    observations: Sequence[Observation],
    uncorrected: Sequence[Observation],
) -> ResponseFindings:
    """Analyse one response at the level of error that the randomisation gives.

    Parameters
    ----------
    context
        The trial, its record, and what the verdicts may rest on.
    response
        One of the trial's responses.
    observations, uncorrected
        Coupon values, and the same as first typed in.

    Raises
    ------
    NotEstimable
        When nothing is left to estimate error from.
    """
    if response.kind != "number":
        return analyse_counted(context, response, observations, uncorrected)
    trial = context.trial
    factors = trial.varied
    terms = trial_terms(factors, trial.design.model, trial.design.terms)
    try:
        fit = fit_model(factors, terms, observations)
    except NotEstimable as error:
        if all(o.ends is None for o in observations):
            raise
        return _past_the_gauge(context, terms, response, observations, error)
    looked = _compare_all(context, terms, response, fit, observations, uncorrected)
    single = levels_at(trial, context.look).interval
    readings = readings_of(trial)
    # A control welded alike at both roles stands at the middle, and is no centre point.
    bend = None if readings else curvature(factors, terms, observations)
    # The order was drawn for all rounds at once, so the shuffle test waits for all of them.
    uses, rounds = context.look.uses, trial.design.rounds
    whole = uses is None or rounds is None or uses >= rounds
    spread = _variance(fit, observations)
    dealt_fit, dealt_of = of_one_reading(trial, fit, terms, observations)
    dealt = shuffle(context, dealt_fit, dealt_of, compared_factors(trial) if whole else ())
    return ResponseFindings(
        name=response.name,
        title=response.title,
        unit=response.unit,
        kind=response.kind,
        rank=response.rank,
        method=fit.method,
        source=SOURCES[fit.method],
        n=len(observations),
        setups_total=_setup_count(observations),
        tests=fit.tests(),
        effects=tuple(row for row in fit.effects(single) if row.term not in _gases(readings)),
        coefficients=fit.coefficients(single),
        means=mean_rows(fit, single, asked_of(trial)),
        variance=spread,
        comparisons=looked.comparisons,
        lack_of_fit=_lack_of_fit(fit),
        r_squared=fit.core.r_squared if isinstance(fit.core, LeastSquaresFit) else None,
        least_squares=_naive(context, terms, observations, looked.naive, fit),
        warnings=_warnings(context, response, fit, observations, looked.checks),
        checks=(*(view.check for view in looked.checks), *curvature_check(bend)),
        alternatives=looked.ways,
        coupons=coupon_values(fit, observations),
        round_gaps=round_gaps(dealt_fit, dealt_of, compared_factors(trial)),
        shuffle_p=dealt.p if dealt else None,
        shuffle_orders=dealt.orders if dealt else None,
        curvature=bend,
        undo=looked.undo,
        scatter=scatter_rows(fit, observations, spread),
        would_buy=_would_buy(context, looked, observations, spread, single),
        survives=survives(context, response, looked.comparisons),
    )


def _gases(readings: Sequence[Reading]) -> set[str | None]:
    """Return the gas that both readings turn on: its effect is an average that answers neither."""
    return {one.slider.slides_with for one in readings}


def _says_the_same(reading: Reading, left: LeftOut) -> bool:
    """Whether gas by slider was left out as the control is welded alike at both roles."""
    slider = reading.slider
    pair = {slider.name, slider.slides_with}
    return left.tied_to == slider.name and set(left.term.split(":")) == pair


def _past_the_gauge(
    context: Context,
    terms: Sequence[Term],
    response: Response,
    observations: Sequence[Observation],
    error: NotEstimable,
) -> ResponseFindings:
    """Return what is left to say where too many coupons went past the gauge limit for a fit."""
    pairs = asked_of(context.trial)
    if not pairs:
        raise error
    comparisons = []
    for one in pairs:
        question = Question(
            context.trial.varied, tuple(terms), response, one.factor, one.level, one.reference,
            at=one.at,
        )  # fmt: skip
        verdict = unknown_verdict(
            question,
            question.of(observations),
            error.words,
            partial(arrangements, context, observations, one.factor),
        )
        comparisons.append(unanswered(context, question, verdict))
    planned = sum(c.role == "count" for c in context.record.coupons)
    return ResponseFindings(
        name=response.name,
        title=response.title,
        unit=response.unit,
        kind=response.kind,
        rank=response.rank,
        method=CENSORED,
        source=SOURCES[CENSORED],
        n=len(observations),
        setups_total=_setup_count(observations),
        tests=(),
        effects=(),
        coefficients=(),
        means=(),
        variance=Variance(None, None, reading_variance(observations)),
        comparisons=tuple(comparisons),
        lack_of_fit=LackOfFit(),
        r_squared=None,
        least_squares=None,
        warnings=_incomplete(response, len(observations), planned),
        coupons=bare_coupons(observations),
    )


@dataclass(frozen=True, slots=True)
class _Looked:
    """Every comparison of a response, the checks, and the first comparison in other ways."""

    comparisons: tuple[Comparison, ...]
    checks: tuple[View, ...]
    ways: tuple[Alternative, ...]
    naive: tuple[Alternative, ...]
    undo: Undo | None = None


def _compare_all(
    context: Context,
    terms: Sequence[Term],
    response: Response,
    fit: ModelFit,
    observations: Sequence[Observation],
    uncorrected: Sequence[Observation],
) -> _Looked:
    comparisons: list[Comparison] = []
    checks: tuple[View, ...] = ()
    ways: tuple[Alternative, ...] = ()
    naive: list[Alternative] = []
    undone: Undo | None = None
    for one in asked_of(context.trial):
        read = levels_at(context.trial, context.look, one.factor)
        question = Question(
            fit.factors, tuple(terms), response, one.factor, one.level, one.reference, read, one.at
        )
        views = (
            *all_views(question, fit, observations, context.record),
            *covariate_views(context.trial, question, observations, context.record),
        )
        doubtful = without_doubtful(question, observations, context.record)
        others = (
            *other_ways(question, fit, observations, uncorrected),
            *([doubtful] if doubtful is not None else []),
        )
        first = not comparisons
        checks = views if first else checks
        comparisons.append(compare(context, question, fit, observations, views, others))
        if comparisons[-1].difference is None:
            continue  # No comparison is made, so none by another analysis either.
        if first:
            code = comparisons[-1].verdict.code
            undone = undo(question, fit, observations, context.record, code)
            ways = (*(v.alternative for v in views if v.alternative is not None), *others)
        heaps = two_groups(question, observations)
        naive += [way for way in others if way.name == EVERY_COUPON_APART]
        naive += [heaps] if heaps is not None else []
    if not comparisons:
        checks = _checks_alone(context, terms, response, fit, observations)
    if context.trial.purpose == "pilot":
        return _Looked(tuple(comparisons), checks, _unjudged(ways), _unjudged(naive))
    return _Looked(tuple(comparisons), checks, ways, tuple(naive), undone)


def _unjudged(ways: Sequence[Alternative]) -> tuple[Alternative, ...]:
    """Return the ways without the code each would lead to: a pilot has no verdict."""
    return tuple(replace(way, code=None) for way in ways)


def _checks_alone(
    context: Context,
    terms: Sequence[Term],
    response: Response,
    fit: ModelFit,
    observations: Sequence[Observation],
) -> tuple[View, ...]:
    """Return the checks of a trial that compares no category."""
    factors = context.trial.varied
    if not factors:
        return ()
    first = factors[0]
    question = Question(factors, tuple(terms), response, first, first.levels[-1], first.levels[0])
    return all_views(question, fit, observations, context.record)


def _lack_of_fit(fit: ModelFit) -> LackOfFit:
    if fit.setup is not None:
        return lack_of_fit_by_setups(fit)
    if not isinstance(fit.core, LeastSquaresFit):
        return LackOfFit()
    return lack_of_fit(fit.x, fit.y, fit.core)


def _setup_count(observations: Sequence[Observation]) -> int | None:
    welded = {o.setup for o in observations} - {None}
    return len(welded) or None


def _variance(fit: ModelFit, observations: Sequence[Observation]) -> Variance:
    reading = reading_variance(observations)
    share = reading_share(observations, reading)
    if isinstance(fit.core, SetupFit):
        return Variance(fit.core.setup_variance, fit.core.coupon_variance - share, reading)
    if isinstance(fit.core, CensoredSetupFit):
        # Without set-ups over to show it, the likelihood's set-up scatter is a figure of nothing.
        setup = fit.core.setup_variance if fit.core.df_known >= 1 else None
        return Variance(setup, fit.core.coupon_variance - share, reading)
    if isinstance(fit.core, CensoredFit):
        return Variance(None, fit.core.scatter**2 - share, reading)
    if fit.method == BARE:
        return Variance(None, None, reading)
    return Variance(None, fit.core.residual_variance - share, reading)


def _would_buy(
    context: Context,
    looked: _Looked,
    observations: Sequence[Observation],
    variance: Variance,
    confidence: float,
) -> WouldBuy | None:
    if not looked.comparisons:
        return None
    first = looked.comparisons[0]
    factor = context.trial.factor(first.factor)
    return would_buy(first, factor, observations, variance, confidence=confidence)


def _naive(
    context: Context,
    terms: Sequence[Term],
    observations: Sequence[Observation],
    naive: Sequence[Alternative],
    fit: ModelFit,
) -> LeastSquares | None:
    """Return statsmodels' least-squares table beside a set-up analysis, None elsewhere."""
    if fit.setup is None:
        return None
    factors = context.trial.varied
    try:
        apart = fit_model(factors, terms, observations, setups=False)
    except NotEstimable:
        return None
    # What cannot be told gets no p here either: that would be a test against the wrong error.
    told = tuple(test for test in apart.tests() if test.term in fit.model.columns)
    return LeastSquares(told, tuple(naive))


def _is_timid(context: Context, fit: ModelFit) -> bool:
    """Whether an interval of a hard-to-change factor is much wider than set-ups alone call for."""
    core = fit.core
    if not isinstance(core, SetupFit):
        return False
    columns = [c for f in context.trial.hard for c in fit.model.columns.get(f.name, ())]
    return any(core.widening(fit.vector({column: 1.0})) > WIDER for column in columns)


def _warnings(
    context: Context,
    response: Response,
    fit: ModelFit,
    observations: Sequence[Observation],
    checks: Sequence[View],
) -> tuple[Note, ...]:
    notes = [
        Note("left_out", f"{left.term} is left out: it cannot be told apart from {left.tied_to}.")
        for left in fit.left_out
        if not any(_says_the_same(one, left) for one in readings_of(context.trial))
    ]
    notes += [
        Note(view.check.name.replace(" ", "_").replace("-", "_"), view.check.words)
        for view in checks
        if view.check.passed is False
    ]
    if _is_timid(context, fit):
        notes.append(Note("timid", TIMID))
    planned = sum(c.role == "count" for c in context.record.coupons)
    return (*notes, *_incomplete(response, len(observations), planned))


def _incomplete(response: Response, read: int, planned: int) -> tuple[Note, ...]:
    if read >= planned:
        return ()
    words = f"{read} of {planned} coupons have a {response.title} reading that counts."
    return (Note("incomplete", words),)
