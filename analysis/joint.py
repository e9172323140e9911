"""The chance that a new weld meets every limit at once, at any settings.

Responses are read on the same coupons, so they are seemingly unrelated regressions (Zellner 1962,
J. Am. Stat. Assoc. 57, 348-368) whose scatter goes together.  The chance is that of the joint
predictive distribution (Peterson 2004, J. Qual. Technol. 36, 139-153; Miro-Quesada, del Castillo
& Peterson 2004, J. Appl. Stat. 31, 251-270), by draws:

- the variance of each of R responses is drawn as its residual sum of squares over chi-squared at
  df - R + 1 (Peterson's n - p - R + 1), so the predictive distribution of a response alone is
  exactly Student's t; the chi-squared of two responses go together as the square of their
  correlation, as in a Wishart, where Peterson's has one for all.  Without the R - 1 the chance at
  settings chosen for it came out 4 to 7 in 100 too high (tests/promises/test_window_promises.py);
  where set-ups are judged by few degrees of freedom of their own those pay already, and R - 1 is
  not taken off;
- between set-ups likewise, from the set-up mean square at its own df, and for a coupon in a fresh
  set-up from the sum of both mean squares at Satterthwaite's df (1946), so that few set-ups do not
  make every chance too low;
- coefficients are drawn around their estimates with the variances so drawn; those of two responses
  go together as their coupons (of what changes between set-ups: as their set-ups) do;
- a new coupon in a fresh set-up is drawn on top, and the settings as run, where they are held
  loosely.

Correlations come from what the fits leave of the same coupons and are taken as known.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import special

from weldtrial.analysis.fitted import FittedSurface, Joint, Passing
from weldtrial.analysis.joint_draws import DRAWS, Drawn, drawn
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
from weldtrial.shared.problems import NotEstimable

__all__ = [
    "DRAWS", "Chances", "FittedSurface", "Held", "Joint", "Limit", "Passing", "chances", "strayed",
]  # fmt: skip

NORMAL_95 = 1.959963984540054
"""Standard deviations that 95 in 100 of a normal stay within."""
CHUNK = 256
"""Places worked on at once."""


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
        shift = strayed(places, levels, held, offsets)
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


def strayed(
    places: Places, levels: Mapping[str, str], held: Sequence[Held], offsets: Floats
) -> Floats | None:
    """Return how far settings as run lie from those asked for, coded: (numeric factors, draws).

    Parameters
    ----------
    offsets
        Standard normals, shape (held, draws).

    Returns
    -------
    None where every setting is held exactly.
    """
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
