"""Several fitted responses and how their scatter goes together: what a window is made from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from weldtrial.analysis.linear import Floats
from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.terms import Term


class FittedSurface(Protocol):
    """One response as fitted; see `weldtrial.analysis.surface.Surface`."""

    @property
    def response(self) -> str:
        """Name of the response."""

    @property
    def unit(self) -> str:
        """Its unit."""

    @property
    def factors(self) -> tuple[Factor, ...]:
        """Varied factors."""

    @property
    def terms(self) -> tuple[Term, ...]:
        """Terms kept, without the intercept."""

    @property
    def coefficients(self) -> Floats:
        """Shape (p,), the intercept first, at the average block."""

    @property
    def covariance(self) -> Floats:
        """Shape (p, p)."""

    @property
    def df(self) -> float:
        """Of the scatter between coupons."""

    @property
    def df_setup(self) -> float | None:
        """Of the scatter between set-ups, None where coupons are the units."""

    @property
    def sd_coupon(self) -> float:
        """Between coupons of one set-up, response unit."""

    @property
    def sd_setup(self) -> float:
        """Between set-ups, 0 or more, response unit."""

    @property
    def at_limit(self) -> bool:
        """Whether readings past the gauge went in."""

    def mean(self, points: Sequence[Point]) -> Floats:
        """Fitted mean at coded points, shape (m,)."""

    def se_mean(self, points: Sequence[Point]) -> Floats:
        """Standard error of the fitted mean, shape (m,)."""

    def new_coupon(self, points: Sequence[Point]) -> tuple[Floats, Floats]:
        """Mean and standard deviation of one new coupon in a fresh set-up, each (m,)."""


@dataclass(frozen=True, slots=True)
class Passing:
    """A response that passes or fails: how many passed, whatever the numeric settings were.

    Attributes
    ----------
    by
        The category its share is counted by, empty for one share of all coupons.
    counts
        By level of `by` (one entry, ``""``, without): passed and welded.

    Notes
    -----
    The share counted on is (passed + 1/2) / (welded + 1), the mean of what Jeffreys' prior leaves
    (Brown, Cai & DasGupta 2001, Stat. Sci. 16, 101-133); it is taken as independent of the
    numbers.
    """

    response: str
    counts: tuple[tuple[str, tuple[int, int]], ...]
    by: str = ""

    def share(self, level: str = "") -> float:
        """Return the share of passes to count on."""
        passed, welded = dict(self.counts)[level if self.by else ""]
        return (passed + 0.5) / (welded + 1.0)


@dataclass(frozen=True, slots=True, eq=False)
class Joint:
    """Several fitted responses and how their scatter goes together.

    Attributes
    ----------
    correlation, correlation_setup
        Shape (R, R): between coupons of one set-up, and between set-ups.
    per_setup
        Coupons of a set-up, the harmonic mean; 1 where coupons are the units.
    """

    surfaces: tuple[FittedSurface, ...]
    correlation: Floats
    correlation_setup: Floats
    per_setup: float = 1.0
    passing: tuple[Passing, ...] = ()

    def __post_init__(self) -> None:
        for one in self.surfaces:
            if not np.isfinite(one.sd_setup):
                raise NotEstimable(
                    f"{one.response}: nothing is left between set-ups to show how they scatter, so "
                    "what a coupon in a fresh set-up would read cannot be said",
                    hint="weld more set-ups",
                )
