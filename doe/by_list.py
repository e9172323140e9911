"""Laying out the designs that are listed coupon by coupon: families by name, and searched ones."""

from __future__ import annotations

from weldtrial.doe.by_adding import by_adding
from weldtrial.doe.by_family import by_family
from weldtrial.doe.by_search import by_search
from weldtrial.doe.laid_out import Layout
from weldtrial.shared.trial import Trial


def by_list(trial: Trial) -> Layout:
    """Lay out a trial whose ``design.kind`` is neither all combinations nor a two-level fraction.

    Raises
    ------
    PlanRefused
        When there is no such design of these factors, or it does not fit the coupons.
    """
    if trial.design.kind == "added":
        return by_adding(trial)
    return by_search(trial) if trial.design.kind == "optimal" else by_family(trial)
