"""Where averages cannot be compared: how many coupons of each level reached the gauge limit.

Without set-ups by the exact unconditional interval of a difference of shares (Chan & Zhang 1999,
Biometrics 55, 1202-1209); with set-ups by the shares of the set-ups, never coupon by coupon.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import isclose, isinf

import numpy as np
from numpy.typing import NDArray

from weldtrial.analysis.at_limit import AtLimit, at_limit, mostly_at_limit
from weldtrial.analysis.counted_words import OFTEN, RARELY
from weldtrial.analysis.dealt import Arrangements
from weldtrial.analysis.findings import Verdict
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.proportion_intervals import difference_interval
from weldtrial.analysis.question import Question
from weldtrial.analysis.setup_proportions import by_setups
from weldtrial.analysis.verdict_words import TOO_WIDE, cannot_estimate
from weldtrial.analysis.verdict_words import at_limit as at_limit_verdict
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.responses import Response
from weldtrial.shared.rounding import fixed, plain, spaced

Dealt = Callable[[], Arrangements | None]

MOST_NAMED = 2
"""Limits that a gauge may have, an upper and a lower one; more are limits of the coupons' own."""


def counted(question: Question, observations: Sequence[Observation]) -> tuple[AtLimit, ...]:
    """Return coupons at the gauge limit of the two levels compared, the reference first."""
    pair = (question.reference, question.level)
    mine = [o for o in observations if o.levels[question.factor.name] in pair]
    found = at_limit(
        [o.levels[question.factor.name] for o in mine],
        [o.low for o in mine],
        [o.high for o in mine],
    )
    return tuple(sorted(found, key=lambda one: pair.index(one.level)))


def is_mostly_at_limit(observations: Sequence[Observation]) -> bool:
    """Whether more than half of all coupons are at a gauge limit."""
    every = at_limit(
        ["" for _ in observations], [o.low for o in observations], [o.high for o in observations]
    )
    return mostly_at_limit(every)


def limit_words(question: Question, observations: Sequence[Observation]) -> str:
    """Return where the gauge stops, as the coupons at it say: ``90 kN``."""
    unit, seen = spaced(question.response.unit), _limits_seen(observations)
    if len(seen) > MOST_NAMED:
        return f"{plain(seen[0])} to {plain(seen[-1])}{unit}"
    return " or ".join(f"{plain(one)}{unit}" for one in seen)


def _limits_seen(observations: Sequence[Observation]) -> list[float]:
    seen = {o.high if isinf(o.low) else o.low for o in observations if isinf(o.high - o.low)}
    return sorted(seen)


def past_words(response: Response, observations: Sequence[Observation]) -> str:
    """Say of the coupons known to a limit only whether it is the gauge's."""
    own = gauge_only(response, _limits_seen(observations))
    return "past the gauge limit" if own else "known to a limit only"


def gauge_only(response: Response, limits: Sequence[float]) -> bool:
    """Whether all these limits are the gauge's, and none a coupon's own, as where a plate broke."""
    gauge = [one for one in (response.least, response.most) if one is not None]
    if not gauge:
        return len(limits) <= MOST_NAMED
    return all(any(isclose(limit, one) for one in gauge) for limit in limits)


def reaching_verdict(
    question: Question,
    observations: Sequence[Observation],
    lines: Sequence[str] = (),
    dealt: Dealt | None = None,
) -> Verdict:
    """Return the verdict where most coupons are at the limit: how many reached it, compared.

    Parameters
    ----------
    lines
        What the averages came to, where they could be estimated at all.
    dealt
        Asked where the set-ups show no scatter: how the draw could have dealt the levels to them.
    """
    counts = counted(question, observations)
    averages = (
        "The averages rest mostly on what was not read, and settle nothing."
        if lines
        else "Averages cannot be compared."
    )
    apart = "To tell the two apart use a gauge that reaches further, or a shorter bead."
    words = [compared_words(question, observations, dealt), *lines, f"{averages} {apart}"]
    # A plate that broke first, or a test stopped early, is no limit of the gauge.
    gauge = gauge_only(question.response, _limits_seen(observations))
    return at_limit_verdict(counts, limit_words(question, observations), words, gauge=gauge)


def unknown_verdict(
    question: Question,
    observations: Sequence[Observation],
    why: str,
    dealt: Dealt | None = None,
) -> Verdict:
    """Return the verdict where the coupons at the limit leave no average to estimate.

    One level mostly beyond the limit is enough to compare how many reached it: there is no average
    of that level to wait for.
    """
    if is_mostly_at_limit(observations) or any(
        2 * one.beyond > one.coupons for one in counted(question, observations)
    ):
        return reaching_verdict(question, observations, (), dealt)
    if not _limits_seen(observations):
        return cannot_estimate(why, "", TOO_WIDE)
    return cannot_estimate(why, compared_words(question, observations, dealt))


def compared_words(
    question: Question, observations: Sequence[Observation], dealt: Dealt | None = None
) -> str:
    """Return how many of each level reached the limit, with the interval of the difference."""
    counts = counted(question, observations)
    if len(counts) < 2:
        only = ", ".join(f"{one.beyond} of {one.coupons} ({one.level})" for one in counts)
        return f"Nothing to compare yet: {only or 'none'} reached the limit, the other is not read."
    zero, one = counts
    lead = (
        f"Compared: how many reached the limit: {one.level} {one.beyond} of {one.coupons}, "
        f"{zero.level} {zero.beyond} of {zero.coupons}"
    )
    if any(o.setup is not None for o in observations):
        return f"{lead}{_by_setups(question, observations, dealt)}."
    found = difference_interval(one.beyond, one.coupons, zero.beyond, zero.coupons)
    return f"{lead}; {_points(found.estimate, found.low, found.high)}."


def _by_setups(question: Question, observations: Sequence[Observation], dealt: Dealt | None) -> str:
    """Return the interval from the shares of the set-ups, or what dealing them again says."""
    units: dict[int, list[Observation]] = {}
    for o in observations:
        if o.setup is not None and o.levels[question.factor.name] in (
            question.level,
            question.reference,
        ):
            units.setdefault(o.setup, []).append(o)
    groups = [units[one] for one in sorted(units)]
    rounds = [group[0].round for group in groups]
    beyond = [sum(isinf(o.high - o.low) for o in group) for group in groups]
    sizes = [len(group) for group in groups]
    new = [group[0].levels[question.factor.name] == question.level for group in groups]
    blocks = rounds if len(set(rounds)) > 1 else None
    if sum(beyond) in (0, sum(sizes)):
        every = "all of them did" if sum(beyond) else "none of them did"
        return f" ({every}: nothing tells the levels apart)"
    try:
        found = by_setups(beyond, sizes, new, rounds=blocks)
        if found.difference is None and dealt is not None:
            again = dealt()
            levels = _redealt(question, sorted(units), again)
            listed = again is None or again.listed
            found = by_setups(beyond, sizes, new, rounds=blocks, arrangements=levels, listed=listed)
    except NotEstimable as error:
        return f" ({error.words})"
    if found.difference is None:
        if found.shown != "shuffle" or found.shuffle is None:
            return f" ({found.why_no_interval})"
        judged = RARELY if found.shuffle.p < question.read.two_sided else OFTEN
        return (
            f". There is no interval ({found.why_no_interval}); dealing the gases to the set-ups "
            f"again, as the draw could have, {judged}"
        )
    low, high = (max(-1.0, min(1.0, end)) for end in found.interval(0.95))
    return f"; {_points(found.difference.estimate, low, high)}, set-up by set-up"


def _redealt(
    question: Question, setups: Sequence[int], dealt: Arrangements | None
) -> NDArray[np.int_] | None:
    """Return whether each set-up had the level, as the draw could have dealt it, (m, k)."""
    if dealt is None or len(question.factor.levels) != 2 or set(setups) != set(dealt.setups):
        return None
    columns = [dealt.setups.index(one) for one in setups]
    level = question.factor.levels.index(question.level)
    return np.asarray(dealt.levels[:, columns] == level, dtype=int)


def _points(estimate: float, low: float, high: float) -> str:
    cells = [fixed(100 * one, 0, signed=True) for one in (estimate, low, high)]
    return f"{cells[0]} points, 95 % interval {cells[1]} to {cells[2]}"
