"""Planning from a notebook: factors in, a drawn plan as a data frame out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from weldtrial.doe.layout import make_layout
from weldtrial.doe.make_plan import make_plan
from weldtrial.shared.canonical import fingerprint
from weldtrial.shared.columns import factor_of
from weldtrial.shared.plan import Plan
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Budget, Design, Trial


def plan_frame(
    factors: Mapping[str, Sequence[str | float]],
    *,
    hard: Sequence[str] = (),
    rounds: int | None = None,
    replicates: int | None = None,
    spare: int = 0,
    warm_up: int = 0,
    words: str = "",
    dice: tuple[int, ...] = (),
) -> pd.DataFrame:
    """Draw a plan, one row a coupon in the order to weld them.

    Parameters
    ----------
    factors
        Levels of each factor: texts for a category, numbers for a setting.
    hard
        Names of factors that end a set-up when they are changed.
    rounds
        Rounds (every hard level set up once); blocks when nothing is hard to change.
    replicates
        How often each combination is welded in a set-up, or in all when nothing is hard.
    spare, warm_up
        Extra coupons.
    words
        The question in words: with the design it makes the fingerprint the order is drawn from,
        so other words give another order.
    dice
        Numbers thrown where someone could see them, which stir the order too.

    Returns
    -------
    DataFrame
        Columns run, round, setup, place, stamp, role and one for each factor.

    Raises
    ------
    PlanRefused, NotYet
        As `weldtrial.doe.layout.make_layout`.
    """
    made = tuple(
        factor_of(name, levels, hard=name in hard, control=None) for name, levels in factors.items()
    )
    trial = Trial(
        title=words or "a plan from a notebook",
        factors=made,
        responses=(Response("result", "1"),),
        design=Design(rounds=rounds, replicates=replicates),
        budget=Budget(spare=spare, warm_up=warm_up),
    )
    layout = make_layout(trial)
    seal = fingerprint({"question": words, "design": layout.as_plain()})
    return as_frame(make_plan(trial, seal, dice))


def as_frame(plan: Plan) -> pd.DataFrame:
    """Return a drawn plan as a frame, one row a coupon."""
    rows = [
        {
            "run": run.run,
            "round": run.round,
            "setup": run.setup,
            "place": run.place,
            "stamp": run.stamp,
            "role": run.role,
            **run.settings,
        }
        for run in plan.runs
    ]
    return pd.DataFrame(rows)
