"""Findings of a graded response.

Coupons dealt one by one, enough of them: the proportional-odds model of the main effects
(`ordinal`), as long as its assumption passes its check for the factor compared.  Its profile
interval of the log odds is carried over to the chance that a coupon grades better, at the fitted
thresholds, so that both methods speak alike: 50 in 100 is no change in either; the end away from
that is at least as far out as that of ranks (`chance_ends`).  Else, and always
with set-ups: ranks (`ranks.better_interval`), with p of dealing the coupons again (within rounds or
set-ups) or whole set-ups.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress

import numpy as np
from numpy.typing import NDArray
from scipy import special

from weldtrial.analysis.context import Context
from weldtrial.analysis.count_records import GradeRow, OddsRow
from weldtrial.analysis.counted import Counted, Pair, dealt_again
from weldtrial.analysis.dealt import arrangements, rounds_of, unit_of
from weldtrial.analysis.judge import Bounds
from weldtrial.analysis.main_effects import MainEffects, main_effects, odds_rows
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.ordinal import OrdinalFit, check_odds, fit_ordinal
from weldtrial.analysis.profiles import as_odds
from weldtrial.analysis.ranks import better_interval, rank_test_setups
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEstimable

Floats = NDArray[np.float64]

ODDS = "proportional-odds"
RANKS = "ranks"
EVEN = 0.5
"""Chance to grade better where the levels are alike."""
SOURCES = {
    ODDS: "McCullagh 1980, J. R. Stat. Soc. B 42:109-142; profile intervals",
    RANKS: "Newcombe 2006, Statistics in Medicine 25:559-573; with set-ups Brunner & Munzel 2000, "
    "Biometrical J. 42:17-25, set-ups as units",
}
FAILED = (
    "The proportional-odds model does not fit: {factor} moves some grades otherwise than others. "
    "Compared by ranks instead, which assume only the order of the grades."
)


def numbers(context: Context, pair: Pair, observations: Sequence[Observation]) -> Counted:
    """Compare two levels by the model where it holds, else by ranks."""
    mine = pair.of(observations)
    if len(set(pair.new(mine))) < 2:
        return Counted(seen=_seen(pair, mine), why=f"only one {pair.factor.title} has been graded")
    if unit_of(pair.factor, mine) == "coupons":
        fitted = model_that_holds(context.trial.varied, pair.factor, observations)
        if fitted is not None:
            return _by_odds(pair, *fitted, observations)
        return every_coupon_apart(pair, observations)
    return _by_ranks(context, pair, mine)


def every_coupon_apart(pair: Pair, observations: Sequence[Observation]) -> Counted:
    """Compare two levels by ranks as if every coupon were independent."""
    mine = pair.of(observations)
    return ranked(pair, mine, None, dealt_again(pair, mine, rounds_of(mine)))


def _by_ranks(context: Context, pair: Pair, mine: Sequence[Observation]) -> Counted:
    setups = [o.setup or 0 for o in mine]
    if unit_of(pair.factor, mine) == "within set-ups":
        return ranked(pair, mine, setups, dealt_again(pair, mine, setups))
    p = orders = None
    dealt = arrangements(context, mine, pair.factor) if pair.may_be_dealt else None
    if dealt is not None:
        # Labels in sorted order, as `rank_test_setups` takes its columns.
        columns = [dealt.setups.index(setup) for setup in sorted(set(setups))]
        levels = dealt.levels[:, columns] == pair.factor.levels.index(pair.level)
        orders = dealt.orders
        with suppress(NotEstimable):
            p = rank_test_setups(
                [o.value for o in mine], pair.new(mine), setups, levels.astype(int),
                rounds=rounds_of(mine), listed=dealt.listed,
            ).p  # fmt: skip
    return ranked(pair, mine, setups, p, orders)


def ranked(
    pair: Pair,
    mine: Sequence[Observation],
    units: Sequence[int] | None,
    p: float | None,
    orders: int | None = None,
) -> Counted:
    """Compare two levels by ranks, `units` (None: coupons) being what scatters."""
    grades, new = [o.value for o in mine], pair.new(mine)
    try:
        wide = better_interval(grades, new, units, pair.interval)
        narrow = better_interval(grades, new, units, pair.limits)
    except NotEstimable as error:
        return Counted(seen=_seen(pair, mine), why=error.words, p_exact=p, orders=orders)
    y, is_new = np.asarray(grades), np.asarray(new)
    better = float((np.sign(y[is_new][:, None] - y[~is_new][None, :]) / 2 + 0.5).mean())
    ends = (100 * end - 50 for end in (*wide, *narrow))
    return Counted(
        difference=100 * better - 50,
        ends=Bounds(*ends),
        seen=_seen(pair, mine),
        p=p,
        p_exact=p,
        orders=orders,
        method=RANKS,
    )


def _seen(pair: Pair, mine: Sequence[Observation]) -> str:
    new = sum(pair.new(mine))
    return f"was graded on {new} coupons against {len(mine) - new}"


# ---------------------------------------------------------------------- the model


def model_that_holds(
    factors: Sequence[Factor], factor: Factor, observations: Sequence[Observation]
) -> tuple[OrdinalFit, MainEffects] | None:
    """Return the fitted model and its matrix, None where ranks have to stand in."""
    fitted = _fit(factors, observations)
    if fitted is None or factor.name not in fitted[1].columns:
        return None
    return fitted if _check(*fitted, factor) == "holds" else None


def failed(factors: Sequence[Factor], factor: Factor, observations: Sequence[Observation]) -> bool:
    """Whether the model was fitted and its assumption failed for the factor compared."""
    fitted = _fit(factors, observations)
    return fitted is not None and _check(*fitted, factor) == "fails"


def _fit(
    factors: Sequence[Factor], observations: Sequence[Observation]
) -> tuple[OrdinalFit, MainEffects] | None:
    effects = main_effects(factors, observations)
    if effects.x.shape[1] < 2:
        return None
    try:
        fit = fit_ordinal(effects.x[:, 1:], [int(o.value) for o in observations])
    except NotEstimable:
        return None
    return (fit, effects) if fit.enough else None


def _check(fit: OrdinalFit, effects: MainEffects, factor: Factor) -> str:
    return check_odds(fit, [place - 1 for place in effects.columns[factor.name]]).verdict


def _by_odds(
    pair: Pair, fit: OrdinalFit, effects: MainEffects, observations: Sequence[Observation]
) -> Counted:
    mine = pair.of(observations)
    contrast = contrast_of(effects, pair)
    found = fit.profile(contrast)
    wide, narrow = found.interval(pair.interval), found.interval(pair.limits)
    at_reference = [o.levels[pair.factor.name] == pair.reference for o in observations]
    reference = np.asarray(effects.x[at_reference, 1:].mean(axis=0))
    grades, new = [o.value for o in mine], pair.new(mine)
    ends: list[float] = []
    for shifts, confidence in ((wide, pair.interval), (narrow, pair.limits)):
        apart = better_interval(grades, new, None, confidence)
        ends += chance_ends(fit, reference, shifts, apart)
    odds = as_odds(found.estimate), as_odds(wide[0]), as_odds(wide[1])
    return Counted(
        difference=100 * chance(fit, reference, found.estimate) - 50,
        ends=Bounds(*(100 * end - 50 for end in ends)),
        seen=_seen(pair, mine),
        p=found.p,
        p_exact=dealt_again(pair, mine, rounds_of(mine)),
        odds=odds if all(math.isfinite(end) for end in odds) else None,
        method=ODDS,
    )


def odds_p(pair: Pair, fit: OrdinalFit, effects: MainEffects) -> tuple[float, float]:
    """Return p of no change by the model and its log odds ratio.

    p is below 1 - confidence just where the profile interval leaves 0 out.
    """
    found = fit.profile(contrast_of(effects, pair))
    return found.p, found.estimate


def contrast_of(effects: MainEffects, pair: Pair) -> Floats:
    """Return level minus reference without the constant, from the pairs of the matrix."""
    rows: dict[str, Floats] = {}
    for name, one, other, contrast in effects.contrasts:
        if name == pair.factor.name:
            rows[one] = contrast[1:]
            base = other
    zero = np.zeros(len(next(iter(rows.values()))))
    rows[base] = zero
    return np.asarray(rows[pair.level] - rows[pair.reference])


def chance_ends(
    fit: OrdinalFit, reference: Floats, shifts: tuple[float, float], apart: tuple[float, float]
) -> tuple[float, float]:
    """Return the interval of the chance to grade better, from that of the log odds.

    At the fitted thresholds the chance cannot pass a ceiling, however large the odds: that of the
    reference's own grades, which are taken as known.  Near it the far end so missed the truth in
    13 to 47 of 100 trials (8 + 8 and 16 + 16 coupons, odds 12 to 55 times).  So an end that lies
    away from 50 in 100 is at least as far out as that of ranks, which leaves 0 to 5; whether 50 is
    held is the model's to say.

    Parameters
    ----------
    reference
        Row of the matrix that stands for the reference level, (p,).
    shifts, apart
        Interval of the log odds, and of the chance by ranks (`ranks.better_interval`).
    """
    low, high = (chance(fit, reference, shift) for shift in shifts)
    return min(low, apart[0]) if low <= EVEN else low, max(high, apart[1]) if high >= EVEN else high


def chance(fit: OrdinalFit, reference: Floats, shift: float) -> float:
    """Return the chance that a coupon whose log odds lie `shift` higher grades better."""
    if math.isinf(shift):
        return 1.0 if shift > 0 else 0.0
    middle = float(reference @ fit.coefficients)
    below = [special.expit(fit.thresholds - at) for at in (middle + shift, middle)]
    new, old = (np.diff(np.concatenate([[0.0], part, [1.0]])) for part in below)
    worse = np.concatenate([[0.0], np.cumsum(old)[:-1]])
    return float(new @ (worse + old / 2))


# ---------------------------------------------------------------------- tables


def grade_rows(
    factors: Sequence[Factor], observations: Sequence[Observation], grades: int
) -> tuple[GradeRow, ...]:
    """Return coupons by grade for every level of every factor that holds any."""
    rows = []
    for factor in factors:
        for level in factor.levels:
            mine = [int(o.value) for o in observations if o.levels[factor.name] == level]
            if mine:
                counts = np.bincount(mine, minlength=grades)
                rows.append(GradeRow(factor.name, level, tuple(int(one) for one in counts)))
    return tuple(rows)


def odds_of(
    factors: Sequence[Factor], observations: Sequence[Observation], confidence: float
) -> tuple[OddsRow, ...]:
    """Return the odds of a better grade by factor, empty where ranks stand in."""
    clustered = any(unit_of(factor, observations) != "coupons" for factor in factors)
    if len(factors) < 2 or clustered:
        return ()
    fitted = _fit(factors, observations)
    if fitted is None or any(
        _check(*fitted, one) != "holds" for one in factors if one.name in fitted[1].columns
    ):
        return ()
    fit, effects = fitted
    return odds_rows(effects, fit.profile, confidence, skip=1)
