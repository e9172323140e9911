"""One contrast of a fit with readings at a limit: its test at any value and its interval.

The profile likelihood ratio of c'b = v is turned into a t, so that whatever is read off Student's t
elsewhere (a p, an interval, a multiple from Dunnett or Tukey) can be read off it here too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cache
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from weldtrial.analysis.censored import CensoredFit
from weldtrial.analysis.censored_climb import Coupons, climb, held
from weldtrial.analysis.censored_readings import Scaled
from weldtrial.analysis.linear import Floats, contrast_rows
from weldtrial.shared.problems import NotEstimable

FARTHEST = 1e12
"""Spreads from the estimate beyond which no end of an interval is looked for."""
MOST_STEPS = 120
"""Steps out before the end of an interval is taken to lie where the likelihood itself ends."""


class Curve(Protocol):
    """How far the data contradict c'b = value: t^2, 0 at the estimate."""

    def squared(self, value: float) -> float:
        """Return t^2 of the contrast being `value`."""


@dataclass(frozen=True, slots=True)
class Profile:
    """A contrast c'b: estimate, standard error for display, t and interval by its likelihood.

    Attributes
    ----------
    estimate
        Response unit; -inf or +inf where a whole level lies beyond a limit.
    se
        Wald standard error, for display only; inf where the estimate is not finite.
    df
        Degrees of freedom that t is looked up with.
    unit
        A length to search with, response unit, above 0.
    inner
        A finite value at which the likelihood is (all but) highest.
    """

    estimate: float
    se: float
    df: float
    unit: float
    inner: float
    curve: Curve = field(repr=False)

    def t_at(self, value: float) -> float:
        """Return t of the contrast being `value`, above 0 where the estimate is higher."""
        root = math.sqrt(max(0.0, self.curve.squared(value)))
        return root if self.estimate >= value else -root

    def p_at(self, value: float) -> float:
        """Return the two-sided p of the contrast being `value`."""
        return float(2.0 * special.stdtr(self.df, -abs(self.t_at(value))))

    @property
    def p(self) -> float:
        """Two-sided p of the contrast being zero."""
        return self.p_at(0.0)

    def critical(self, confidence: float = 0.95) -> float:
        """Return Student's t of a two-sided interval."""
        if not 0.0 < confidence < 1.0:
            raise ValueError(f"confidence must be between 0 and 1, got {confidence!r}")
        return float(special.stdtrit(self.df, 0.5 + confidence / 2.0))

    def interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Return the two-sided interval; an end is infinite where nothing bounds it.

        Parameters
        ----------
        confidence
            Between 0 and 1, both excluded.
        """
        return self.within(self.critical(confidence))

    def within(self, critical: float) -> tuple[float, float]:
        """Return the values whose t does not exceed `critical`, such as a Dunnett multiple."""
        low = -math.inf if self.estimate == -math.inf else self._end(critical, -1.0)
        high = math.inf if self.estimate == math.inf else self._end(critical, 1.0)
        return low, high

    def _end(self, critical: float, side: float) -> float:
        """Walk out in growing steps until t passes `critical`, then close in."""

        @cache  # what bounds the end must read the same when it is looked at again
        def short(value: float) -> float:
            return math.sqrt(max(0.0, self.curve.squared(value))) - critical

        inside, step = self.inner, self.unit * min(critical, 3.0)
        if math.isfinite(self.se) and self.se > 0.0:
            # a little past where a t interval would end, if the standard error can be believed
            step = min(1.1 * self.se * critical, 10.0 * step)
        wall = side * math.inf
        for _ in range(MOST_STEPS):
            outside = inside + side * step
            found = short(outside)
            if 0.0 <= found < math.inf:
                # a hundred-millionth of a millionth of the step: well below what anyone rounds to
                end = optimize.brentq(short, inside, outside, xtol=1e-12 * step, rtol=1e-14)
                return float(end)
            if found < 0.0:
                inside, step = outside, 2.0 * step
                if step > FARTHEST * self.unit:
                    return side * math.inf
            else:  # no likelihood so far out: feel for where it ends
                wall = outside
            step = min(step, 0.5 * abs(wall - inside))
        return wall


class _Ratio:
    """t^2 of c'b = v by the profile likelihood ratio, climbing from the last place it stood."""

    def __init__(self, fit: CensoredFit, contrast: Floats) -> None:
        self.fit, self.contrast = fit, contrast
        self.line = fit.scaled.contrast(contrast)
        self.free, self.shift = held(fit.scaled.q, self.line)
        self.rest = np.linalg.svd(self.line[None, :])[2][1:]
        self.start = (fit.peaks.gamma @ self.rest.T, fit.peaks.theta)

    def squared(self, value: float) -> float:
        """Return t^2 of the contrast being `value`."""
        scaled, n = self.fit.scaled, self.fit.effective
        at = scaled.value(self.contrast, np.array([value]))
        moved = scaled.readings.moved(at[:, None] * self.shift, np.ones(1))
        peaks = climb(Coupons(self.free, moved), self.start)
        if math.isfinite(float(peaks.log_likelihood[0])):
            self.start = (peaks.gamma, peaks.theta)
        lost = 2.0 * float(self.fit.peaks.log_likelihood[0] - peaks.log_likelihood[0])
        return self.fit.df * math.expm1(min(max(lost, 0.0) / n, 700.0))


def profile(fit: CensoredFit, contrast: ArrayLike) -> Profile:
    """Return one contrast (p,) of a fit, to be tested at any value.

    Raises
    ------
    NotEstimable
        Both sides of the contrast lie beyond limits, so that it could be anything.
    """
    row = contrast_rows(contrast, fit.p)
    if len(row) != 1:
        raise ValueError(f"a profile takes one contrast, got {len(row)}")
    inner = float(row[0] @ fit.coefficients)
    estimate = runs_away(fit.x, fit.scaled, row[0]) or inner
    finite = math.isfinite(estimate)
    se = float((row @ fit.covariance @ row.T)[0, 0]) ** 0.5 if finite else math.inf
    unit = fit.sigma * float(np.sqrt(np.sum(fit.scaled.contrast(row[0]) ** 2)))
    return Profile(estimate, se, fit.df, unit, inner, _Ratio(fit, row[0]))


def runs_away(x: Floats, scaled: Scaled, contrast: Floats) -> float:
    """Return +inf or -inf where nothing holds the estimate of a contrast, else 0.

    The likelihood rises for ever along directions d with x'd = 0 for every coupon that was read,
    not below 0 for those above their limit, not above 0 for those below theirs (Silvapulle &
    Burridge 1986); two small linear programs ask how c'd can go along them.

    Raises
    ------
    NotEstimable
        It can go both ways.
    """
    readings = scaled.readings
    known = (readings.exact | readings.inside)[0]
    q, line = scaled.q, scaled.contrast(contrast)
    if np.linalg.matrix_rank(q[known], tol=1e-9) == q.shape[1]:
        return 0.0
    signs = np.where(readings.above[0], -1.0, 1.0)[~known]
    reach = []
    for side in (-1.0, 1.0):
        found = optimize.linprog(
            side * line / np.linalg.norm(line),
            A_ub=signs[:, None] * q[~known],
            b_ub=np.zeros(int((~known).sum())),
            A_eq=q[known] if known.any() else None,
            b_eq=np.zeros(int(known.sum())) if known.any() else None,
            bounds=(-1.0, 1.0),
        )
        reach.append(found.fun is not None and -float(found.fun) > 1e-7)
    if all(reach):
        raise NotEstimable(
            "both of the levels compared lie wholly beyond the gauge limit, so their difference "
            "could be anything; compared instead: how many reached it",
            hint="to tell them apart use a gauge that reaches further, or a smaller weld",
        )
    return math.inf if reach[0] else -math.inf if reach[1] else 0.0
