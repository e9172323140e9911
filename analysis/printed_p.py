"""A p that was printed, beside what comes out of the printed means and spreads again.

Every rounding of the figures is allowed for, so that what is said not to come out does not.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt
from typing import Literal

from weldtrial.analysis.evidence import Side
from weldtrial.analysis.reported import Gap, Moments, moments, pooled, welch

How = Literal["welch", "student", "one-sided", "standard-errors", "none"]
TESTS: tuple[Callable[[Moments, Moments], Gap], ...] = (welch, pooled)


@dataclass(frozen=True, slots=True)
class PrintedP:
    """A printed p and what gives it.

    Attributes
    ----------
    how
        What gives the printed p: ``welch`` or ``student`` from the figures as they stand;
        ``one-sided`` from half of it; ``standard-errors`` where what stands as a standard
        deviation has to be the standard error of the mean; ``none``.
    p
        Welch's two-sided p from the figures as printed.
    low, high
        Range of it that their rounding allows.
    p_if_errors
        Welch's p if the spreads are standard errors; None where none was printed.
    """

    how: How
    p: float
    low: float
    high: float
    p_if_errors: float | None


def recompute(new: Side, old: Side, p: float, decimals: int) -> PrintedP | None:
    """Return what gives a printed two-sided p, None where the figures do not give one.

    Parameters
    ----------
    p, decimals
        The printed p and its decimals; half a unit of the last is allowed.
    """
    one, two = moments(new), moments(old)
    if one is None or two is None or one.sd + two.sd == 0:
        return None
    half = 0.5 * 10.0**-decimals
    # The smallest p that so many decimals can show stands for any below it.
    lowest, highest = (p - half if p > 2.5 * half else 0.0), p + half

    def gives(errors: bool, test: Callable[[Moments, Moments], Gap], sides: float) -> bool:
        low, high = _range(new, old, errors, test)
        return low * sides <= highest + 1e-12 and high * sides >= lowest - 1e-12

    printed = new.sd is not None and old.sd is not None
    how: How = "none"
    if gives(False, welch, 1.0):
        how = "welch"
    elif gives(False, pooled, 1.0):
        how = "student"
    elif any(gives(False, test, 0.5) for test in TESTS):
        how = "one-sided"
    elif printed and any(gives(True, test, 1.0) for test in TESTS):
        how = "standard-errors"
    swapped = welch(*(_as_errors(one) for one in (one, two))).p if printed else None
    return PrintedP(how, welch(one, two).p, *_range(new, old, False, welch), swapped)


def _as_errors(side: Moments) -> Moments:
    return Moments(side.n, side.mean, side.sd * sqrt(side.n))


def _range(
    new: Side, old: Side, errors: bool, test: Callable[[Moments, Moments], Gap]
) -> tuple[float, float]:
    """Return the smallest and largest p over all roundings of the printed figures."""
    sides = [(side, moments(side)) for side in (new, old)]
    gap = sum((half_unit(side.decimals) for side in (new, old)), 0.0)
    apart = abs((new.mean or 0.0) - (old.mean or 0.0))
    found = []
    for distance, sign in ((apart + gap, -1), (max(0.0, apart - gap), 1)):
        made = []
        for side, known in sides:
            assert known is not None
            half = half_unit(side.sd_decimals) if side.sd is not None else 0.0
            sd = max(0.0, known.sd + sign * half)
            made.append(Moments(known.n, 0.0, sd * sqrt(known.n) if errors else sd))
        if made[0].sd + made[1].sd == 0:
            found.append(0.0)
            continue
        found.append(test(Moments(made[0].n, distance, made[0].sd), made[1]).p)
    return found[0], found[1]


def half_unit(decimals: int | None) -> float:
    """Return half a unit of the last printed decimal, 0 where the figure is exact."""
    return 0.0 if decimals is None else 0.5 * 10.0**-decimals
