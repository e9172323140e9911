"""How strong the unbroken coupons would have to have been before the answer changes.

A reading ``>90`` says only "at least 90"; the fit fills the rest in from a bell curve.  The tipping
point asks how far that filling-in could be wrong: all coupons beyond the limit at one level are
taken to have failed at one strength v, read exactly, and v is moved away from the limit until the
verdict flips.  It is a statement about coupons that nobody broke, not an estimate of anything.

Reference: tipping-point analysis of missing outcomes, Yan, Lee & Li (2009), J. Biopharm. Stat. 19,
1085-1098 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from weldtrial.analysis.censored import CensoredFit, fit_censored
from weldtrial.analysis.censored_setups import CensoredSetupFit, fit_censored_setups
from weldtrial.analysis.censored_terms import one_sided
from weldtrial.analysis.linear import Floats

Others = Literal["expected", "at-limit", "beyond"]
Fit = CensoredFit | CensoredSetupFit

FARTHEST = 1000.0
"""Scatters beyond the limit after which nothing is expected to flip."""
FIRST = 0.25
"""First step, in scatters."""
GROWTH = 1.5


def tipping_point(
    x: ArrayLike,
    low: ArrayLike,
    high: ArrayLike,
    level: ArrayLike,
    decide: Callable[[Fit], bool],
    *,
    setup: ArrayLike | None = None,
    others: Others = "expected",
    tolerance: float = 0.005,
) -> float | None:
    """Return the strength at which `decide` first changes its mind, None if none does.

    Parameters
    ----------
    x
        Model matrix (n, p).
    low, high
        Ends of every reading, (n,).
    level
        True for the coupons of the level in question, (n,); those of them beyond their limit move
        together, all above (or all below) their limits.
    decide
        Asked of a fit: does the verdict still stand?
    setup
        Set-ups (n,), None where every coupon varies on its own.
    others
        What coupons of other levels beyond their limits are taken for meanwhile: ``expected``,
        their expected strength under the fit, given that they reached the limit; ``at-limit``,
        failed just there (the worst case when the level in question is raised); ``beyond``, limit
        readings as before.
    tolerance
        Of the answer, in coupon scatters.

    Raises
    ------
    NotEstimable
        The readings as they are cannot be fitted.
    ValueError
        No coupon of the level is beyond a limit, or they are beyond limits on both sides.

    Notes
    -----
    The strength is walked away from the limit in growing steps, the first of a quarter of the
    scatter, then halved in on: a flip and a flip back within one step would be missed.
    """
    first, last = np.array(low, dtype=float), np.array(high, dtype=float)
    chosen = np.asarray(level, dtype=bool)
    moving = chosen & (np.isinf(first) | np.isinf(last))
    upwards = bool(np.isinf(last[moving]).all())
    if not moving.any() or (not upwards and np.isinf(last[moving]).any()):
        raise ValueError("the level needs coupons beyond a limit, all on the same side of it")
    fit = _fit(x, first, last, setup)
    sign, limits = (1.0, first[moving]) if upwards else (-1.0, last[moving])
    edge = float((sign * limits).max() * sign)
    first, last = _settle(fit, first, last, ~chosen, others)

    def stands(value: float) -> bool:
        first[moving] = last[moving] = value
        return decide(_fit(x, first, last, setup))

    return _walk(stands, decide(fit), edge, sign, fit.sigma, tolerance * fit.sigma)


def _walk(
    stands: Callable[[float], bool],
    now: bool,
    edge: float,
    sign: float,
    scatter: float,
    close: float,
) -> float | None:
    if stands(edge) != now:
        return edge
    near, step = 0.0, FIRST * scatter
    while stands(edge + sign * (near + step)) == now:
        near, step = near + step, GROWTH * step
        if near > FARTHEST * scatter:
            return None
    far = near + step
    while far - near > close:
        middle = 0.5 * (near + far)
        near, far = (middle, far) if stands(edge + sign * middle) == now else (near, middle)
    return edge + sign * far


def _fit(x: ArrayLike, low: Floats, high: Floats, setup: ArrayLike | None) -> Fit:
    if setup is None:
        return fit_censored(x, low, high)
    return fit_censored_setups(x, low, high, setup)


def _settle(
    fit: Fit, low: Floats, high: Floats, rest: np.ndarray[tuple[int], np.dtype[np.bool_]],
    others: Others,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Give the other coupons beyond a limit the value they are taken for."""
    low, high = low.copy(), high.copy()
    if others == "beyond":
        return low, high
    for beyond, limits, sign in (
        (rest & np.isinf(high), low, 1.0),
        (rest & np.isinf(low), high, -1.0),
    ):
        value = limits[beyond]
        if others == "expected":
            mean = fit.fitted[beyond]
            hazard = one_sided(sign * (mean - value) / fit.sigma).first
            value = mean + sign * fit.sigma * hazard
        low[beyond] = high[beyond] = value
    return low, high
