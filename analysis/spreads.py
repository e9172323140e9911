"""Checks and spreads that can be looked at with the codes closed: nothing here tells the gas."""

from __future__ import annotations

from math import isinf, sqrt

from weldtrial.analysis.censored_setups import CensoredSetupFit
from weldtrial.analysis.mixed import SetupFit
from weldtrial.analysis.model import ModelFit, fit_model
from weldtrial.analysis.observations import Observed, reading_share, reading_variance
from weldtrial.analysis.question import Question
from weldtrial.analysis.reaching import past_words
from weldtrial.analysis.residual_views import coupon_core, most_extreme
from weldtrial.analysis.views import drift, odd_coupon
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.record import Record
from weldtrial.shared.responses import Response
from weldtrial.shared.rounding import plain, spaced
from weldtrial.shared.terms import trial_terms
from weldtrial.shared.trial import Trial
from weldtrial.shared.worked_out import RULES, gauge_share

GOOD_GAUGE = 0.3
"""A gauge whose repeat scatter is under this share of the margin can see the margin."""


def spread_words(
    trial: Trial, record: Record, response: Response, observed: Observed
) -> tuple[str, ...]:
    """Return sentences about readings, scatter and checks of one response."""
    count = len(observed.observations)
    total = count + len(observed.set_aside) + len(observed.unread)
    words = [f"{count} of {total} coupons read"]
    if observed.set_aside:
        words[0] += f", {len(observed.set_aside)} lost"
    if past := sum(isinf(o.high - o.low) for o in observed.observations):
        words[0] += f", {past} {past_words(response, observed.observations)}"
    if response.kind != "number":
        return (*words, *_counted_words(response, observed))
    words += _gauge_words(response, observed)
    words += _worked_out_words(response, record)
    factors = trial.varied
    terms = trial_terms(factors, trial.design.model, trial.design.terms)
    try:
        fit = fit_model(factors, terms, observed.observations)
    except NotEstimable as error:
        return (*words, f"not enough yet to show scatter: {error.words}")
    words += _scatter_words(response, fit, observed)
    question = Question(factors, terms, response, factors[0], factors[0].levels[-1])
    for view in (
        drift(question, observed.observations),
        odd_coupon(
            question, coupon_core(fit, question.terms, observed.observations), observed.observations
        ),
    ):
        if view is not None:
            words.append(view.check.words)
    return tuple(words)


def _counted_words(response: Response, observed: Observed) -> list[str]:
    """Return how many passed, or had each grade, of all gases together."""
    values = [o.value for o in observed.observations]
    if not values:
        return []
    if response.kind == "pass-fail":
        words = [f"{int(sum(values))} of {len(values)} passed, all gases together"]
    else:
        counts = [(grade, values.count(place)) for place, grade in enumerate(response.scale)]
        seen = ", ".join(f"{grade} {count}" for grade, count in counts if count)
        words = [f"grades, all gases together: {seen}"]
    differ = sum(len(set(o.readings)) > 1 for o in observed.observations)
    if differ:
        plural = "coupon have" if differ == 1 else "coupons have"
        words.append(f"pieces of {differ} {plural} different readings; the worst of them counts")
    return words


def _gauge_words(response: Response, observed: Observed) -> list[str]:
    variance = reading_variance(observed.observations)
    if variance is None:
        return []
    sd = sqrt(variance)
    if sd == 0:
        return ["repeat cuts of a coupon all read the same"]
    words = f"repeat cuts agree to \N{PLUS-MINUS SIGN}{plain(round_sd(sd))}{spaced(response.unit)}"
    if response.margin is not None and not response.margin.percent:
        enough = sd <= GOOD_GAUGE * response.margin.value
        beside = ": good enough to see" if enough else ": coarse beside the margin of"
        words += f"{beside} {plain(response.margin.value)}{spaced(response.unit)}"
    return [words]


def _worked_out_words(response: Response, record: Record) -> list[str]:
    if response.worked_out is None:
        return []
    words = [f"worked out as {RULES[response.worked_out.quantity].words}"]
    share = gauge_share(response, record.coupons)
    if share is not None:
        steps = response.worked_out.reads_to
        gauges = " and ".join(f"{column} to {plain(step)}" for column, step in steps.items())
        words.append(
            f"reading {gauges} scatters each coupon's value by {plain(round_sd(100 * share))} % "
            "beside what is read"
        )
    return words


def _scatter_words(response: Response, fit: ModelFit, observed: Observed) -> list[str]:
    share = reading_share(observed.observations, reading_variance(observed.observations))
    unit = response.unit
    if isinstance(fit.core, SetupFit | CensoredSetupFit):
        coupon = max(0.0, fit.core.coupon_variance - share)
        setup = fit.core.setup_variance
        between = _sd_words(setup, unit, "nothing beyond coupons")
        if isinstance(fit.core, CensoredSetupFit) and fit.core.df_known < 1:
            between = "nothing shows it"
        within = _sd_words(coupon, unit, "none seen" if share == 0 else "nothing beyond readings")
        return [
            f"scatter (standard deviation) between coupons of one set-up {within}, "
            f"between set-ups {between}"
        ]
    core = coupon_core(fit, (), observed.observations)
    if core is None or most_extreme(core) is None:
        return []
    coupon = max(0.0, core.residual_variance - share)
    words = _sd_words(coupon, unit, "none seen" if share == 0 else "nothing beyond readings")
    return [f"scatter (standard deviation) between coupons {words}"]


def _sd_words(variance: float, unit: str, none: str) -> str:
    # A fitted scatter of zero is a floor, not a measurement, so no "0 kN" is printed.
    return f"{plain(round_sd(sqrt(variance)))}{spaced(unit)}" if variance > 0 else none


def round_sd(sd: float) -> float:
    """Return a standard deviation to two significant figures."""
    return float(f"{sd:.2g}")
