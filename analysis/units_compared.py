"""How many units of each level a comparison really rests on, of the coupons that were used."""

from __future__ import annotations

from collections.abc import Sequence

from weldtrial.analysis.observations import Observation
from weldtrial.analysis.question import Question


def units_compared(question: Question, observations: Sequence[Observation]) -> int:
    """Return units of the scarcer level that have one of the other level in their round.

    A unit is a set-up where the factor is changed between set-ups, else a coupon.  Rounds are
    fixed, so a round with one level left tells nothing of the change and does not count.
    """
    by_setup = question.factor.hard_to_change
    rounds: dict[int | None, dict[str, set[int | str | None]]] = {}
    for o in observations:
        sides = rounds.setdefault(o.round, {})
        unit = o.setup if by_setup and o.setup is not None else o.stamp
        sides.setdefault(o.levels[question.factor.name], set()).add(unit)
    pair = (question.level, question.reference)
    return sum(min(len(sides.get(level, ())) for level in pair) for sides in rounds.values())
