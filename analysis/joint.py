"""The chance that a new weld meets every limit at once, at any settings.

Responses are read on the same coupons, so they are seemingly unrelated regressions (Zellner 1962,
J. Am. Stat. Assoc. 57, 348-368) whose scatter goes together.  The chance is that of the joint
predictive distribution (Peterson 2004, J. Qual. Technol. 36, 139-153; Miro-Quesada, del Castillo
& Peterson 2004, J. Appl. Stat. 31, 251-270), by draws:

- the variance of each response is drawn as its estimate times df / chi-squared(df), so the
  predictive distribution of one response by itself is exactly Student's t with its own df; the
  chi-squared of two responses go together as the square of their correlation, as in a Wishart;
- between set-ups likewise, from the set-up mean square at its own df: a set-up scatter estimated
  as 0 is not taken at its word (a pivotal quantity after Weerahandi 1995, Exact Statistical
  Methods for Data Analysis, from memory);
- coefficients are drawn around their estimates with the variances so drawn; those of two responses
  go together as their coupons (of what changes between set-ups: as their set-ups) do;
- a new coupon in a fresh set-up is drawn on top, and the settings as run, where they are held
  loosely.

Correlations come from what the fits leave of the same coupons and are taken as known.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from scipy import special

from weldtrial.analysis.linear import Floats
from weldtrial.analysis.settings_grid import (
    Mask,
    Places,
    Polynomial,
    by_levels,
    evaluate,
    polynomial,
    shifted,
)
from weldtrial.shared.coding import Point, model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.terms import Term

DRAWS = 4000
"""Draws behind a chance: its Monte-Carlo error is 0.6 in 100 at 80 in 100."""
NORMAL_95 = 1.959963984540054
"""Standard deviations that 95 in 100 of a normal stay within."""
CHUNK = 256
"""Places worked on at once."""


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
class Limit:
    """What a coupon must reach in one response, in its unit; one end or both."""

    response: str
    at_least: float | None = None
    at_most: float | None = None

    def met(self, values: Floats) -> Mask:
        """Return which values meet it."""
        good = np.ones(values.shape, dtype=bool)
        if self.at_least is not None:
            good &= values >= self.at_least
        if self.at_most is not None:
            good &= values <= self.at_most
        return good


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


@dataclass(frozen=True, slots=True)
class Held:
    """How well a numeric setting is held when it is welded.

    Attributes
    ----------
    within
        In the factor's unit, above 0: half the width of a ``uniform`` spread; of a ``normal`` one
        what 95 coupons in 100 stay within (1.96 standard deviations).
    """

    factor: str
    within: float
    shape: Literal["normal", "uniform"] = "normal"


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


@dataclass(frozen=True, slots=True, eq=False)
class Chances:
    """Chance of meeting the limits, place by place.

    Attributes
    ----------
    limits
        Names of the responses, the numeric ones first.
    together
        Shape (m,): a new weld meets every limit.
    own
        Shape (m, limits): it meets that one.
    on_average
        Shape (m,): the fitted means meet every numeric limit (no chance; for contrast).
    """

    limits: tuple[str, ...]
    together: Floats
    own: Floats
    on_average: Mask

    def weakest(self, place: int) -> str:
        """Return the limit least likely to be met."""
        return self.limits[int(np.argmin(self.own[place]))]


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """Draws of everything but the settings: coefficients (p, M) and scatter (M,), by response."""

    coefficients: tuple[Floats, ...]
    scatter: tuple[Floats, ...]


def drawn(joint: Joint, many: int = DRAWS, seed: int = 1) -> Drawn:
    """Draw coefficients and the scatter of a new coupon in a fresh set-up, `many` times."""
    rng = np.random.default_rng(seed)
    within = _Level(joint.correlation, rng, many)
    between = _Level(joint.correlation_setup, rng, many)
    columns = _columns(joint)
    every = sorted({name for names, _ in columns for name in names})
    z = {name: (within.normals(), between.normals()) for name in every}
    chi, chi_setup = within.chi(), between.chi()
    e, u = within.normals(), between.normals()
    coefficients, scatter = [], []
    for r, (one, (names, hard)) in enumerate(zip(joint.surfaces, columns, strict=True)):
        loose = _inflation(chi[r], one.df)
        strata = loose if one.df_setup is None else _inflation(chi_setup[r], one.df_setup)
        normal = np.array([z[n][int(h)][r] for n, h in zip(names, hard, strict=True)])
        moved = _root(one.covariance) @ normal
        moved *= np.where(np.array(hard)[:, None], strata, loose)
        coefficients.append(one.coefficients[:, None] + moved)
        coupon = one.sd_coupon * loose
        fresh = coupon * e[r]
        if one.df_setup is not None:
            square = one.sd_coupon**2 + joint.per_setup * one.sd_setup**2
            extra = np.maximum(0.0, square * strata**2 - coupon**2) / joint.per_setup
            fresh = fresh + np.sqrt(extra) * u[r]
        scatter.append(fresh)
    return Drawn(tuple(coefficients), tuple(scatter))


def chances(
    joint: Joint,
    limits: Sequence[Limit],
    places: Places,
    *,
    held: Sequence[Held] = (),
    draws: int = DRAWS,
    seed: int = 1,
) -> Chances:
    """Return the chance that a new weld meets every limit, and each limit, at every place.

    Parameters
    ----------
    limits
        Limits on numeric responses; those that pass or fail stand in `joint.passing`.
    held
        How well settings are held; the chance is averaged over it.
    draws
        How many; see `DRAWS`.  The same draws serve every place, so the map has no noise of its
        own from place to place.

    Raises
    ------
    NotEstimable
        When there is no limit at all, or a limit names no fitted response.
    """
    names = [one.response for one in joint.surfaces]
    lost = [one.response for one in limits if one.response not in names]
    if lost or not (limits or joint.passing):
        raise NotEstimable(
            f"no surface was fitted for {', '.join(lost)}"
            if lost
            else "no response has a limit, so there is nothing to meet",
            hint="give a response  must_be = { at_least = ... }",
        )
    used = drawn(joint, draws, seed)
    offsets = np.random.default_rng([seed, 1]).standard_normal((len(held), draws))
    every = tuple(one.response for one in limits) + tuple(p.response for p in joint.passing)
    together, own = np.empty(len(places)), np.empty((len(places), len(every)))
    average = np.ones(len(places), dtype=bool)
    for levels, rows in by_levels(places):
        shift = _shift(places, levels, held, offsets)
        passing = [one.share(levels.get(one.by, "")) for one in joint.passing]
        own[rows, len(limits) :] = passing
        maps = [_map(joint, used, names.index(one.response), levels, shift) for one in limits]
        for start in range(0, len(rows), CHUNK):
            some = rows[start : start + CHUNK]
            all_met = np.ones((len(some), draws), dtype=bool)
            for column, (limit, (mean, surface, scatter)) in enumerate(
                zip(limits, maps, strict=True)
            ):
                met = limit.met(evaluate(surface, places.coded[some]) + scatter)
                own[some, column] = met.mean(axis=1)
                average[some] &= limit.met(evaluate(mean, places.coded[some])[:, 0])
                all_met &= met
            together[some] = all_met.mean(axis=1) * np.prod(passing)
    return Chances(every, together, own, average)


def _map(
    joint: Joint,
    used: Drawn,
    r: int,
    levels: Mapping[str, str],
    shift: Floats | None,
) -> tuple[Polynomial, Polynomial, Floats]:
    one = joint.surfaces[r]
    mean = polynomial(one.factors, one.terms, levels, one.coefficients[:, None])
    surface = polynomial(one.factors, one.terms, levels, used.coefficients[r])
    return mean, surface if shift is None else shifted(surface, shift), used.scatter[r]


def _shift(
    places: Places, levels: Mapping[str, str], held: Sequence[Held], offsets: Floats
) -> Floats | None:
    """Return how far settings as run lie from those asked for, coded: (numeric factors, draws)."""
    if not held:
        return None
    shift = np.zeros((len(places.numeric), offsets.shape[1]))
    for one, normal in zip(held, offsets, strict=True):
        column = places.column(one.factor)
        factor = places.numeric[column]
        half = (
            1.0
            if factor.used_as_is
            else factor.half_range(levels.get(factor.slides_with or "", ""))
        )
        spread = normal / NORMAL_95 if one.shape == "normal" else 2 * special.ndtr(normal) - 1
        shift[column] = spread * one.within / half
    return shift


def _columns(joint: Joint) -> list[tuple[tuple[str, ...], tuple[bool, ...]]]:
    """Return the columns of every fit and whether each changes between set-ups only."""
    found = []
    for one in joint.surfaces:
        point = _anywhere(one.factors)
        matrix = model_matrix(one.factors, one.terms, [point])
        hard = {factor.name for factor in one.factors if factor.hard_to_change}
        between = [one.df_setup is not None] * len(matrix.names)
        for term in one.terms:
            for column in matrix.columns[term.name]:
                between[column] &= term.factors <= hard
        found.append((matrix.names, tuple(between)))
    return found


def _anywhere(factors: Sequence[Factor]) -> Point:
    return {one.name: one.levels[0] if one.kind == "category" else 0.0 for one in factors}


class _Level:
    """One level of scatter: normals that go together, and chi-squared that do."""

    def __init__(self, correlation: Floats, rng: np.random.Generator, many: int) -> None:
        self.root = _root(correlation)
        # Sample variances of normals correlated by r are themselves correlated by r squared.
        self.root_squared = _root(correlation**2)
        self.rng, self.many = rng, many

    def normals(self) -> Floats:
        return self._draw(self.root)

    def chi(self) -> Floats:
        """Draw the quantiles, 0 to 1, of chi-squared: turned to its df by `_inflation`."""
        return np.asarray(special.ndtr(self._draw(self.root_squared)))

    def _draw(self, root: Floats) -> Floats:
        return np.asarray(root @ self.rng.standard_normal((len(root), self.many)))


def _inflation(quantile: Floats, df: float) -> Floats:
    """Return sqrt(df / chi-squared(df)) at quantiles."""
    return np.asarray(np.sqrt(df / special.chdtri(df, 1 - quantile)))


def _root(matrix: Floats) -> Floats:
    """Return a root R with R R' = matrix, which may be singular."""
    try:
        return np.asarray(np.linalg.cholesky(matrix))
    except np.linalg.LinAlgError:
        values, vectors = np.linalg.eigh(matrix)
        return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))
