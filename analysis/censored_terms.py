"""Log-likelihood of one reading at a gauge limit, and its derivatives, stable in the far tails.

A coupon's strength in units of the scatter, less its mean, is Z ~ N(0, 1).  A reading says that Z
lies above a, below b, or between a and b; the terms are log(Phi(b) - Phi(a)) and what a shift of
both ends does to it.  Real or complex arguments: complex ones come from set-ups that agree better
than chance (see `weldtrial.analysis.censored_integral`).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

Numbers = NDArray[Any]
"""Real or complex."""

HALF_LOG_2PI = 0.5 * float(np.log(2.0 * np.pi))


class Terms(NamedTuple):
    """Terms of readings, all of one shape.

    Attributes
    ----------
    log
        log(Phi(b) - Phi(a)).
    low, high
        First derivatives in a and in b.
    low2, both, high2
        Second derivatives: a twice, a and b, b twice.
    """

    log: Numbers
    low: Numbers
    high: Numbers
    low2: Numbers
    both: Numbers
    high2: Numbers


class OneSided(NamedTuple):
    """log Phi(t), its first and its second derivative in t."""

    log: Numbers
    first: Numbers
    second: Numbers


def one_sided(t: Numbers) -> OneSided:
    """Return the terms of a reading beyond one limit: log Phi(t) and two derivatives.

    Parameters
    ----------
    t
        b for a reading below its limit, -a for one above it; any shape, finite.
    """
    log = special.log_ndtr(t)
    first = np.exp(-0.5 * t * t - HALF_LOG_2PI - log)
    return OneSided(log, first, -first * (t + first))


def between(a: Numbers, b: Numbers) -> Terms:
    """Return the terms of readings between two limits, a < b, both finite."""
    flip = (a + b).real > 0.0  # work in the lower tail, where log Phi keeps its digits
    low, high = np.where(flip, -b, a), np.where(flip, -a, b)
    upper = special.log_ndtr(high)
    log = upper + np.log(-np.expm1(special.log_ndtr(low) - upper))
    at_a = np.exp(-0.5 * a * a - HALF_LOG_2PI - log)
    at_b = np.exp(-0.5 * b * b - HALF_LOG_2PI - log)
    return Terms(
        log=log,
        low=-at_a,
        high=at_b,
        low2=a * at_a - at_a * at_a,
        both=at_a * at_b,
        high2=-b * at_b - at_b * at_b,
    )


def inside_parts(
    low: Numbers, high: Numbers, a: Numbers, b: Numbers
) -> tuple[Numbers, Numbers, Numbers, Numbers, Numbers, Numbers]:
    """Return the terms of readings between two limits as a climb needs them.

    With a = theta * low + s and b = theta * high + s: the log, its derivatives in s and in theta,
    and its second derivatives in s, in s and theta, in theta.
    """
    t = between(a, b)
    return (
        t.log,
        t.low + t.high,
        t.low * low + t.high * high,
        t.low2 + 2.0 * t.both + t.high2,
        t.low2 * low + t.both * (low + high) + t.high2 * high,
        t.low2 * low * low + 2.0 * t.both * low * high + t.high2 * high * high,
    )
