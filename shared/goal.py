"""What ``[goal]`` asks for: the share of coupons that must pass, and the model that follows."""

from __future__ import annotations

import re
from collections.abc import Sequence

from weldtrial.shared.factors import Factor
from weldtrial.shared.trial import Goal, Trial

USUAL_SHARE = 0.8
"""What is asked where the file says nothing: 8 coupons in 10."""

COST = "cost"
"""What a goal names to push the cost of a metre of weld, where ``[prices]`` give one."""

_KEEP = re.compile(r".*\bat least (\d+) coupons? in (\d+)\b.*", re.DOTALL)


def is_cost(trial: Trial, best: str) -> bool:
    """Tell whether a goal is the cost of a metre, and no factor or response of that name."""
    return best == COST and COST not in {
        *(one.name for one in trial.factors),
        *(one.name for one in trial.responses),
    }


def share_in(keep: str) -> float | None:
    """Return the share that a ``keep`` speaks of, above 0 and below 1; None where it has none."""
    found = _KEEP.fullmatch(keep)
    if found is None:
        return None
    good, of = int(found[1][:6]), int(found[2][:6])
    return good / of if 0 < good < of else None


def asked_share(goal: Goal | None) -> float:
    """Return the share of coupons that must meet every limit."""
    found = share_in(goal.keep) if goal is not None else None
    return USUAL_SHARE if found is None else found


def is_pair(pair: str, factors: Sequence[Factor]) -> bool:
    """Tell whether a text names two different varied factors with a colon between them."""
    names = [name.strip() for name in pair.split(":")]
    known = {factor.name for factor in factors if factor.varied}
    return len(names) == 2 and names[0] != names[1] and set(names) <= known


def goal_terms(goal: Goal, factors: Sequence[Factor]) -> tuple[str, ...]:
    """Return the terms beyond the main effects that a goal asks for: its pairs, and squares.

    A goal that asks for neither has none, and the model stays what the design is made for.
    """
    pairs = [
        ":".join(name.strip() for name in pair.split(":"))
        for pair in goal.pairs
        if is_pair(pair, factors)
    ]
    bent = [one.name for one in factors if one.varied and one.kind == "numeric"]
    return (*pairs, *(f"{name}^2" for name in bent if goal.curves))
