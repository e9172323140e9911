"""What a metre of weld costs at every setting of a map, and the settings that none beats."""

from __future__ import annotations

import numpy as np

from weldtrial.analysis.linear import Floats
from weldtrial.analysis.optimum_asked import Fitted
from weldtrial.analysis.pareto import not_beaten
from weldtrial.analysis.settings_grid import Places
from weldtrial.analysis.window import Choice, Window, choice_at
from weldtrial.shared.goal import is_cost
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.trial import Trial
from weldtrial.shared.weld_cost import cost_per_metre

FRONT = 12
"""Places of the trade-off that are listed."""


def costs_at(trial: Trial, fitted: Fitted, places: Places) -> Floats | None:
    """Return the cost of a metre at every place; None where it is not known at all of them."""
    if trial.prices is None:
        return None
    whole = fitted.seen.whole
    found = [cost_per_metre(trial, whole(places.settings(one))) for one in range(len(places))]
    totals = [one.total for one in found if one is not None and one.total is not None]
    return np.array(totals) if len(totals) == len(places) else None


def must_be_priced(trial: Trial, costs: Floats | None) -> Floats:
    """Return the costs; refuse a goal that cannot be worked out.

    Raises
    ------
    NotEstimable
        When some setting has no price at all.
    """
    if costs is None:
        raise NotEstimable(
            "the goal is the cost of a metre of weld, and the prices given do not make one",
            hint="weldtrial help window  shows what [prices] may hold",
        )
    return costs


def front_of(trial: Trial, window: Window, costs: Floats | None) -> tuple[Choice, ...]:
    """Return places that none beats, best goal first, thinned to `FRONT`."""
    counted = [window.goal, np.round(window.chances.together, 2)]
    higher = [window.aim.toward == "higher", True]
    if is_cost(trial, window.aim.best):
        counted[0] = np.round(window.goal, 3)
    elif costs is not None:
        counted.append(np.round(costs, 3))
        higher.append(False)
    values = np.column_stack(counted)
    places = not_beaten(values, higher)
    # One setting for each set of counts: the others are its equals.
    _, first = np.unique(values[places], axis=0, return_index=True)
    kept = places[np.sort(first)]
    if len(kept) > FRONT:
        kept = kept[np.unique(np.linspace(0, len(kept) - 1, FRONT).astype(int))]
    return tuple(choice_at(window, int(one)) for one in kept)
