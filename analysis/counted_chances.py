"""Chances of one layout of passes or grades, number by number; see `counted_power`.

References
----------
Farrington, C. P. & Manning, G. (1990). *Statistics in Medicine* 9:1447-1454 (the score test).
Whitehead, J. (1993). Sample size calculations for ordered categorical data. *Statistics in
Medicine* 12:2257-2271.  Skellam (1948), *J. R. Stat. Soc. B* 10:257-261 (beta-binomial).  Citations
from memory.
"""

from __future__ import annotations

from functools import lru_cache
from math import log

import numpy as np
from numpy.typing import NDArray
from scipy import special

from weldtrial.analysis.counted_many import Rule, placed_setups, setup_places
from weldtrial.analysis.counted_pretend import draw_alike, graded
from weldtrial.analysis.judge import CODES
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.precision import ALPHA
from weldtrial.analysis.pretend import stream
from weldtrial.analysis.pretend_bench import ANSWERS
from weldtrial.shared.responses import Ask, Foreseen

TRIALS = 4000
"""Pretend trials behind a chance by set-up: good to 1.6 in 100 (95 %)."""
GRADED_TRIALS = 2000
"""The same of grades, which take longer: good to 2.2 in 100."""
SEED = 19


def answers(places: NDArray[np.intp], ask: Ask) -> NDArray[np.bool_]:
    """Return which verdicts show what is asked."""
    shows = np.array([code in ANSWERS[ask] for code in CODES])
    return np.asarray(shows[places])


# ---------------------------------------------------------------------- each coupon by itself


def approximate(many: int, rule: Rule, new: float, old: float) -> float:
    """Chance by the normal approximation of the score test (Farrington & Manning 1990)."""
    spread = ((new * (1 - new) + old * (1 - old)) / many) ** 0.5

    def beyond(margin: float, alpha: float, sign: float) -> float:
        """Chance that the difference is shown to lie above -margin (below it, sign -1)."""
        apart = sign * (new - old) + margin
        middle = min(1.0, max(0.0, (new + old - sign * margin) / 2))
        other = min(1.0, max(0.0, middle + sign * margin))
        held = ((middle * (1 - middle) + other * (1 - other)) / many) ** 0.5
        return float(special.ndtr((apart + special.ndtri(alpha) * held) / max(spread, 1e-12)))

    if rule.ask == "difference" or rule.margin is None:
        return min(1.0, sum(beyond(0.0, rule.two_sided / 2, sign) for sign in (1.0, -1.0)))
    if rule.ask == "no-worse":
        return beyond(rule.margin, rule.one_sided, float(rule.sign))
    both = [beyond(rule.margin, rule.one_sided, sign) for sign in (1.0, -1.0)]
    return max(0.0, sum(both) - 1)


def whitehead(
    new: int,
    reference: int,
    shares: tuple[float, ...],
    shares_reference: tuple[float, ...],
    alpha: float = ALPHA,
) -> float:
    """Return the chance that a proportional-odds model shows two levels to differ, two-sided.

    Parameters
    ----------
    new, reference
        Independent coupons of each level.
    shares, shares_reference
        Of each grade, worst first.

    References
    ----------
    Whitehead (1993), *Statistics in Medicine* 12:2257-2271: the information on the log odds ratio
    is n m N (1 - sum of the cubed mean shares) / (3 (N + 1)^2), n and m of N = n + m coupons.
    """
    total = new + reference
    mean = (np.array(shares) + np.array(shares_reference)) / 2
    information = new * reference * total / (3 * (total + 1) ** 2) * (1 - float((mean**3).sum()))
    apart = abs(log_odds(shares, shares_reference)) * information**0.5
    z = float(special.ndtri(1 - alpha / 2))
    return float(special.ndtr(apart - z) + special.ndtr(-apart - z))


def log_odds(shares: tuple[float, ...], shares_reference: tuple[float, ...]) -> float:
    """Return the log odds ratio of two sets of shares, averaged over the cuts that have one."""
    cuts = [np.cumsum(one)[:-1] for one in (shares_reference, shares)]
    inside = (cuts[0] > 0) & (cuts[0] < 1) & (cuts[1] > 0) & (cuts[1] < 1)
    if not inside.any():
        return 0.0
    return float((special.logit(cuts[0][inside]) - special.logit(cuts[1][inside])).mean())


def bounds_of(
    new: tuple[float, ...], reference: tuple[float, ...], is_new: NDArray[np.bool_]
) -> Floats:
    """Return between which numbers each coupon's grades lie, shape (n, grades - 1)."""
    ends = [np.minimum(np.cumsum(one)[:-1], 1.0) for one in (reference, new)]
    return np.array([ends[int(one)] for one in is_new.tolist()])


# ---------------------------------------------------------------------- by set-up

Rounds = tuple[int, ...] | None
"""Round of every set-up of one level, None where they stand in none."""


@lru_cache(maxsize=32)
def _drawn_setups(setups: int) -> Floats:
    return stream(SEED, 1, setups).random((TRIALS, 2 * setups))


def passing_setups(
    setups: int,
    each: int,
    rounds: Rounds,
    passing: float,
    foreseen: Foreseen,
    rule: Rule,
    smallest_p: float | None,
) -> NDArray[np.intp]:
    """Return verdicts of pretend trials of `each` coupons a set-up, shape (trials,)."""
    drawn = _drawn_setups(setups)
    passed = np.concatenate(
        [
            np.searchsorted(up_to(each, share, foreseen.alike), part, side="right")
            for share, part in ((passing, drawn[:, :setups]), (foreseen.passing, drawn[:, setups:]))
        ],
        axis=1,
    ).astype(float)
    return setup_places(
        passed,
        np.full(2 * setups, float(each)),
        np.arange(2 * setups) < setups,
        None if rounds is None else np.array(rounds * 2),
        rule,
        smallest_p,
    )


def up_to(each: int, passing: float, alike: float) -> Floats:
    """Return the chances that at most 0, 1, ... each - 1 of a set-up's coupons pass."""
    places = np.arange(each + 1)
    if alike >= 1 or passing in (0.0, 1.0):
        ends = np.where(places == 0, 1 - passing, 0.0) + np.where(places == each, passing, 0.0)
        return np.asarray(np.cumsum(ends)[:-1])
    ways = special.gammaln(each + 1) - special.gammaln(places + 1)
    ways -= special.gammaln(each - places + 1)
    if alike <= 0:
        logs = places * log(passing) + (each - places) * log(1 - passing)
    else:
        a, b = passing * (1 - alike) / alike, (1 - passing) * (1 - alike) / alike
        logs = special.betaln(places + a, each - places + b) - special.betaln(a, b)
    return np.asarray(np.cumsum(np.exp(ways + logs))[:-1])


def graded_setups(
    setups: int,
    each: int,
    rounds: Rounds,
    new: tuple[float, ...],
    foreseen: Foreseen,
    rule: Rule,
) -> NDArray[np.intp]:
    """Return verdicts of graded pretend trials; ranks take no rounds out, so they play no part."""
    setup = np.repeat(np.arange(2 * setups), each)
    is_new = setup < setups
    drawn = _drawn_grades(setups, each, foreseen.alike)
    values = graded(bounds_of(new, foreseen.shares, is_new), drawn)
    return placed_setups(values, is_new, setup, rule)


@lru_cache(maxsize=8)
def _drawn_grades(setups: int, each: int, alike: float) -> Floats:
    setup = np.repeat(np.arange(2 * setups), each)
    return draw_alike(setup, alike, GRADED_TRIALS, stream(SEED, 3, setups, each))
