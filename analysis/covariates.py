"""Comparisons adjusted for what was measured on each coupon, beside the plain one.

Adjusting takes out what a covariate explains, and sharpens the comparison where it varies by
chance.  Where the gas itself moves the covariate (a hotter plate, a thicker throat) adjusting
takes out part of what the gas does: the adjusted answer is then another question, and a warning
says so (Cochran 1957, Biometrics 13, 261-281; Cox & McCullagh 1982, Biometrics 38, 541-561;
citations from memory).  The plain comparison is the answer either way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from weldtrial.analysis.findings import Check
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.question import Question
from weldtrial.analysis.view import View
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.record import Coupon, Record
from weldtrial.shared.responses import Response
from weldtrial.shared.rounding import decimals_for, fixed, spaced
from weldtrial.shared.trial import Trial
from weldtrial.shared.welded_order import parse_started

UNITS = {
    "amps": "A", "arc_s": "s", "bead_mm": "mm", "throat_mm": "mm", "plate_temp_C": "°C",
    "started": "min",
}  # fmt: skip
"""Columns of the weld log that may be adjusted for, besides held settings, and their units."""
MOVED = 0.05
"""Level at which a covariate is said to be moved by what is compared."""


@dataclass(frozen=True, slots=True)
class Covariate:
    """Something measured on coupons, by stamp, in `unit`."""

    name: str
    unit: str
    values: dict[str, float]


def covariate_views(
    trial: Trial, question: Question, observations: Sequence[Observation], record: Record
) -> tuple[View, ...]:
    """Return the comparison adjusted for each covariate of ``rules.adjust_for``.

    None of them decides; the coupons that carry no value are left out, and counted.
    """
    found = (_covariate(trial, record, name) for name in trial.rules.adjust_for)
    return tuple(_view(question, observations, one) for one in found)


def _covariate(trial: Trial, record: Record, name: str) -> Covariate:
    unit = UNITS.get(name) or next((h.unit for h in trial.held if h.name == name), "")
    values = {}
    for coupon in record.coupons:
        value = _minutes(coupon) if name == "started" else coupon.measured.get(name)
        value = coupon.as_run.get(name) if value is None else value
        if value is not None:
            values[coupon.stamp] = float(value)
    return Covariate(name, unit, values)


def _minutes(coupon: Coupon) -> float | None:
    started = parse_started(coupon.started)
    if started is None:
        return None
    return started.minutes + (0 if started.day is None else 1440 * started.day.toordinal())


def _view(question: Question, observations: Sequence[Observation], one: Covariate) -> View:
    name = f"adjusted for {one.name}"
    mine = [o for o in observations if o.stamp in one.values]
    column = np.array([one.values[o.stamp] for o in mine])
    few = len(mine) < 3 or (np.ptp(column) == 0 if len(mine) else True)
    beside = None
    if not few:
        scaled = (column - column.mean()) / (np.ptp(column) / 2)
        beside = question.alternative(
            name, f"{name} ({len(mine)} coupons)", mine, extra=[scaled.tolist()]
        )
    if beside is None:
        words = f"No comparison adjusted for {one.name}: {_why_none(mine, column, observations)}."
        return View(Check(name, None, words), decides=False)
    moved = _moved(question, mine, one)
    left = (
        "" if len(mine) == len(observations) else f" ({len(mine)} of {len(observations)} coupons)"
    )
    if moved is None:
        words = (
            f"{one.name} is about the same for both, so the comparison adjusted for it{left} asks "
            "the same question."
        )
        return View(Check(name, True, words), beside, decides=False)
    words = (
        f"{one.name} differs with {question.factor.name} itself ({moved}): the comparison "
        f"adjusted for it{left} takes out part of what {question.level} does, and is no answer "
        "to the question asked."
    )
    return View(Check(name, False, words), beside, decides=False)


def _why_none(
    mine: Sequence[Observation], column: np.ndarray, observations: Sequence[Observation]
) -> str:
    if len(mine) < 3:
        carry = "no coupon carries" if not mine else f"{len(mine)} of {len(observations)} carry"
        return f"{carry} it"
    if np.ptp(column) == 0:
        return f"it is {column[0]:g} on every coupon that carries it"
    return "it cannot be told apart from what was set, or leaves no scatter to judge by"


def _moved(question: Question, mine: Sequence[Observation], one: Covariate) -> str | None:
    """Return how far apart the levels are in the covariate, None where that is not shown."""
    as_response = replace(question, response=Response(one.name, one.unit))
    values = [replace(o, value=one.values[o.stamp], readings=()) for o in mine]
    try:
        found = as_response.alternative("", "", values)
    except NotEstimable:
        return None
    if found is None or found.p >= MOVED:
        return None
    places = decimals_for((found.ci_high - found.ci_low) / 2)
    return (
        f"{question.level} \N{MINUS SIGN} {question.reference} = "
        f"{fixed(found.difference, places, signed=True)}{spaced(one.unit)}, 95 % interval "
        f"{fixed(found.ci_low, places, signed=True)} to "
        f"{fixed(found.ci_high, places, signed=True)}"
    )
