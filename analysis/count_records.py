"""What is found where coupons are counted: passes, grades, places where they broke."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PassRow:
    """How many coupons of a level passed, with the exact 95 % interval of the share (0 to 1).

    Where coupons come in set-ups each set-up counts once, the widest that its interval can be.
    """

    factor: str
    level: str
    passed: int
    of: int
    setups: int | None
    share: float
    ci_low: float
    ci_high: float


@dataclass(frozen=True, slots=True)
class GradeRow:
    """Coupons of a level by grade, worst first as in the scale."""

    factor: str
    level: str
    counts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class OddsRow:
    """Ratio of the odds of passing (or of a better grade) of `one` to those of `other`."""

    factor: str
    one: str
    other: str
    odds_ratio: float
    ci_low: float
    ci_high: float
    p: float


@dataclass(frozen=True, slots=True)
class Places:
    """Where coupons broke, by level of the compared factor.

    Attributes
    ----------
    counts
        Coupons, one row a level, one column a place.
    p
        Exact p of no connection, None where it could not be tested.
    drawn
        Tables or orders drawn where there were too many to list, else None.
    method
        ``exact`` (Fisher-Freeman-Halton), ``set-ups dealt again`` or empty.
    words
        The same in sentences.
    """

    factor: str
    levels: tuple[str, ...]
    places: tuple[str, ...]
    counts: tuple[tuple[int, ...], ...]
    p: float | None
    drawn: int | None
    method: str
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Counts:
    """Passes or grades of a response by level, and ratios of odds where several factors vary.

    All empty of a response that is a number; `scale` holds the grades, worst first.
    """

    passes: tuple[PassRow, ...] = ()
    grades: tuple[GradeRow, ...] = ()
    scale: tuple[str, ...] = ()
    odds: tuple[OddsRow, ...] = ()


NO_COUNTS = Counts()


@dataclass(frozen=True, slots=True)
class HowCounted:
    """How a comparison of passes or of grades was made.

    The difference of two grades is how far the chance that a coupon of the level grades better
    than one of the reference (ties count half) lies above 50 in 100.

    Attributes
    ----------
    method
        See the sources of `respond_passes` and `respond_grades`.
    seen
        Such as ``passes 10 of 18 against 13 of 18``.
    p_exact
        Of dealing again: the coupons within rounds or set-ups, or whole set-ups; None where that
        could not be redone.
    odds_ratio, odds_low, odds_high
        Ratio of the odds of a better grade, where the proportional-odds model held.
    why
        Why there is no interval, empty where there is one.
    se_least
        Of set-ups' shares, in points: the least standard error, with normal limits.  The wider of
        its interval and of t on `se` and `df` counts.
    """

    method: str
    seen: str
    p_exact: float | None = None
    odds_ratio: float | None = None
    odds_low: float | None = None
    odds_high: float | None = None
    why: str = ""
    se_least: float | None = None
