"""Findings of a response whose coupons pass or fail.

- Coupons dealt one by one: the exact unconditional interval of the difference and of the ratio
  (`proportion_intervals`), with its own p; where there are rounds, p of dealing the coupons again
  within them besides (`ranks.rank_test` on 0 and 1).
- Whole set-ups dealt: set-ups by their shares, t on their differences within rounds, and not
  narrower than coupons dealt one by one would give (`setup_proportions`); where those leave no
  scatter, the shuffle of the set-ups alone.
- Coupons dealt within set-ups: the same t on the differences within set-ups, and the exact p of
  dealing within them.

Several factors, coupons independent and enough: penalised logistic regression of the main effects
(`firth`), as ratios of odds with profile intervals.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from scipy import special

from weldtrial.analysis.context import Context
from weldtrial.analysis.count_records import OddsRow, PassRow
from weldtrial.analysis.counted import Counted, Pair, dealt_again
from weldtrial.analysis.dealt import Arrangements, arrangements, rounds_of, unit_of
from weldtrial.analysis.firth import fit_firth
from weldtrial.analysis.judge import Bounds
from weldtrial.analysis.main_effects import main_effects, odds_rows
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.proportion_intervals import difference_interval, ratio_interval
from weldtrial.analysis.proportions import no_worse, share_interval
from weldtrial.analysis.setup_proportions import SetupProportions, by_setups
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEstimable

EXACT = "exact-unconditional"
BY_SETUPS = "set-up-shares"
SHUFFLED = "set-ups-dealt-again"
SOURCES = {
    EXACT: "Chan & Zhang 1999, Biometrics 55:1202-1209",
    BY_SETUPS: (
        "set-ups' shares that passed, t within rounds (Donner & Klar 2000), not narrower than "
        "Agresti & Caffo's interval (2000) with a passed and a failed set-up added"
    ),
    SHUFFLED: "Fisher 1935, The Design of Experiments, chapter 3",
}
NOT_APART = (
    "Coupons of one set-up are not independent: they are compared set-up by set-up. Counting every "
    "coupon for itself would give 12 to 18 false alarms in 100, not 5."
)


def numbers(context: Context, pair: Pair, observations: Sequence[Observation]) -> Counted:
    """Compare two levels by the units that were dealt.

    Parameters
    ----------
    context
        The trial and its draw.
    pair
        What is compared.
    observations
        Coupons of every level.
    """
    mine = pair.of(observations)
    if len(set(pair.new(mine))) < 2:
        return Counted(seen=_seen(pair, mine), why=f"only one {pair.factor.title} has been tested")
    unit = unit_of(pair.factor, mine)
    if unit == "coupons":
        return every_coupon_apart(pair, observations)
    return _by_setups(context, pair, mine, within=unit == "within set-ups")


def every_coupon_apart(pair: Pair, observations: Sequence[Observation]) -> Counted:
    """Compare two levels as if every coupon were independent, by the exact interval."""
    mine = pair.of(observations)
    one, of = _count(mine, pair.factor, pair.level)
    zero, of_reference = _count(mine, pair.factor, pair.reference)
    wide = difference_interval(one, of, zero, of_reference, pair.interval)
    narrow = difference_interval(one, of, zero, of_reference, pair.limits)
    ratio = ratio_interval(one, of, zero, of_reference, pair.interval)
    shares = (ratio.estimate, ratio.low, ratio.high)
    sides = (no_worse(one, of, zero, of_reference, 0), no_worse(zero, of_reference, one, of, 0))
    return Counted(
        difference=100 * wide.estimate,
        ends=Bounds(100 * wide.low, 100 * wide.high, 100 * narrow.low, 100 * narrow.high),
        seen=_seen(pair, mine),
        p=min(1.0, 2 * min(side.p for side in sides)),
        p_exact=None if rounds_of(mine) is None else dealt_again(pair, mine, rounds_of(mine)),
        ratio=shares if all(math.isfinite(end) for end in shares) else None,
        method=EXACT,
    )


def _by_setups(
    context: Context, pair: Pair, mine: Sequence[Observation], *, within: bool
) -> Counted:
    redealt = pair.may_be_dealt and not within
    dealt = arrangements(context, mine, pair.factor) if redealt else None
    try:
        found = setup_shares(pair, mine, within=within, dealt=dealt)
    except NotEstimable as error:
        return Counted(seen=_seen(pair, mine), why=error.words)
    orders = None if dealt is None else dealt.orders
    exact = found.shuffle.p if found.shuffle else None
    if within:
        exact = dealt_again(pair, mine, [o.setup for o in mine])
    return from_setups(pair, found, _seen(pair, mine), exact, orders)


def setup_shares(
    pair: Pair, mine: Sequence[Observation], *, within: bool, dealt: Arrangements | None
) -> SetupProportions:
    """Compare two levels by the shares of their set-ups.

    Parameters
    ----------
    mine
        Coupons of the two levels.
    within
        True where coupons were dealt within set-ups, which then stand for rounds.
    dealt
        How the set-ups could have been dealt, None to leave the shuffle out.

    Raises
    ------
    NotEstimable
        As `by_setups`.
    """
    counts: dict[tuple[int, int, bool], list[float]] = {}
    for o, new in zip(mine, pair.new(mine), strict=True):
        cell = counts.setdefault((o.round or 0, o.setup or 0, new), [0.0, 0.0])
        cell[0] += o.value
        cell[1] += 1
    keys = sorted(counts)
    labels = [setup if within else number for number, setup, _ in keys]
    levels = None
    if dealt is not None:
        columns = [dealt.setups.index(setup) for _, setup, _ in keys]
        levels = dealt.levels[:, columns] == pair.factor.levels.index(pair.level)
    return by_setups(
        [counts[key][0] for key in keys],
        [counts[key][1] for key in keys],
        [new for _, _, new in keys],
        rounds=labels if len(set(labels)) > 1 else None,
        arrangements=None if levels is None else levels.astype(int),
        listed=dealt is None or dealt.listed,
    )


def from_setups(
    pair: Pair, found: SetupProportions, seen: str, exact: float | None, orders: int | None
) -> Counted:
    """Return the numbers of a comparison by set-ups, in points."""
    difference = 100 * (found.share - found.share_reference)
    if found.shown == "cannot_tell":
        return Counted(seen=seen, why=found.why_no_interval, p_exact=exact, orders=orders)
    if found.difference is None:
        return Counted(
            difference=difference, seen=seen, why=found.why_no_interval, p=exact, p_exact=exact,
            orders=orders, p_alone=True, method=SHUFFLED,
        )  # fmt: skip
    estimate = found.difference
    wide, narrow = found.interval(pair.interval), found.interval(pair.limits)
    return Counted(
        difference=100 * estimate.estimate,
        ends=Bounds(*(_within(end) for end in (*wide, *narrow))),
        seen=seen,
        se=100 * estimate.se,
        df=estimate.df,
        p=found.p,
        se_least=100 * found.least,
        p_exact=exact,
        orders=orders,
        method=BY_SETUPS,
    )


def _within(share: float) -> float:
    """Return points within what a difference of shares can be."""
    return 100 * min(1.0, max(-1.0, share))


def _count(mine: Sequence[Observation], factor: Factor, level: str) -> tuple[int, int]:
    values = [o.value for o in mine if o.levels[factor.name] == level]
    return int(sum(values)), len(values)


def _seen(pair: Pair, mine: Sequence[Observation]) -> str:
    one, of = _count(mine, pair.factor, pair.level)
    zero, of_reference = _count(mine, pair.factor, pair.reference)
    return f"passes {one} of {of} against {zero} of {of_reference}"


# ---------------------------------------------------------------------- tables


def pass_rows(
    factors: Sequence[Factor], observations: Sequence[Observation]
) -> tuple[PassRow, ...]:
    """Return how many coupons of every level passed, with exact intervals.

    With set-ups the exact interval counts each set-up as one coupon that passed by its share: as
    wide as if its coupons always passed or failed together (Clopper & Pearson 1934 with an
    effective sample size, after Korn & Graubard 1998, *Survey Methodology* 24:193-201; from
    memory).
    """
    rows = []
    for factor in factors:
        clustered = unit_of(factor, observations) != "coupons"
        for level in factor.levels:
            mine = [o for o in observations if o.levels[factor.name] == level]
            if not mine or len(factor.levels) > MOST_LEVELS:
                continue
            passed, of = _count(observations, factor, level)
            setups = len({o.setup for o in mine}) if clustered else None
            low, high = share_interval(passed, of) if setups is None else _widest(
                passed / of, setups
            )  # fmt: skip
            rows.append(PassRow(factor.name, level, passed, of, setups, passed / of, low, high))
    return tuple(rows)


MOST_LEVELS = 5
"""Levels beyond which a number was measured rather than chosen."""


def _widest(share: float, many: int, confidence: float = 0.95) -> tuple[float, float]:
    """Return the exact interval of a share from so many units, whole passes or not."""
    passed, tail = share * many, (1 - confidence) / 2
    low = 0.0 if share <= 0 else float(special.betaincinv(passed, many - passed + 1, tail))
    high = 1.0 if share >= 1 else float(special.betaincinv(passed + 1, many - passed, 1 - tail))
    return low, high


def odds_of(
    factors: Sequence[Factor], observations: Sequence[Observation], confidence: float
) -> tuple[OddsRow, ...]:
    """Return the odds of passing by factor, from a penalised model of the main effects.

    Empty with one factor only, with set-ups, with too few coupons, or where nothing differs.
    """
    clustered = any(unit_of(factor, observations) != "coupons" for factor in factors)
    if len(factors) < 2 or clustered:
        return ()
    effects = main_effects(factors, observations)
    try:
        fit = fit_firth(effects.x, [o.value for o in observations])
        return odds_rows(effects, fit.profile, confidence) if fit.enough else ()
    except NotEstimable:
        return ()
