"""Pretend trials: readings drawn by chance for coupons that have only been planned.

What is planned comes in as plain values; nothing here knows how a design was made.  A coupon's
reading is the mean, the true change of its level, the effects given for other terms, what its
set-up adds, what the coupon adds and what the gauge adds, rounded to the gauge's step.  Every
number is drawn from PCG64 streams named by the seed and the trial's own number, so the same seed
gives the same trials, however they are split into batches or over processors.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import floor, hypot, inf

import numpy as np
from numpy.typing import NDArray

from weldtrial.analysis.linear import Floats
from weldtrial.analysis.observations import Observation
from weldtrial.shared.coding import coded_point, model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.plan import Plan
from weldtrial.shared.record import Coupon, Record
from weldtrial.shared.terms import Term

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Scatter:
    """How pretend readings scatter, in the response's unit; standard deviations, 0 or more.

    Attributes
    ----------
    coupon, setup, reading
        Between coupons of one set-up, between set-ups, between readings of one coupon.
    readings
        Readings of each coupon, at least 1.
    step
        Step of the gauge; None for readings that are not rounded.
    most, least
        Where the gauge stops; None where it does not.
    stops
        Distance between the stops that a failure is seen to lie between; None where it is read.
    """

    coupon: float
    setup: float = 0.0
    reading: float = 0.0
    readings: int = 1
    step: float | None = None
    most: float | None = None
    least: float | None = None
    stops: float | None = None

    @property
    def limited(self) -> bool:
        """Whether the gauge stops anywhere, or at stops only."""
        return self.most is not None or self.least is not None or self.stops is not None

    def spans(self, readings: Floats) -> tuple[Floats, Floats]:
        """Return the ends of every coupon's mean, `readings` (..., readings); see `span`."""
        low, high = readings.copy(), readings.copy()
        if self.stops is not None:
            low = np.floor(readings / self.stops) * self.stops
            high = low + self.stops
        if self.least is not None:
            under = readings < self.least
            low[under], high[under] = -inf, self.least
        if self.most is not None:
            over = readings > self.most
            low[over], high[over] = self.most, inf
        return low.mean(axis=-1), high.mean(axis=-1)

    def span(self, reading: float) -> tuple[float, float]:
        """Return between what a reading lies, once the gauge has stopped where it stops."""
        if self.most is not None and reading > self.most:
            return self.most, inf
        if self.least is not None and reading < self.least:
            return -inf, self.least
        if self.stops is not None:
            last = floor(reading / self.stops) * self.stops
            return last, last + self.stops
        return reading, reading


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true of a pretend trial.

    Attributes
    ----------
    mean
        True mean of the reference level, the other factors at their coded centre.
    change
        True change from the reference to the compared level, raw sign.
    effects
        Coefficients of further columns of the coded matrix by name, such as ``travel``; 0 unless
        given.
    """

    mean: float
    change: float = 0.0
    effects: Mapping[str, float] = field(default_factory=dict)


def coupons_of(plan: Plan) -> tuple[Coupon, ...]:
    """Return the counting coupons of a drawn plan, as a record holds them before they are read."""
    return tuple(
        Coupon(
            run.stamp,
            run.role,
            run.run,
            run.round,
            run.setup,
            run.levels,
            run.settings,
            welded=True,
        )
        for run in plan.of_role("count")
    )


def pretend_seal(seed: int) -> str:
    """Return a word to draw a pretend order from; no real seal is ever made so."""
    return hashlib.sha256(f"PRETEND {seed}".encode()).hexdigest()


def pretend_record(coupons: Sequence[Coupon]) -> Record:
    """Return a record of coupons that were welded as planned, under a pretend seal."""
    return Record(tuple(coupons), len(coupons), sealed="sealed", seal=pretend_seal(0))


def blank_observations(
    factors: Sequence[Factor], coupons: Sequence[Coupon]
) -> tuple[Observation, ...]:
    """Return one observation a coupon, with nothing read yet (a value of 0)."""
    return tuple(
        Observation(
            coupon.stamp,
            coupon.run,
            coupon.round,
            coupon.setup,
            coupon.levels,
            coded_point(factors, coupon.levels),
            0.0,
            (),
        )
        for coupon in coupons
    )


def stream(seed: int, *place: int) -> np.random.Generator:
    """Return the stream of random numbers that belongs to one place of a simulation."""
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=place)))


def true_values(
    truth: Truth,
    factors: Sequence[Factor],
    terms: Sequence[Term],
    compared: tuple[Factor, str, str],
    blanks: Sequence[Observation],
) -> Floats:
    """Return what each coupon would read on average, shape (n,).

    Parameters
    ----------
    truth
        The mean, the change and the effects.
    factors, terms
        Varied factors and the terms of the model.
    compared
        The compared factor, the level and its reference.  A numeric factor changes along a
        straight line through the two; other levels of a category read as the reference does.
    blanks
        One entry a coupon.

    Raises
    ------
    KeyError
        When an effect names no column of the model.
    """
    points = [o.point for o in blanks]
    model = model_matrix(factors, terms, points)
    values = np.full(len(blanks), float(truth.mean))
    for name, size in truth.effects.items():
        if name not in model.names:
            raise KeyError(name)
        values += size * model.matrix[:, model.names.index(name)]
    return values + truth.change * shares(compared, blanks)


def shares(compared: tuple[Factor, str, str], blanks: Sequence[Observation]) -> Floats:
    """Return which share of the change each coupon carries: 0 reference, 1 compared level."""
    factor, level, reference = compared
    if factor.kind == "category":
        return np.array([float(o.levels[factor.name] == level) for o in blanks])
    owner = next(iter(factor.settings))
    low, high = (factor.coded(factor.setting(one, owner), owner) for one in (reference, level))
    return np.array([(float(o.point[factor.name]) - low) / (high - low) for o in blanks])


def draw(
    scatter: Scatter, blanks: Sequence[Observation], trials: int, random: np.random.Generator
) -> Floats:
    """Draw what chance adds to every reading, shape (trials, n, readings); no rounding yet.

    Each trial takes one row of numbers, so trials drawn a few at a time are the same trials.
    """
    setups = [-1 if o.setup is None else o.setup for o in blanks]
    n, each = len(blanks), scatter.readings
    codes = np.unique(setups, return_inverse=True)[1]
    bottles = int(codes.max()) + 1 if any(o.setup is not None for o in blanks) else 0
    rows = random.standard_normal((trials, bottles + n + (n * each if scatter.reading else 0)))
    by_coupon = rows[:, bottles : bottles + n, None]
    if bottles:
        added = scatter.setup * rows[:, codes, None] + scatter.coupon * by_coupon
    else:
        # Nothing is hard to change: every coupon is set up anew and carries both kinds.
        added = hypot(scatter.coupon, scatter.setup) * by_coupon
    if scatter.reading:
        by_reading = rows[:, bottles + n :].reshape(trials, n, each)
        return np.asarray(added + scatter.reading * by_reading)
    return np.asarray(np.broadcast_to(added, (trials, n, each)))


def read(scatter: Scatter, true: Floats, added: Floats) -> Floats:
    """Return readings as a gauge shows them: `true` (n,) and `added` (..., n, readings)."""
    values = true[:, None] + added
    if scatter.step is None:
        return values
    return np.asarray(np.round(values / scatter.step) * scatter.step)
