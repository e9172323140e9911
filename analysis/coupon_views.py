"""Coupons, round gaps and the shuffle test of a fitted response."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import nan

from weldtrial.analysis.context import Context
from weldtrial.analysis.findings import CouponValue
from weldtrial.analysis.limited import side_of
from weldtrial.analysis.mixed import SetupFit
from weldtrial.analysis.model import KENWARD_ROGER, ModelFit, fit_model
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.residual_views import setup_means
from weldtrial.analysis.shuffle import ShuffleTest, shuffle_setups
from weldtrial.shared.factors import Factor
from weldtrial.shared.fair import readings_of
from weldtrial.shared.orders import usual_limit
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.terms import Term
from weldtrial.shared.trial import Trial


def coupon_values(fit: ModelFit, observations: Sequence[Observation]) -> tuple[CouponValue, ...]:
    """Return every coupon with what the fit, set-up included, led one to expect."""
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
            side_of(o.low, o.high),
        )
        for o, f in zip(observations, fitted, strict=True)
    )


def bare_coupons(observations: Sequence[Observation]) -> tuple[CouponValue, ...]:
    """Return every coupon where no fit led one to expect anything of it."""
    return tuple(
        CouponValue(
            o.stamp, o.run, o.round, o.setup, o.levels, o.value, nan, nan, o.readings,
            side_of(o.low, o.high),
        )
        for o in observations
    )  # fmt: skip


def of_one_reading(
    trial: Trial, fit: ModelFit, terms: Sequence[Term], observations: Sequence[Observation]
) -> tuple[ModelFit, Sequence[Observation]]:
    """Return fit and coupons of the first reading of fair, or those given where there is one only.

    The control, welded alike at both roles, has more coupons in a set-up; with the gases in pairs
    in every round their gap is as likely to fall either way all the same, scatter being
    symmetrical, and that is what the shuffle asks.
    """
    readings = readings_of(trial)
    if not readings:
        return fit, observations
    first, slider = readings[0], readings[0].slider
    gas = slider.slides_with or ""
    mine = [o for o in observations if first.speaks_for(o.levels[gas], o.levels[slider.name])]
    kept = [term for term in terms if slider.name not in term.factors]
    try:
        return fit_model([f for f in fit.factors if f.name != slider.name], kept, mine), mine
    except NotEstimable:
        return fit, observations


def round_gaps(
    fit: ModelFit, observations: Sequence[Observation], compared: Sequence[Factor]
) -> Mapping[int, float]:
    """Return level minus reference of each round, cleared of easy effects; empty without rounds.

    Empty too where a coupon went past a gauge limit: a few gaps alone would show another mean.
    """
    if not compared or fit.setup is None or fit.limited:
        return {}
    factor = compared[0]
    if not factor.hard_to_change or len(factor.levels) > 2:
        return {}
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


def shuffle(
    context: Context,
    fit: ModelFit,
    observations: Sequence[Observation],
    compared: Sequence[Factor],
) -> ShuffleTest | None:
    """Return the shuffle test of the compared factor, None where the draw cannot be redone."""
    if context.trial.follows is not None:
        return None  # Two draws, one after the other: the orders of both are not counted.
    if not context.shuffled or fit.method != KENWARD_ROGER or not compared:
        return None
    factor = compared[0]
    if not factor.hard_to_change or len(factor.levels) > 2:
        return None
    planned = {c.setup for c in context.record.coupons}
    if planned - {o.setup for o in observations}:
        return None  # The orders that could have been drawn were those of all set-ups.
    rounds = len({o.round for o in observations})
    limit = context.trial.order.first_at_most
    limit = usual_limit(rounds) if limit is None else limit
    level = next(level for level in factor.levels if level != factor.reference)
    seed = int(context.record.seal.replace("-", "")[:12] or "0", 16)
    return shuffle_setups(fit, observations, factor.name, level, limit, seed)
