"""Reported figures that cannot come from so many readings on such a gauge.

Nothing is guessed: a figure is flagged only where no set of readings gives it, every rounding the
author may have used allowed.

References
----------
Brown, N. J. L. & Heathers, J. A. J. (2017). The GRIM test: a simple technique detects numerous
anomalies in the reporting of results in psychology. *Soc. Psychol. Personal. Sci.* 8:363-369.
Anaya, J. (2016). The GRIMMER test. *PeerJ Preprints* 4:e2400v1; the parity rule follows from
x² and x being both even or both odd.
Bhatia, R. & Davis, C. (2000). A better bound on the variance. *Am. Math. Mon.* 107:353-357 (the
largest spread in a range; citations from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, sqrt

MOST_SUMS = 2000
"""Sums that a printed mean may stand for, beyond which a spread is not looked at."""
SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class MeanCheck:
    """Whether a printed mean can come from `n` readings in steps.

    Attributes
    ----------
    possible
        Whether some set of readings gives it.
    telling
        Whether the check could have failed: with many readings any printed mean is possible.
    below, above
        Nearest possible means on either side, unrounded, where it is not.
    """

    possible: bool
    telling: bool
    below: float
    above: float


def check_mean(mean: float, n: int, step: float, decimals: int) -> MeanCheck:
    """Return whether `mean`, printed with `decimals`, can come from `n` readings.

    Parameters
    ----------
    n
        At least 1.
    step
        Smallest step of the gauge, above 0, in the unit of the mean; readings are whole steps.
    decimals
        Printed decimals; half a unit of the last is allowed on either side.
    """
    grain = step / n
    half = 0.5 * 10.0**-decimals
    low, high = _whole_between((mean - half) / grain, (mean + half) / grain)
    under = floor(mean / grain + SLACK)
    return MeanCheck(low <= high, grain > 2 * half, under * grain, (under + 1) * grain)


@dataclass(frozen=True, slots=True)
class SpreadCheck:
    """Whether a printed standard deviation can come from `n` readings with that mean.

    Attributes
    ----------
    possible
        Whether it can, as far as could be looked at.
    why
        ``too-large`` for the gauge's range, ``too-small`` for the steps, ``between`` for a value
        that no readings give, ``zero`` for readings all alike away from a step; empty if possible.
    least, most
        Smallest and largest spread that can be; `most` infinite without a range.
    """

    possible: bool
    why: str
    least: float
    most: float


def check_spread(
    mean: float,
    sd: float,
    n: int,
    *,
    step: float | None,
    decimals: int,
    sd_decimals: int,
    range_: tuple[float, float] | None = None,
) -> SpreadCheck:
    """Return whether `sd` (with n - 1) can come from `n` readings with that mean.

    Parameters
    ----------
    n
        At least 2.
    step
        Smallest step of the gauge, None where nobody says: then only the range is looked at.
    decimals, sd_decimals
        Printed decimals of mean and sd.
    range_
        Ends of what the gauge can show.
    """
    half, half_sd = 0.5 * 10.0**-decimals, 0.5 * 10.0**-sd_decimals
    most = _largest(mean, n, half, range_)
    if sd - half_sd > most * (1 + SLACK):
        return SpreadCheck(False, "too-large", 0.0, most)
    if step is None:
        return SpreadCheck(True, "", 0.0, most)
    first, last = _whole_between((mean - half) * n / step, (mean + half) * n / step)
    if first > last or last - first > MOST_SUMS:
        return SpreadCheck(True, "", 0.0, most)  # An impossible mean is said by itself.
    least = min(_smallest(total, n) for total in range(first, last + 1)) * step
    if sd + half_sd < least * (1 - SLACK):
        return SpreadCheck(False, "zero" if sd == 0 else "too-small", least, most)
    low, high = (max(0.0, sd - half_sd) / step, (sd + half_sd) / step)
    for total in range(first, last + 1):
        if _squares_fit(total, n, low, high):
            return SpreadCheck(True, "", least, most)
    return SpreadCheck(False, "between", least, most)


def _squares_fit(total: int, n: int, low: float, high: float) -> bool:
    """Whether a whole sum of squares, even or odd as the sum is, gives an sd in the interval."""
    # Counted from a whole number near the mean, so that nothing is lost to large squares.
    shift = round(total / n)
    rest = total - shift * n
    about = rest * rest / n
    smallest = _smallest(total, n) ** 2 * (n - 1) + about
    ends = [about + (n - 1) * one * one for one in (low, high)]
    first, last = _whole_between(max(ends[0], smallest), ends[1])
    return any((one - rest) % 2 == 0 for one in range(first, min(last, first + 1) + 1))


def _smallest(total: int, n: int) -> float:
    """Return the smallest sd of `n` whole numbers with that sum: all on the two nearest."""
    above = total % n
    return sqrt(above * (n - above) / n / (n - 1))


def _largest(mean: float, n: int, half: float, range_: tuple[float, float] | None) -> float:
    if range_ is None:
        return float("inf")
    low, high = range_
    ends = [min(max(one, low), high) for one in (mean - half, mean + half, mean)]
    middle = (low + high) / 2
    if ends[0] <= middle <= ends[1]:
        ends.append(middle)
    return sqrt(max((high - one) * (one - low) for one in ends) * n / (n - 1))


def _whole_between(low: float, high: float) -> tuple[int, int]:
    slack = SLACK * max(1.0, abs(low), abs(high))
    return ceil(low - slack), floor(high + slack)
