"""Checks of a response, and the same comparison looked at in other ways."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from weldtrial.analysis.compare import bounds
from weldtrial.analysis.findings import Alternative, Check
from weldtrial.analysis.judge import Evidence, judge
from weldtrial.analysis.least_squares import LeastSquaresFit
from weldtrial.analysis.linear import estimate
from weldtrial.analysis.model import KENWARD_ROGER, ModelFit
from weldtrial.analysis.observations import Observation, as_run_points
from weldtrial.analysis.question import Question
from weldtrial.analysis.repeats import WORTH_A_LOOK, shift_in_repeats
from weldtrial.analysis.residual_views import (
    ALARM,
    agreement_p,
    coupon_core,
    most_extreme,
    setup_core,
    spread_ratio,
)
from weldtrial.analysis.settings_grid import real
from weldtrial.analysis.simultaneous import alone
from weldtrial.analysis.transform import transformation
from weldtrial.analysis.unequal import unequal
from weldtrial.analysis.view import View
from weldtrial.shared.coding import contrast_columns
from weldtrial.shared.record import Record
from weldtrial.shared.rounding import by_uncertainty, spaced
from weldtrial.shared.terms import Term

EVERY_COUPON_APART = "every coupon apart"
TWO_HEAPS = "two heaps of coupons"
WITHOUT_CORRECTIONS = "without corrections"
LIMIT_AS_VALUE = "limit taken as the value"
WITHOUT_DOUBTFUL = "without doubtful coupons"


def all_views(
    question: Question, fit: ModelFit, observations: Sequence[Observation], record: Record
) -> tuple[View, ...]:
    """Return every check of one response, in the order the report shows them."""
    hard = frozenset(f.name for f in question.factors if f.hard_to_change)
    coupons = coupon_core(fit, question.terms, observations)
    units = setup_core(fit, observations, hard)
    views = [
        None if record.adopted else drift(question, observations),
        odd_coupon(question, coupons, observations),
        odd_round(question, fit, units, observations),
        spread(question, fit, coupons, observations),
        transformation(question, fit, observations),
        settings_as_run(question, observations, record),
        repeats(question, observations),
    ]
    if fit.method == KENWARD_ROGER:
        views.append(agreement(fit, units, coupons))
    return tuple(view for view in views if view is not None)


def drift(question: Question, observations: Sequence[Observation]) -> View | None:
    """Add the order welded to the model and ask whether it matters."""
    runs = np.array([float(o.run or 0) for o in observations])
    if np.ptp(runs) == 0:
        return None
    scaled = (runs - runs.mean()) / (np.ptp(runs) / 2)
    try:
        fit = question.fit(observations, extra=[scaled.tolist()])
        slope = fit.estimate(np.eye(fit.x.shape[1])[-1])
    except ValueError:
        return None
    if slope.p >= ALARM:
        return View(Check("drift", True, "No drift to speak of in the order welded."))
    alternative = question.alternative(
        "order welded in the model",
        "with a straight drift taken out",
        observations,
        extra=[scaled.tolist()],
    )
    half = 2 * slope.critical(0.95) * slope.se
    drifted = by_uncertainty(2 * slope.estimate, half, signed=True)
    words = (
        f"Readings drifted by {drifted}{spaced(question.response.unit)} over the "
        "trial, more than chance explains."
    )
    return View(Check("drift", False, words), alternative, what="drift over the trial")


def odd_coupon(
    question: Question, core: LeastSquaresFit | None, observations: Sequence[Observation]
) -> View | None:
    """Look for one coupon far from what its settings and set-up lead one to expect."""
    odd = most_extreme(core) if core is not None else None
    if odd is None:
        return None
    if odd.p >= ALARM:
        return View(Check("odd coupon", True, "No single coupon stands apart."))
    stamp = observations[odd.index].stamp
    rest = [o for o in observations if o.stamp != stamp]
    words = f"Coupon {stamp} stands apart from the rest; look at its log line and its face."
    return View(
        Check("odd coupon", False, words),
        question.alternative(f"without coupon {stamp}", f"without coupon {stamp}", rest),
        what=f"coupon {stamp}",
    )


def odd_round(
    question: Question,
    fit: ModelFit,
    core: LeastSquaresFit | None,
    observations: Sequence[Observation],
) -> View | None:
    """Look for one set-up far from the others of its level, and leave its round out."""
    odd = most_extreme(core) if core is not None else None
    if odd is None or fit.setup is None:
        return None
    if odd.p >= ALARM:
        return View(Check("odd set-up", True, "No set-up or round stands apart."))
    mine = observations[int(np.flatnonzero(fit.setup == odd.index)[0])]
    rounds = {o.round for o in observations}
    if len(rounds) > 1:
        name = f"round {mine.round}"
        rest = [o for o in observations if o.round != mine.round]
    else:
        name = f"set-up {mine.setup}"
        rest = [o for o in observations if o.setup != mine.setup]
    words = f"{name.capitalize()} stands apart from the others; look at its log lines."
    return View(
        Check("odd set-up", False, words),
        question.alternative(f"without {name}", f"without {name}", rest),
        what=name,
    )


def repeats(question: Question, observations: Sequence[Observation]) -> View | None:
    """Look for a step among coupons welded alike; informs, never decides."""
    limited = any(one.ends is not None for one in observations)
    found = None if limited else shift_in_repeats(observations)
    if found is None:
        return None
    if found.p >= WORTH_A_LOOK:
        words = "Coupons welded alike read alike from first to last."
        return View(Check("coupons welded alike", True, words), decides=False)
    words = (
        f"Coupons welded alike shift by {found.size:+.3g}{spaced(question.response.unit)} after "
        f"run {found.after}: something changed that is not among the factors."
    )
    return View(Check("coupons welded alike", False, words), decides=False)


def spread(
    question: Question,
    fit: ModelFit,
    core: LeastSquaresFit | None,
    observations: Sequence[Observation],
) -> View | None:
    """Compare the coupon scatter of the two levels, and where it differs let each have its own."""
    if core is None:
        return None
    names = (question.level, question.reference)
    found = spread_ratio(core, [o.levels[question.factor.name] for o in observations], names)
    if found is None:
        return None
    ratio, p = found
    if p >= ALARM:
        return View(Check("spread", True, "Coupons scatter alike at both levels."), decides=False)
    more, less = names if ratio > 1 else names[::-1]
    times = max(ratio, 1 / ratio) ** 0.5
    words = f"Coupons of {more} scatter {times:.1f} times as much as those of {less}."
    return View(
        Check("spread", False, words),
        unequal(question, fit, observations),
        what="whether both levels scatter alike",
    )


def settings_as_run(
    question: Question, observations: Sequence[Observation], record: Record
) -> View | None:
    """Take the settings as run instead of as planned: a second view, never the main one."""
    points = as_run_points(question.factors, record, observations)
    if points is None:
        return None
    alternative = question.alternative(
        "settings as run",
        "with settings as run instead of as planned",
        observations,
        points=points,
    )
    planned = question.alternative("", "", observations)
    if alternative is None or planned is None:
        return None
    same = alternative.code == planned.code
    words = (
        "Settings as run lead to the same answer as settings as planned."
        if same
        else "Settings as run lead to another answer than settings as planned (they may be moved "
        "by the gas, so the planned ones decide)."
    )
    words += _strayed(question, observations, record)
    return View(Check("settings as run", same, words), alternative, decides=False)


def _strayed(question: Question, observations: Sequence[Observation], record: Record) -> str:
    """Say how many coupons were welded outside a stated tolerance; nothing where none was."""
    as_run = {coupon.stamp: coupon.as_run for coupon in record.coupons}
    names, outside = [], set()
    for factor in question.factors:
        for one in observations:
            value = as_run.get(one.stamp, {}).get(factor.name)
            if factor.tolerance is None or value is None:
                continue
            owner = one.levels.get(factor.slides_with or "", "")
            if factor.strays(value, real(factor, float(one.point[factor.name]), owner)):
                outside.add(one.stamp)
                names.append(factor.title.lower())
    if not outside:
        return ""
    were = "coupon was" if len(outside) == 1 else "coupons were"
    return (
        f" {len(outside)} {were} welded outside the stated tolerance "
        f"({', '.join(dict.fromkeys(names))}); none is dropped."
    )


def agreement(
    fit: ModelFit, units: LeastSquaresFit | None, coupons: LeastSquaresFit | None
) -> View | None:
    """Ask whether set-ups agree better than chance allows."""
    assert fit.setup is not None
    sizes = np.bincount(fit.setup).astype(float)
    p = agreement_p(fit, units, coupons, sizes)
    if p is None:
        return None
    if p >= ALARM:
        words = "Set-ups scatter as much as their coupons lead one to expect, or more."
        return View(Check("set-ups agree", True, words), decides=False)
    words = (
        "Set-ups agree with each other better than chance allows. Were readings copied, rounded or "
        "evened out, or was something alternated within set-ups?"
    )
    return View(Check("set-ups agree", False, words), decides=False)


def other_ways(
    question: Question,
    fit: ModelFit,
    observations: Sequence[Observation],
    uncorrected: Sequence[Observation],
) -> tuple[Alternative, ...]:
    """Return the comparison from set-up means, naively, uncorrected, and without each round."""
    ways = []
    # Set-up means average both readings of fair, so they answer neither.
    averaged = question.at is None and question.factor.hard_to_change
    if fit.method == KENWARD_ROGER and averaged:
        ways.append(from_setup_means(question, fit, observations))
    if fit.setup is not None:
        ways.append(
            question.alternative(
                EVERY_COUPON_APART,
                "as if every coupon had its own bottle change",
                observations,
                setups=False,
            )
        )
    if fit.limited:
        ways.append(
            question.alternative(
                LIMIT_AS_VALUE,
                "as if every coupon at the limit had failed just there",
                [replace(o, ends=None) for o in observations],
            )
        )
    if [(o.low, o.high) for o in uncorrected] != [(o.low, o.high) for o in observations]:
        ways.append(question.alternative(WITHOUT_CORRECTIONS, "as first typed in", uncorrected))
    rounds = sorted({o.round for o in observations if o.round is not None})
    if len(rounds) > 2:
        for number in rounds:
            rest = [o for o in observations if o.round != number]
            name = f"without round {number}"
            ways.append(question.alternative(name, name, rest))
    return tuple(way for way in ways if way is not None)


def without_doubtful(
    question: Question, observations: Sequence[Observation], record: Record
) -> Alternative | None:
    """Return the comparison without the coupons whose log line says that something went wrong."""
    doubtful = {coupon.stamp for coupon in record.coupons if coupon.went_wrong}
    rest = [o for o in observations if o.stamp not in doubtful]
    count = len(observations) - len(rest)
    if not count:
        return None
    plural = "coupon" if count == 1 else "coupons"
    return question.alternative(
        WITHOUT_DOUBTFUL, f"without the {count} {plural} that something went wrong with", rest
    )


def from_setup_means(
    question: Question, fit: ModelFit, observations: Sequence[Observation]
) -> Alternative | None:
    """Compare the levels from the means of unequal set-ups, which keeps its level where
    Kenward-Roger turns timid; None where all set-ups hold alike, as the two then agree.
    """
    assert fit.setup is not None
    if len(set(np.bincount(fit.setup).tolist())) == 1 or len(question.factor.levels) > 2:
        return None
    core = setup_core(fit, observations, frozenset([question.factor.name]))
    if core is None:
        return None
    one = contrast_columns(question.factor, question.level)
    zero = contrast_columns(question.factor, question.reference)
    vector = np.zeros(len(core.coefficients))
    vector[1 : 1 + len(one)] = np.subtract(one, zero)
    found = estimate(core, vector)
    margin = question.response.margin
    reference = float(core.coefficients[0] + np.dot(core.coefficients[1 : 1 + len(zero)], zero))
    units = margin.in_units(reference) if margin is not None else None
    together = alone(found, question.read)
    change = bounds(found, question.response.sign, together)
    code = judge(Evidence.of(change, units), question.response.ask)
    low, high = together.interval(found, 0.95)
    words = "from the means of the set-ups"
    return Alternative(
        "set-up means", words, found.estimate, low, high, found.df, found.p, code,
        len(observations),
    )  # fmt: skip


def two_groups(question: Question, observations: Sequence[Observation]) -> Alternative | None:
    """Compare the two levels as two heaps of coupons: no rounds, no set-ups, nothing else."""
    heap = [replace(o, round=None) for o in question.of(observations)]
    alone = replace(question, terms=(Term(((question.factor.name, 1),)),), at=None)
    return alone.alternative(
        TWO_HEAPS, "as two heaps of coupons, nothing else considered", heap, setups=False
    )
