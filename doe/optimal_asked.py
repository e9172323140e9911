"""What a search for an optimal design is asked, and what it found: records alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term


@dataclass(frozen=True, slots=True)
class UnitAsked:
    """One set-up, one block, or the whole trial.

    Attributes
    ----------
    coupons
        New coupons, at least 0; those kept come besides.
    block
        Round or block it belongs to, a fixed effect.  The same number everywhere: no blocks.
    hard
        Prescribed levels of hard factors (level name, or coded number); those not named, and all
        of them when None, are chosen by the search.
    """

    coupons: int
    block: int = 0
    hard: Mapping[str, str | float] | None = None


@dataclass(frozen=True, slots=True)
class Search:
    """A search: a model, the coupons there are, and what the bench allows.

    Attributes
    ----------
    factors
        The varied factors.
    terms
        The model without its intercept.
    units
        Set-ups or blocks, in order.
    hard
        Names of the hard-to-change factors: every coupon of a unit has the same level of them, and
        units vary with variance `ratio`.  With none, units are blocks or nothing.
    kept
        Coupons that stay: the number of the unit they belong to (from 0), or -1 for an earlier
        block of their own, and the point.
    allowed
        Whether a point may be welded; None: every one.
    grid
        Coded levels that a numeric factor may take.  For those not named: -1 and 1; with 0 where
        the model holds its square; more for higher powers and where `allowed` is given.
    criterion
        ``"D"``: most information on all coefficients together; ``"I"``: least average variance of
        a prediction over the allowed region.
    ratio
        Variance of set-ups over that of coupons in one set-up, at least 0.
    starts
        Random starts, at least 1.
    """

    factors: tuple[Factor, ...]
    terms: tuple[Term, ...]
    units: tuple[UnitAsked, ...]
    hard: tuple[str, ...] = ()
    kept: tuple[tuple[int, Point], ...] = ()
    allowed: Callable[[Point], bool] | None = None
    grid: Mapping[str, tuple[float, ...]] | None = None
    criterion: Literal["D", "I"] = "D"
    ratio: float = 1.0
    starts: int = 64


@dataclass(frozen=True, slots=True)
class Found:
    """The best design of a search.

    Attributes
    ----------
    units
        New points, unit by unit; kept ones are left out.
    value
        ``"D"``: the logarithm of the determinant of the information matrix, divided by its
        columns (more is better).  ``"I"``: average variance of a prediction at an average block,
        in units of the coupon variance (less is better).
    efficiency
        At least so good, from 0 to 1, compared with the best any design of that many coupons on
        the same grid could be: ``exp(value - bound)`` for D, ``bound / value`` for I.  None where
        the grid is too large to bound.
    bound
        What no design can pass, in the units of `value`.
    starts
        Random starts searched from.
    same
        How many of them ended as good as the best, to one part in a million.
    """

    units: tuple[tuple[Point, ...], ...]
    value: float
    efficiency: float | None
    bound: float | None
    starts: int
    same: int
