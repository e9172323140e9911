"""Findings of one response: fit, compare, check, judge."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from weldtrial.analysis.claims import weigh_claims
from weldtrial.analysis.compare import Contrast, mean_rows
from weldtrial.analysis.findings import (
    Alternative,
    Comparison,
    CouponValue,
    LackOfFit,
    LeastSquares,
    Note,
    ResponseFindings,
    Variance,
    Verdict,
)
from weldtrial.analysis.judge import strength
from weldtrial.analysis.lack_of_fit import lack_of_fit
from weldtrial.analysis.least_squares import LeastSquaresFit
from weldtrial.analysis.mixed import SetupFit
from weldtrial.analysis.model import KENWARD_ROGER, SOURCES, ModelFit, fit_model
from weldtrial.analysis.observations import Observation, reading_share, reading_variance
from weldtrial.analysis.question import Question
from weldtrial.analysis.residual_views import setup_means
from weldtrial.analysis.settle import what_would_settle
from weldtrial.analysis.shuffle import ShuffleTest, shuffle_setups
from weldtrial.analysis.verdict_words import (
    PILOT,
    Numbers,
    Setting,
    cannot_tell,
    depends_on,
    write_verdict,
)
from weldtrial.analysis.views import View, all_views, other_ways
from weldtrial.shared.factors import Factor
from weldtrial.shared.orders import usual_limit
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.record import Record
from weldtrial.shared.responses import Response
from weldtrial.shared.terms import model_terms
from weldtrial.shared.trial import Trial


@dataclass(frozen=True, slots=True)
class Context:
    """What every response of a trial shares.

    Attributes
    ----------
    shuffled, units
        Whether the order was drawn beforehand, and set-ups (or coupons) of the scarcer level.
    looks
        How many comparisons the trial looks at in all.
    """

    trial: Trial
    record: Record
    shuffled: bool
    units: int
    looks: int


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
    trial = context.trial
    factors = trial.varied
    terms = model_terms(factors, trial.design.model)
    fit = fit_model(factors, terms, observations)
    compared = [f for f in factors if f.kind == "category"]
    comparisons: list[Comparison] = []
    checks: tuple[View, ...] = ()
    ways: tuple[Alternative, ...] = ()
    naive: list[Alternative] = []
    for factor in compared:
        for level in factor.levels:
            if level == factor.reference:
                continue
            question = Question(factors, terms, response, factor, level)
            views = all_views(question, fit, observations, context.record)
            others = other_ways(question, observations, uncorrected)
            if not comparisons:
                checks = views
                ways = (*(v.alternative for v in views if v.alternative is not None), *others)
            naive += [way for way in others if way.name == "every coupon apart"]
            comparisons.append(_compare(context, question, fit, observations, views, others))
    shuffle = _shuffle(context, fit, observations, compared)
    return ResponseFindings(
        name=response.name,
        title=response.title,
        unit=response.unit,
        kind=response.kind,
        rank=response.rank,
        method=fit.method,
        source=SOURCES[fit.method],
        n=len(observations),
        setups_total=_setup_count(trial, observations),
        tests=fit.tests(),
        effects=fit.effects(),
        coefficients=fit.coefficients(),
        means=mean_rows(fit),
        variance=_variance(fit, observations),
        comparisons=tuple(comparisons),
        lack_of_fit=lack_of_fit(fit) if fit.setup is None else LackOfFit(),
        r_squared=fit.core.r_squared if isinstance(fit.core, LeastSquaresFit) else None,
        least_squares=_naive(context, terms, observations, naive, fit),
        warnings=_warnings(context, response, fit, observations, checks),
        checks=tuple(view.check for view in checks),
        alternatives=ways,
        coupons=_coupon_values(fit, observations),
        round_gaps=_round_gaps(fit, observations, compared),
        shuffle_p=shuffle.p if shuffle else None,
        shuffle_orders=shuffle.orders if shuffle else None,
    )


def _compare(
    context: Context,
    question: Question,
    fit: ModelFit,
    observations: Sequence[Observation],
    views: Sequence[View],
    others: Sequence[Alternative],
) -> Comparison:
    answered = question.answer(fit)
    if answered is None:
        return _cannot(question, fit, observations)
    found, code = answered
    setting = _setting(context, question, fit, observations, found)
    firm = strength(code, shuffled=context.shuffled, units_per_level=context.units)
    verdict = write_verdict(code, firm, setting, found.evidence, _numbers(found))
    if context.trial.purpose == "pilot":
        verdict = Verdict(None, None, PILOT, verdict.lines[:1])
    else:
        verdict = _turns_on(context, verdict, question, setting, views, others)
    low, high = found.difference.interval(0.95)
    low90, high90 = found.difference.interval(0.90)
    ratio = found.ratio or (None, None, None)
    margin = question.response.margin
    difference = found.difference
    comparison = Comparison(
        factor=question.factor.name,
        level=question.level,
        reference=question.factor.reference,
        difference=difference.estimate,
        percent=_percent(difference.estimate, found.reference.estimate),
        se=difference.se,
        df=difference.df,
        ci_low=low,
        ci_high=high,
        ci90_low=low90,
        ci90_high=high90,
        p=difference.p,
        p_adjusted=None,
        margin=found.margin,
        margin_percent=100 * margin.value if margin and margin.percent else None,
        ratio=ratio[0],
        ratio_low=ratio[1],
        ratio_high=ratio[2],
        verdict=verdict,
    )
    claims = weigh_claims(context.trial.claims, question.response, comparison)
    return replace(comparison, claims=claims)


def _percent(difference: float, reference: float) -> float | None:
    return 100 * difference / reference if reference else None


def _numbers(found: Contrast) -> Numbers:
    low, high = found.difference.interval(0.95)
    return Numbers(found.difference.estimate, low, high, found.reference.estimate, found.ratio)


def _setting(
    context: Context,
    question: Question,
    fit: ModelFit,
    observations: Sequence[Observation],
    found: Contrast,
) -> Setting:
    return Setting(
        response=question.response,
        level=question.level,
        reference=question.factor.reference,
        counts=count_words(observations, hard=bool(context.trial.hard)),
        looks=context.looks,
        settle=what_would_settle(fit, question, found, observations),
    )


def count_words(observations: Sequence[Observation], *, hard: bool) -> str:
    """Return "6 rounds, 12 set-ups, 36 coupons", leaving out what the trial does not have."""
    rounds = {o.round for o in observations} - {None}
    setups = {o.setup for o in observations} - {None}
    parts = [f"{len(rounds)} rounds"] if len(rounds) > 1 else []
    parts += [f"{len(setups)} set-ups"] if hard else []
    return ", ".join([*parts, f"{len(observations)} coupons"])


def _turns_on(
    context: Context,
    verdict: Verdict,
    question: Question,
    setting: Setting,
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
        late = [way for way in others if way.name == "without corrections"]
        decisive += [("corrections made after the codes were open", way) for way in late]
    for what, other in decisive:
        if other.code is None or other.code == verdict.code:
            continue
        firm = strength(other.code, shuffled=context.shuffled, units_per_level=context.units)
        second = _second_answer(question, setting, other, firm is not None and firm == "shown")
        return depends_on(what, verdict, second, other.words.capitalize())
    return verdict


def _second_answer(question: Question, setting: Setting, other: Alternative, firm: bool) -> Verdict:
    from weldtrial.analysis.verdict_words import HEADS, NOT_SETTLED, margin_words, number_line

    code = other.code
    numbers = Numbers(other.difference, other.ci_low, other.ci_high, 0.0, None)
    if code is None or code == "not_settled":
        words = NOT_SETTLED
    elif code == "difference_shown":
        worse = question.response.sign * other.difference < 0
        words = (
            f"{'Shown' if firm else 'Suggests'}: {setting.level} is "
            f"{'worse' if worse else 'better'} than {setting.reference}."
        )
    else:
        text = HEADS[code].format(
            level=setting.level,
            reference=setting.reference,
            margin=margin_words(question.response),
        )
        words = f"{'Shown' if firm else 'Suggests'}: {text}"
    return Verdict(code, None, words, (number_line(setting, numbers),))


def _cannot(question: Question, fit: ModelFit, observations: Sequence[Observation]) -> Comparison:
    tied = next(
        (left.tied_to for left in fit.left_out if left.term == question.factor.name), "its set-up"
    )
    margin = question.response.margin
    return Comparison(
        question.factor.name,
        question.level,
        question.factor.reference,
        *([None] * 9),
        margin=margin.value if margin and not margin.percent else None,
        margin_percent=100 * margin.value if margin and margin.percent else None,
        ratio=None,
        ratio_low=None,
        ratio_high=None,
        verdict=cannot_tell(question.factor.name, tied),
    )


def _setup_count(trial: Trial, observations: Sequence[Observation]) -> int | None:
    return len({o.setup for o in observations}) if trial.hard else None


def _variance(fit: ModelFit, observations: Sequence[Observation]) -> Variance:
    reading = reading_variance(observations)
    share = reading_share(observations, reading)
    if isinstance(fit.core, SetupFit):
        return Variance(fit.core.setup_variance, fit.core.coupon_variance - share, reading)
    return Variance(None, fit.core.residual_variance - share, reading)


def _naive(
    context: Context,
    terms: Sequence[object],
    observations: Sequence[Observation],
    naive: Sequence[Alternative],
    fit: ModelFit,
) -> LeastSquares | None:
    """Return statsmodels' least-squares table beside a set-up analysis, None elsewhere."""
    if not context.trial.hard or fit.setup is None:
        return None
    factors = context.trial.varied
    try:
        apart = fit_model(
            factors, model_terms(factors, context.trial.design.model), observations, setups=False
        )
    except NotEstimable:
        return None
    return LeastSquares(apart.tests(), tuple(naive))


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
    ]
    notes += [
        Note(view.check.name.replace(" ", "_").replace("-", "_"), view.check.words)
        for view in checks
        if view.check.passed is False
    ]
    sizes = {o.setup: 0 for o in observations}
    for o in observations:
        sizes[o.setup] += 1
    core = fit.core
    if isinstance(core, SetupFit) and core.near_bound and len(set(sizes.values())) > 1:
        notes.append(
            Note(
                "timid",
                "Set-ups agree closely and hold unequal numbers of coupons: the test of a "
                "hard-to-change factor is timid here (false alarms rarer than 5 in 100).",
            )
        )
    planned = sum(c.role == "count" for c in context.record.coupons)
    if len(observations) < planned:
        notes.append(
            Note(
                "incomplete",
                f"{len(observations)} of {planned} coupons have a {response.title} reading that "
                "counts.",
            )
        )
    return tuple(notes)


def _coupon_values(fit: ModelFit, observations: Sequence[Observation]) -> tuple[CouponValue, ...]:
    core = fit.core
    fitted = core.fitted.copy()
    if isinstance(core, SetupFit) and fit.setup is not None:
        fitted = fitted + core.setup_effects[fit.setup]
    return tuple(
        CouponValue(
            o.stamp,
            o.run,
            o.round,
            o.setup,
            o.levels,
            o.value,
            float(f),
            o.value - float(f),
            o.readings,
        )
        for o, f in zip(observations, fitted, strict=True)
    )


def _round_gaps(
    fit: ModelFit, observations: Sequence[Observation], compared: Sequence[Factor]
) -> Mapping[int, float]:
    if not compared or fit.setup is None or not compared[0].hard_to_change:
        return {}
    factor = compared[0]
    means = setup_means(fit, frozenset([factor.name]))
    sides: dict[int, dict[bool, list[float]]] = {}
    seen = set()
    for o, code in zip(observations, fit.setup.tolist(), strict=True):
        if o.round is None or code in seen:
            continue
        seen.add(code)
        side = sides.setdefault(o.round, {True: [], False: []})
        side[o.levels[factor.name] == factor.reference].append(float(means[code]))
    return {
        number: sum(side[False]) / len(side[False]) - sum(side[True]) / len(side[True])
        for number, side in sorted(sides.items())
        if side[True] and side[False]
    }


def _shuffle(
    context: Context,
    fit: ModelFit,
    observations: Sequence[Observation],
    compared: Sequence[Factor],
) -> ShuffleTest | None:
    if not context.shuffled or fit.method != KENWARD_ROGER or not compared:
        return None
    factor = compared[0]
    if not factor.hard_to_change:
        return None
    rounds = len({o.round for o in observations})
    limit = context.trial.order.first_at_most
    limit = usual_limit(rounds) if limit is None else limit
    level = next(level for level in factor.levels if level != factor.reference)
    seed = int(context.record.seal[:12] or "0", 16)
    return shuffle_setups(fit, observations, factor.name, level, limit, seed)
