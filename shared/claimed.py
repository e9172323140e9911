"""What somebody says and what they show for it: counts, averages, studies, and a claim.

Only the numbers as they were given, and readings of them that need no statistics; what they are
worth is worked out by the analysis.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Literal

from weldtrial.shared.responses import Better

EvidenceKind = Literal["counts", "summary", "raw", "folder", "studies"]
ClaimKind = Literal["ratio", "difference", "no-difference", "at-least", "at-most"]
Direction = Literal["worse", "better"]
LARGEST, SMALLEST = 1e12, 1e-12
"""Sizes beyond which a figure is a slip, or in a unit that does not suit it."""


def fits(value: float) -> bool:
    """Whether a figure can be weighed: 0, or of a size between `SMALLEST` and `LARGEST`."""
    return value == 0 or SMALLEST <= abs(value) <= LARGEST


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a comparison, as reported.

    Attributes
    ----------
    name
        In the author's words: ``new``, ``mix``.
    n
        Coupons; 0 where nobody says (several studies).
    mean, sd
        Of the coupons, in the unit of the evidence; None for counts.
    passed
        Coupons to which the counted thing happened (porous, cracked, passed), 0 to `n`; None for
        averages.
    setups
        Separate set-ups that the coupons come from; None where nobody says.
    decimals, sd_decimals
        Decimals that `mean` and `sd` were printed with (84.20 has 2); None where they are not
        printed figures.
    se
        Standard error of the mean, where it was given instead of `sd`.
    low, high
        95 % interval of the mean, where it was given instead of `sd`.
    """

    name: str
    n: int
    mean: float | None = None
    sd: float | None = None
    passed: int | None = None
    setups: int | None = None
    decimals: int | None = None
    sd_decimals: int | None = None
    se: float | None = None
    low: float | None = None
    high: float | None = None

    @property
    def share(self) -> float | None:
        """Share of the coupons to which it happened; None for averages."""
        return None if self.passed is None or not self.n else self.passed / self.n


@dataclass(frozen=True, slots=True)
class Study:
    """One study of the difference.

    Attributes
    ----------
    name
        In words; ``study 1`` where it has none.
    estimate
        New minus old, in the unit of the evidence (or the logarithm of a ratio, where all are).
    se
        Its standard error, above 0.
    n_new, n_old
        Coupons, None where nobody says.
    """

    name: str
    estimate: float
    se: float
    n_new: int | None = None
    n_old: int | None = None


@dataclass(frozen=True, slots=True)
class Stated:
    """What the author worked out themselves, to be compared with what comes out here.

    Attributes
    ----------
    p, p_decimals
        Two-sided p, from 0 to 1, and the decimals it was printed with.
    difference, ratio
        New minus old in the unit; new over old.
    low, high, confidence
        Interval of the difference, 0 < confidence < 1.
    """

    p: float | None = None
    p_decimals: int | None = None
    difference: float | None = None
    ratio: float | None = None
    low: float | None = None
    high: float | None = None
    confidence: float = 0.95


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that is shown for a claim, whatever its kind.

    Attributes
    ----------
    kind
        Where the numbers come from; raw data and folders carry their sides worked out.
    new, old
        What is claimed about, and what it is compared with.
    unit
        Of the means, empty where nobody says.
    what
        What is counted (``porous``), or measured (``break load``).
    better
        Which way is good; for counts ``lower`` where what is counted is a fault.
    step
        Smallest step of the gauge, in the unit; None where nobody says.
    least, most
        Ends of what the gauge can show, None where nobody says.
    stated
        What the author worked out.
    studies
        Several studies of one difference.
    values_new, values_old
        Single coupons, where there are raw data.
    looked_at
        How many results this one was picked from, this one counted; 1 where it is the only one.
    """

    kind: EvidenceKind
    new: Side
    old: Side
    unit: str = ""
    what: str = ""
    better: Better = "higher"
    step: float | None = None
    least: float | None = None
    most: float | None = None
    stated: Stated = Stated()
    studies: tuple[Study, ...] = ()
    values_new: tuple[float, ...] = ()
    values_old: tuple[float, ...] = ()
    looked_at: int = 1


@dataclass(frozen=True, slots=True)
class Claim:
    """A claim about new against old.

    Attributes
    ----------
    text
        As it was said, to be quoted.
    kind
        ``ratio``: new is `value` times old.  ``difference``: new less old is `value`.
        ``no-difference``: they are alike.  ``at-least`` and ``at-most``: new is better or worse
        (`direction`) by at least, or at most, `value`.
    value
        A ratio, or in the unit of the evidence; None for ``no-difference``, and for ``at-most``
        where only "no worse" is said: then the margin says by how much.
    percent
        Whether `value` is a fraction of the old (0.05 for 5 %).
    direction
        Which way, for ``at-least`` and ``at-most``; for a ``difference`` that was said without
        its sign ("3 % worse"), None where the sign was said.
    """

    text: str
    kind: ClaimKind
    value: float | None = None
    percent: bool = False
    direction: Direction | None = None

    @property
    def is_ratio(self) -> bool:
        """Whether the claim is about new over old rather than new minus old."""
        return self.kind == "ratio" or self.percent

    def span(self, better: Better) -> tuple[float, float]:
        """Return the lowest and highest value the claim allows: of the ratio, or the difference.

        Parameters
        ----------
        better
            Which way is good.

        Returns
        -------
        tuple
            Twice the same for a figure; an infinite end for ``at-least``; both ends finite for
            ``at-most`` only on the side it speaks of.
        """
        middle = 1.0 if self.is_ratio else 0.0
        if self.kind == "no-difference":
            return middle, middle
        value = self.value or 0.0
        up = self.direction is None or (self.direction == "better") == (better == "higher")
        place = middle + value if up else middle - value
        if self.kind == "ratio":
            place = value
        if self.kind in ("ratio", "difference"):
            return place, place
        if (self.kind == "at-least") == up:
            return place, inf
        return -inf, place
