"""What a metre of weld costs at every setting of a map, and the settings that none beats."""

from __future__ import annotations

import numpy as np

from weldtrial.analysis.linear import Floats
from weldtrial.analysis.optimum_asked import Fitted
from weldtrial.analysis.pareto import not_beaten
from weldtrial.analysis.settings_grid import Places
from weldtrial.analysis.window import Choice, Window, best, choice_at
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


def _shown(chance: Floats) -> Floats:
    """Return chances in the per cents that people are shown.

    Whole ones, but never rounded up to a multiple of five: 79.6 is not yet the 80 that may have
    been asked for.
    """
    whole = np.round(100 * chance)
    short = (whole % 5 == 0) & (100 * chance < whole - 1e-9)
    return np.asarray(np.where(short, np.floor(1000 * chance + 1e-9) / 10, whole))


def front_of(trial: Trial, window: Window, costs: Floats | None) -> tuple[Choice, ...]:
    """Return places that none beats, best goal first, thinned to `FRONT`."""
    # The last digits of a sum are no step of the goal, and people are shown per cents.
    counted = [np.round(window.goal, 9), _shown(window.chances.together)]
    higher = [window.aim.toward == "higher", True]
    if is_cost(trial, window.aim.best):
        counted[0] = np.round(window.goal, 3)
    elif costs is not None:
        counted.append(np.round(costs, 3))
        higher.append(False)
    values = np.column_stack(counted)
    places = not_beaten(values, higher)
    # One setting for each set of counts, the likeliest of its equals.
    top = best(window)
    other = np.array([top is None or one != top.place for one in places])
    likely = places[np.lexsort((other, -window.chances.together[places]))]
    _, first = np.unique(values[likely], axis=0, return_index=True)
    alone = set(likely[first].tolist())
    kept = np.array([one for one in places if one in alone])
    if len(kept) > FRONT:
        thin = set(kept[np.linspace(0, len(kept) - 1, FRONT).astype(int)].tolist())
        # What is recommended is never thinned away.
        keep = thin | ({top.place} if top is not None else set())
        kept = np.array([one for one in kept if one in keep])
    return tuple(choice_at(window, int(one)) for one in kept)
