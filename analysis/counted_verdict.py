"""The verdict of one pretend trial of passes or grades, by the functions that judge a real one.

Few tables of passes and grades differ, so where coupons were dealt one by one a verdict is kept by
all that it turns on.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Sequence

from weldtrial.analysis import respond_grades, respond_passes
from weldtrial.analysis.context import Context
from weldtrial.analysis.counted import Counted, Pair, judged, pairs
from weldtrial.analysis.dealt import unit_of
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.question import Question
from weldtrial.analysis.rehearse import Ended
from weldtrial.analysis.units_compared import units_compared

MOST_KEPT = 100_000
_KEPT: dict[Hashable, Ended] = {}


def counted_pair(context: Context, question: Question) -> Pair:
    """Return the comparison as the analysis of passes and grades takes it."""
    return next(
        pair
        for pair in pairs(context, question.response)
        if (pair.factor.name, pair.level, pair.reference)
        == (question.factor.name, question.level, question.reference)
    )


def counted_numbers(context: Context, pair: Pair, observations: Sequence[Observation]) -> Counted:
    """Return the numbers of a comparison as `analyse` works them out."""
    if pair.response.kind == "graded":
        return respond_grades.numbers(context, pair, observations)
    return respond_passes.numbers(context, pair, observations)


def counted_verdict(
    context: Context, question: Question, observations: Sequence[Observation]
) -> Ended:
    """Return the verdict as `analyse` words it."""
    pair = counted_pair(context, question)
    key = _key(context, question, pair, observations)
    if key is not None and key in _KEPT:
        return _KEPT[key]
    found = counted_numbers(context, pair, observations)
    ended = Ended(judged(context, pair, found, observations, ()).verdict)
    if key is not None:
        if len(_KEPT) >= MOST_KEPT:
            _KEPT.clear()
        _KEPT[key] = ended
    return ended


def _key(
    context: Context, question: Question, pair: Pair, observations: Sequence[Observation]
) -> Hashable | None:
    """Return what the verdict turns on where coupons were dealt one by one, else None."""
    if unit_of(pair.factor, pair.of(observations)) != "coupons":
        return None
    rows: Counter[Hashable]
    if pair.response.kind == "graded":
        rows = Counter((tuple(sorted(o.levels.items())), o.value) for o in observations)
    else:
        mine = pair.of(observations)
        rows = Counter(zip((o.value for o in mine), pair.new(mine), strict=True))
    units = units_compared(question, observations)
    setups = any(o.setup is not None for o in observations)
    return (
        repr((pair, context.trial.purpose, context.shuffled, context.looks)),
        units,
        setups,
        frozenset(rows.items()),
    )
