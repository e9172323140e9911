"""Comparing a level with its reference: difference, percent, ratio, evidence for the verdict."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from weldtrial.analysis.findings import MeanRow
from weldtrial.analysis.judge import Bounds, Evidence
from weldtrial.analysis.levels import ONCE, Levels
from weldtrial.analysis.limited import ratio_limited
from weldtrial.analysis.linear import Estimate, Floats
from weldtrial.analysis.model import BARE, ModelFit
from weldtrial.analysis.model_frame import Frame, Matrix, Vector
from weldtrial.analysis.simultaneous import Together, against_reference, alone, among_all
from weldtrial.shared.factors import Factor
from weldtrial.shared.fair import Reading, readings_of, shared_control
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Trial

MOST_SETTINGS = 5
"""Settings of a numeric factor beyond which it was measured rather than chosen."""


@dataclass(frozen=True, slots=True)
class Contrast:
    """A level against its reference, all in the response's unit.

    Attributes
    ----------
    level, reference
        Estimates of the two adjusted means.
    difference
        Estimate of level minus reference.
    evidence
        Signed so that minus is worse, margins included.
    together
        How it is read when several comparisons are looked at together.
    margin
        The margin in units, None without one.
    fit, one, zero
        The fit, and its vectors of the two adjusted means.
    """

    level: Estimate
    reference: Estimate
    difference: Estimate
    together: Together
    evidence: Evidence
    margin: float | None
    fit: ModelFit = field(repr=False)
    one: Floats = field(repr=False, compare=False)
    zero: Floats = field(repr=False, compare=False)

    @property
    def ratio(self) -> tuple[float, float, float] | None:
        """Level / reference with its 95 % Fieller interval, None where that is not finite.

        Worked out when asked for: past a gauge limit it takes as long as all the rest.
        """
        critical = self.together.critical95
        if self.fit.limited:
            return ratio_limited(self.fit.estimate, self.one, self.zero, critical)
        return fieller(self.fit, self.one, self.zero, critical)


@dataclass(frozen=True, slots=True)
class Asked:
    """A level compared with a reference, at one reading of fair where both are welded."""

    factor: Factor
    level: str
    reference: str
    at: Reading | None = None


def contrast(
    fit: ModelFit,
    factor: Factor,
    level: str,
    response: Response,
    reference_level: str = "",
    read: Levels = ONCE,
    at: Reading | None = None,
) -> Contrast:
    """Compare `level` of a factor with its reference level, or with the one named.

    With more than two levels the comparison is one of several, read together: against the control
    where the factor has one, else among all pairs.  `read` holds the levels of this look.  With
    `at` it is one of the two readings of fair, which are read together.
    """
    one = fit.mean_vector(factor, level, at)
    zero = fit.mean_vector(factor, reference_level or factor.reference, at)
    reference = fit.estimate(zero)
    difference = fit.estimate(one - zero)
    together = (
        _together(fit, factor, difference, read)
        if at is None
        else against_reference(difference, _of_both(fit, factor, level, at), read)
    )
    return Contrast(
        level=fit.estimate(one),
        reference=reference,
        difference=difference,
        together=together,
        evidence=evidence(fit, one, zero, response, together),
        margin=response.margin.in_units(reference.estimate) if response.margin else None,
        fit=fit,
        one=one,
        zero=zero,
    )


def compared_factors(trial: Trial) -> tuple[Factor, ...]:
    """Return the factors whose levels are compared by verdict.

    Every category, the hard to change first: it is what the set-ups were planned for, and what
    checks, round gaps and the shuffle test are about.  A trial planned here to compare also
    compares the highest and lowest setting of what is hard to change, since it is sized for that,
    and of its one factor where there is no other.  Nobody asks about what is only balanced over.
    """
    asked = [factor for factor in trial.varied if factor not in trial.balanced_over]
    hard_first = sorted(asked, key=lambda factor: not factor.hard_to_change)
    categories = tuple(factor for factor in hard_first if factor.kind == "category")
    if trial.purpose != "compare" or trial.adopted is not None:
        return categories
    chosen = tuple(f for f in hard_first if f in categories or f.hard_to_change)
    chosen = chosen or (tuple(asked) if len(asked) == 1 else ())
    return tuple(f for f in chosen if f.kind == "category" or len(f.levels) == 2)


def pairs_of(factor: Factor) -> tuple[tuple[str, str], ...]:
    """Return the (level, reference) pairs that are compared: with the control, or all."""
    if factor.control is not None or len(factor.levels) == 2:
        return tuple((one, factor.reference) for one in factor.levels if one != factor.reference)
    return tuple((later, earlier) for earlier, later in combinations(factor.levels, 2))


def asked_of(trial: Trial) -> tuple[Asked, ...]:
    """Return every comparison that a trial is judged by, the hard to change first.

    With both readings of fair the gas they turn on is compared twice, ``own`` first.
    """
    return tuple(
        Asked(factor, level, reference, at)
        for factor in compared_factors(trial)
        for at in readings_at(trial, factor)
        for level, reference in pairs_of(factor)
    )


def readings_at(trial: Trial, factor: Factor) -> tuple[Reading | None, ...]:
    """Return the readings of fair that a factor is compared at: both, or none in particular."""
    mine = tuple(one for one in readings_of(trial) if one.slider.slides_with == factor.name)
    return mine or (None,)


def _together(fit: ModelFit, factor: Factor, difference: Estimate, read: Levels) -> Together:
    if len(factor.levels) < 3:
        return alone(difference, read)
    if factor.control is None:
        return among_all(difference, len(factor.levels), read)
    zero = fit.mean_vector(factor, factor.control)
    rows = np.array([fit.mean_vector(factor, level) - zero for level, _ in pairs_of(factor)])
    return against_reference(difference, rows @ fit.core.covariance @ rows.T, read)


def both_vectors(fit: ModelFit | Frame, factor: Factor, level: str, at: Reading) -> Matrix:
    """Return the gap of a gas under either reading of fair, shape (2, p)."""
    return np.array(
        [
            fit.mean_vector(factor, level, one) - fit.mean_vector(factor, factor.reference, one)
            for one in at.both
        ]
    )


def _of_both(fit: ModelFit, factor: Factor, level: str, at: Reading) -> Matrix:
    rows = both_vectors(fit, factor, level, at)
    return np.asarray(rows @ fit.core.covariance @ rows.T)


def bounds(found: Estimate, sign: int = 1, together: Together | None = None) -> Bounds:
    """Return the interval ends of an estimate times `sign`, simultaneous where asked."""
    read = together or alone(found)
    result = Bounds(*read.interval(found, 0.95), *read.interval(found, 0.90))
    return result if sign > 0 else result.flipped()


def evidence(
    fit: ModelFit, one: Vector, zero: Vector, response: Response, together: Together | None = None
) -> Evidence:
    """Return what the verdict rules look at.

    A percent margin m is tested as mean(level) - (1 - m) mean(reference), so that the reference
    mean is not taken as known (the linear form of Fieller's argument; see also Hauschke et al.
    1999, J. Biopharm. Stat. 9, 97-110).
    """
    sign = response.sign
    change = bounds(fit.estimate(one - zero), sign, together)
    margin = response.margin
    if margin is None or not margin.percent:
        return Evidence.of(change, margin.value if margin else None)
    loss = fit.estimate(one - (1 - sign * margin.value) * zero)
    gain = fit.estimate(one - (1 + sign * margin.value) * zero)
    return Evidence(change, bounds(loss, sign, together), bounds(gain, sign, together))


def fieller(
    fit: ModelFit, one: Vector, zero: Vector, critical: float
) -> tuple[float, float, float] | None:
    """Return the ratio of two means with Fieller's interval, None when that is unbounded.

    Parameters
    ----------
    fit
        The fit that the means come from.
    one, zero
        Contrasts of the two means, `zero` in the denominator.
    critical
        Multiple of the standard error, such as Student's t at 95 %.

    References
    ----------
    Fieller, E. C. (1954), J. R. Stat. Soc. B 16, 175-185.
    """
    both = np.vstack([one, zero])
    a, b = both @ fit.core.coefficients
    if b == 0:
        return None
    v = both @ fit.core.covariance @ both.T
    t2 = critical**2
    square = b * b - t2 * v[1, 1]
    middle = a * b - t2 * v[0, 1]
    inside = middle**2 - square * (a * a - t2 * v[0, 0])
    if square <= 0 or inside < 0:
        return None
    root = math.sqrt(inside)
    return float(a / b), float((middle - root) / square), float((middle + root) / square)


def mean_rows(
    fit: ModelFit, confidence: float = 0.95, asked: Sequence[Asked] = ()
) -> tuple[MeanRow, ...]:
    """Return the adjusted mean of every level of every varied factor that could be estimated.

    Left out for numbers of more settings than anyone chose: those are read off the coefficients.
    Where both readings of fair are `asked`, the gas has a row at each, and what slides has none: an
    average over the two would answer neither.
    """
    both = [one for one in asked if one.at is not None]
    rows: list[MeanRow] = []
    if fit.method == BARE:
        return ()
    for factor in fit.factors:
        measured = factor.kind == "numeric" and len(factor.levels) > MOST_SETTINGS
        if factor.name not in fit.model.columns or measured:
            continue
        if any(one.at is not None and factor == one.at.slider for one in both):
            continue
        if any(factor == one.factor for one in both):
            rows += _rows_of_both(fit, both, confidence)
            continue
        for level in factor.levels:
            try:
                found = fit.estimate(fit.mean_vector(factor, level))
            except NotEstimable:
                if not fit.limited:
                    raise
                continue
            rows.append(MeanRow(factor.name, level, found.estimate, *found.interval(confidence)))
    return tuple(rows)


def _rows_of_both(fit: ModelFit, both: Sequence[Asked], confidence: float) -> list[MeanRow]:
    """Return the mean of each gas at each reading; a control welded alike in both has one."""
    rows: dict[str, MeanRow] = {}
    for one in both:
        assert one.at is not None
        shared = shared_control(one.at.slider, one.factor)
        for level in (one.reference, one.level):
            alike = shared and level == one.factor.reference
            name = level if alike else f"{level} {one.at.words}"
            found = fit.estimate(fit.mean_vector(one.factor, level, one.at))
            row = MeanRow(one.factor.name, name, found.estimate, *found.interval(confidence))
            rows.setdefault(name, row)
    return list(rows.values())
