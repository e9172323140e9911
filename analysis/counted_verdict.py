"""The verdict of one pretend trial of passes or grades, by the functions that judge a real one.

Where coupons were dealt one by one a verdict is kept by all that it turns on, and worded anew for
what has not been seen before.  Outcomes of passes fall into classes (`counted_many.outcome_places`,
which agrees with the intervals outcome by outcome): one of each class is judged and worded, and
every outcome whose class leaves open how far it lies beyond the margin.  Grades fall into classes
by the p of their model (by their ranks, where those stand in) and which way they point.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Sequence

from weldtrial.analysis import respond_grades, respond_passes
from weldtrial.analysis.context import Context
from weldtrial.analysis.counted import Counted, Pair, judged, pairs
from weldtrial.analysis.counted_many import graded_class, outcome_places, rule_of
from weldtrial.analysis.dealt import unit_of
from weldtrial.analysis.judge import CODES
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.question import Question
from weldtrial.analysis.rehearse import Ended
from weldtrial.analysis.units_compared import units_compared

_OPEN = ("worse_margin_unsettled", "better_margin_unsettled")
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
        rows = _graded_class(context, pair, observations)
    else:
        rows = _class_of(pair, pair.of(observations))
    units = units_compared(question, observations)
    setups = any(o.setup is not None for o in observations)
    return (
        repr((pair, context.trial.purpose, context.shuffled, context.looks)),
        units,
        setups,
        frozenset(rows.items()),
    )


def _graded_class(
    context: Context, pair: Pair, observations: Sequence[Observation]
) -> Counter[Hashable]:
    """Return the class of graded coupons, or their counts where nothing can be told."""
    mine = pair.of(observations)
    if len(set(pair.new(mine))) == 2:
        place, better = graded_class(context, pair, observations, rule_of(pair))
        if CODES[place] != "cannot_tell":
            return Counter([(place, better)])
    return Counter((tuple(sorted(o.levels.items())), o.value) for o in observations)


def _class_of(pair: Pair, mine: Sequence[Observation]) -> Counter[Hashable]:
    """Return the class of an outcome of passes, or its counts where the class is not enough."""
    rows: Counter[Hashable] = Counter(zip((o.value for o in mine), pair.new(mine), strict=True))
    of, of_reference = (rows[0.0, new] + rows[1.0, new] for new in (True, False))
    if not of or not of_reference:
        return rows
    places = outcome_places(of, of_reference, rule_of(pair))
    place = int(places[rows[1.0, True], rows[1.0, False]])
    if CODES[place] in _OPEN:
        return rows
    worse = rows[1.0, True] * of_reference < rows[1.0, False] * of
    return Counter([(place, worse, of, of_reference)])
