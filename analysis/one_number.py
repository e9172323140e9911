"""Desirability over the allowed settings, for those who want one number.

Its ends are a rule of ours, stated wherever the number is: a response is worth nothing at its
limit and everything at the best fitted mean of the map; without a limit, nothing at the worst
fitted mean.  A goal that is a setting runs from one end of its range to the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from weldtrial.analysis.desirability import Wish, desirability
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.optimum_asked import Optimum
from weldtrial.analysis.window import Choice, choice_at
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.trial import Trial


@dataclass(frozen=True, slots=True, eq=False)
class OneNumber:
    """The most desirable setting.

    Attributes
    ----------
    wishes
        With the ends that were taken.
    value
        Of the desirability there, 0 to 1.
    worths
        Of each wish there, in order.
    values
        The fitted mean, or the setting, of each wish there, in order.
    """

    wishes: tuple[Wish, ...]
    choice: Choice
    value: float
    worths: tuple[float, ...]
    values: tuple[float, ...]


def most_desirable(trial: Trial, found: Optimum) -> OneNumber:
    """Return the setting of highest desirability (Derringer & Suich 1980).

    Raises
    ------
    NotEstimable
        When every setting is worth nothing in some wish.
    """
    window = found.window
    points = window.places.points()
    values = {one.response: one.mean(points) for one in found.fitted.surfaces}
    higher = {one.response: trial.response(one.response).better == "higher"
              for one in found.fitted.surfaces}  # fmt: skip
    higher[window.aim.best] = window.aim.toward == "higher"
    values[window.aim.best] = window.goal
    limits = {one.response: (one.at_least, one.at_most) for one in window.limits}
    wishes = tuple(
        wish
        for name, at in values.items()
        if (wish := _wish(name, at, limits.get(name, (None, None)), higher[name])) is not None
    )
    if not wishes:
        raise NotEstimable("no setting meets every limit on average, so all are worth nothing")
    blended = desirability(wishes, values)
    if float(blended.max()) <= 0:
        raise NotEstimable("every setting is worth nothing in some response")
    place = int(np.argmax(blended))
    return OneNumber(
        wishes,
        choice_at(window, place),
        float(blended[place]),
        tuple(float(one.worth(values[one.response][place : place + 1])[0]) for one in wishes),
        tuple(float(values[one.response][place]) for one in wishes),
    )


def _wish(
    name: str, values: Floats, limits: tuple[float | None, float | None], higher: bool
) -> Wish | None:
    """Return the wish by the rule; None where nothing could tell settings apart."""
    at_least, at_most = limits
    low, high = float(values.min()), float(values.max())
    if at_least is not None and at_most is not None:
        return Wish(name, (at_least + at_most) / 2, at_least, at_most)
    if at_least is not None or (at_most is None and higher):
        nothing = low if at_least is None else at_least
        if high <= nothing and at_least is not None:
            raise NotEstimable(f"no setting meets the limit on {name} on average")
        return None if high <= nothing else Wish(name, high, worthless_below=nothing)
    nothing = high if at_most is None else at_most
    if low >= nothing and at_most is not None:
        raise NotEstimable(f"no setting meets the limit on {name} on average")
    return None if low >= nothing else Wish(name, low, worthless_above=nothing)
