"""Fits and estimates where readings lie beyond a gauge limit or between two stops.

A fit of that kind answers by its profile likelihood, turned into a t; everything else that reads
an estimate (intervals, verdicts, several levels together, looks) goes through the same surface.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from math import inf, isfinite

import numpy as np
from scipy import optimize, special

from weldtrial.analysis.censored import CensoredFit, fit_censored
from weldtrial.analysis.censored_profile import Profile, profile
from weldtrial.analysis.censored_setups import CensoredSetupFit, fit_censored_setups, profile_setups
from weldtrial.analysis.linear import Estimate, Floats, TermTest
from weldtrial.analysis.model_frame import BY_SETUPS, Frame
from weldtrial.shared.problems import NotEstimable

CENSORED = "censored-normal"
CENSORED_SETUPS = "censored-normal by set-ups"
METHODS = (CENSORED, CENSORED_SETUPS)
LimitFit = CensoredFit | CensoredSetupFit


@dataclass(frozen=True, slots=True)
class Profiled(Estimate):
    """An estimate whose t, p and interval come from its profile likelihood.

    `estimate` is infinite, and one end of the interval with it, where a whole level lies beyond
    the limit.
    """

    profile: Profile = field(kw_only=True, repr=False)

    @property
    def ratio(self) -> float:
        """T of the contrast being zero, signed."""
        return self.profile.t_at(0.0)

    def within(self, critical: float) -> tuple[float, float]:
        """Return the values whose t does not exceed `critical`."""
        return _within(self.profile, critical)


@lru_cache(maxsize=512)
def _within(found: Profile, critical: float) -> tuple[float, float]:
    """Return an interval, remembered: verdict, screen and claims read the same ends."""
    return found.within(critical)


@lru_cache(maxsize=512)
def _profile(core: LimitFit, contrast: bytes) -> Profile:
    row = np.frombuffer(contrast)
    return profile_setups(core, row) if isinstance(core, CensoredSetupFit) else profile(core, row)


def fit_limited(frame: Frame, low: Floats, high: Floats) -> tuple[str, LimitFit]:
    """Fit readings (low, high), each (n,), on a frame.

    Raises
    ------
    NotEstimable
        As `weldtrial.analysis.censored.fit_censored` and its like for set-ups.
    """
    return _fit(frame, np.stack([low, high]).tobytes())


@lru_cache(maxsize=64)
def _fit(frame: Frame, ends: bytes) -> tuple[str, LimitFit]:
    """Fit, and remember: several views leave out the same round."""
    low, high = np.frombuffer(ends).reshape(2, -1)
    if frame.stratum == BY_SETUPS and frame.setup is not None:
        return CENSORED_SETUPS, fit_censored_setups(frame.x, low, high, frame.setup)
    return CENSORED, fit_censored(frame.x, low, high)


def estimate_limited(core: LimitFit, contrast: Floats) -> Profiled:
    """Estimate one contrast (p,) by its profile."""
    found = _profile(core, np.ascontiguousarray(contrast, dtype=np.float64).tobytes())
    return Profiled(found.estimate, found.se, found.df, None, profile=found)


def test_limited(core: LimitFit, contrasts: Floats) -> TermTest | None:
    """Test contrasts (q, p) together; None where several have no finite estimate.

    One contrast by its profile; several by the Wald statistic, which serves to list terms and
    decides nothing.
    """
    rows = np.atleast_2d(contrasts)
    if len(rows) == 1:
        found = estimate_limited(core, rows[0])
        t = found.ratio
        return TermTest(1, found.df, t * t, float(2 * special.stdtr(found.df, -abs(t))))
    values = rows @ core.coefficients
    covariance = rows @ core.covariance @ rows.T
    if not np.all(np.isfinite(covariance)) or np.linalg.cond(covariance) > 1e12:
        return None
    df = core.denominator(rows).df
    statistic = float(values @ np.linalg.solve(covariance, values)) / len(rows)
    return TermTest(len(rows), df, statistic, float(special.fdtrc(len(rows), df, statistic)))


def ratio_limited(
    estimate: Callable[[Floats], Estimate], one: Floats, zero: Floats, critical: float
) -> tuple[float, float, float] | None:
    """Return the ratio of two means with its interval, None where that is not finite.

    The ratio r is in the interval when one mean less r times the other is within `critical` of 0
    (Fieller 1954, J. R. Stat. Soc. B 16, 175-185, with the profile in the place of t).
    """
    top, bottom = estimate(one).estimate, estimate(zero).estimate
    if not (isfinite(top) and isfinite(bottom)) or bottom <= 0 or top <= 0:
        return None
    try:
        if estimate(zero).within(critical)[0] <= 0:
            return None
        middle = top / bottom

        def t(ratio: float) -> float:
            return estimate(one - ratio * zero).ratio

        ends = []
        for side in (1, -1):
            far = middle * (1 - 0.05 * side)
            while side * t(far) < critical:
                far = middle + 2 * (far - middle)
                if not 0 < far < 10 * middle:
                    return None
            low, high = sorted((far, middle))
            ends.append(
                optimize.brentq(lambda r, s=side: s * t(r) - critical, low, high, xtol=1e-6)
            )
    except (NotEstimable, ValueError):
        return None
    return middle, float(ends[0]), float(ends[1])


def is_limited(low: Floats, high: Floats) -> bool:
    """Whether any reading is other than one number."""
    return bool(np.any(low != high))


def side_of(low: float, high: float) -> str:
    """Return ``above``, ``below``, ``between`` or nothing, for one coupon."""
    if low == high:
        return ""
    return "above" if high == inf else "below" if low == -inf else "between"
