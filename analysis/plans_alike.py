"""Plans of the same question: more or fewer rounds, set-ups and coupons, what they hold kept.

Rounds stay rounds.  Set-ups shuffled over the whole trial, or two of each level to a round, leave
more degrees of freedom for the same cost, but only by no longer taking out what drifts from round
to round; no chance worked out here knows of drift, so it must not choose that away.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from weldtrial.analysis.shape import Shape
from weldtrial.shared.orders import usual_limit


def shapes_within(shape: Shape, reach: int) -> Iterator[Shape]:
    """Yield the plans of at most `reach` coupons, spares and warm-ups included."""
    usable = reach - shape.extra
    if not shape.by_setups:
        yield from _shuffles(shape, usable)
        return
    kinds = shape.levels * shape.others
    least = 1 if shape.parts > 1 else shape.combos + shape.centre
    for number in range(1, usable // (kinds * least) + 1):
        one = with_units(shape, number)
        if one is None:
            continue
        if shape.parts > 1:
            # A part of the combinations is welded once in a set-up; more is another design.
            if one.coupons <= usable:
                yield one
            continue
        for replicates in range(1, usable // (one.setups or 1) + 1):
            sized = replace(one, replicates=replicates)
            if sized.coupons > usable:
                break
            yield sized


def with_units(shape: Shape, number: int) -> Shape | None:
    """Return the plan with `number` set-ups of each kind, None where they do not go round."""
    if shape.free:
        fits = number % shape.parts == 0 or shape.parts == 1
        return replace(shape, per_round=number) if fits else None
    rounds, over = divmod(number, shape.per_round)
    if over or (shape.parts_by_round and rounds % shape.parts):
        return None
    return replace(shape, rounds=rounds, first_at_most=usual_limit(rounds))


def _shuffles(shape: Shape, usable: int) -> Iterator[Shape]:
    if shape.parts > 1:
        # Blocks that hold a part each hold all the parts, once there are enough coupons.
        if shape.coupons <= usable:
            yield shape
        shape = replace(shape, combos=shape.combos * shape.parts, parts=1, parts_by_round=False)
    for replicates in range(1, usable + 1):
        one = replace(shape, replicates=replicates)
        if one.coupons > usable:
            return
        yield one
