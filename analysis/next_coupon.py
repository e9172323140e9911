"""What coupons welded next should read: one set of draws behind every interval that is printed.

``weldtrial optimise`` shows the interval for the next coupon, ``weldtrial next --confirm`` seals
it, and the coupons that confirm are held against it, so all of them ask here.  An interval is two
quantiles of the draws of `weldtrial.analysis.joint_draws`: what is not known of the surface, the
scatter of coupons and of set-ups, and how loosely the welder holds the settings, together.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from weldtrial.analysis.joint import Held, Joint, strayed
from weldtrial.analysis.joint_draws import Drawn, drawn
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.settings_grid import Places, by_levels, evaluate, polynomial, shifted
from weldtrial.shared.factors import Factor

MANY = 20_000
"""Draws behind an interval: a 2.5 % quantile is known to 0.02 standard deviations."""
SEED = 1


@dataclass(frozen=True, slots=True, eq=False)
class Ahead:
    """Draws of what is welded next; see `look_ahead`.

    Attributes
    ----------
    held
        How well settings are held.
    drawn
        Coefficients and scatter.
    """

    joint: Joint
    held: tuple[Held, ...]
    drawn: Drawn
    seed: int

    @property
    def draws(self) -> int:
        """How many."""
        return len(self.drawn.scatter[0]) if self.drawn.scatter else 0


def look_ahead(
    joint: Joint, held: Sequence[Held] = (), *, draws: int = MANY, seed: int = SEED
) -> Ahead:
    """Draw what is not known of the coupons welded next."""
    used = drawn(joint, draws, seed) if joint.surfaces else Drawn((), ())
    return Ahead(joint, tuple(held), used, seed)


def held_of(
    factors: Iterable[Factor], asked: Sequence[Held] = (), exactly: Sequence[str] = ()
) -> tuple[Held, ...]:
    """Return how well settings are held: what was asked for, else what the trial file states.

    Parameters
    ----------
    asked
        Takes the place of a stated tolerance.
    exactly
        Factors taken as held exactly, whatever the file states.
    """
    said = {one.factor for one in asked} | set(exactly)
    stated = (
        Held(one.name, one.tolerance)
        for one in factors
        if one.tolerance is not None and one.varied and one.name not in said
    )
    return (*asked, *stated)


def means(ahead: Ahead, places: Places, r: int, coupon: int = 0) -> Floats:
    """Return the mean of response `r` at settings as run, under every draw: (places, draws).

    Parameters
    ----------
    coupon
        Each strays from what was asked of it by itself.
    """
    one = ahead.joint.surfaces[r]
    found = np.empty((len(places), ahead.draws))
    # The first coupon strays as in the chance of the same draws (`weldtrial.analysis.joint`).
    stream = [ahead.seed, 1] if coupon == 0 else [ahead.seed, 4, coupon]
    normal = np.random.default_rng(stream).standard_normal((len(ahead.held), ahead.draws))
    for levels, rows in by_levels(places):
        surface = polynomial(one.factors, one.terms, levels, ahead.drawn.coefficients[r])
        shift = strayed(places, levels, ahead.held, normal)
        if shift is not None:
            surface = shifted(surface, shift)
        found[rows] = evaluate(surface, places.coded[rows])
    return found


def next_coupon(
    ahead: Ahead, places: Places, r: int, confidence: float = 0.95
) -> tuple[Floats, Floats]:
    """Return between what one coupon in a fresh set-up should read in response `r`.

    Parameters
    ----------
    r
        Which of the fitted surfaces.
    confidence
        Share of such intervals that hold the coupon, 0 to 1.

    Returns
    -------
    low, high
        Each (places,), response unit; the same tail is left out at either end.
    """
    tail = 100 * (1 - confidence) / 2
    read = means(ahead, places, r) + ahead.drawn.scatter[r]
    low, high = np.percentile(read, (tail, 100 - tail), axis=1)
    return np.asarray(low), np.asarray(high)
