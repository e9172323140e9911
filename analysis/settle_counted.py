"""How many coupons or set-ups would probably settle a question of passes that was left open."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from math import ceil, sqrt

from scipy import special

from weldtrial.analysis.observations import Observation
from weldtrial.analysis.power import power_difference, power_equivalent, power_no_worse
from weldtrial.analysis.proportion_power import (
    CHANCE,
    chance_equal,
    chance_no_worse,
    chance_of_fall,
)
from weldtrial.analysis.settle import ASSUMED, MOST
from weldtrial.analysis.setup_proportions import least_se
from weldtrial.shared.responses import Ask, Response

EXACT_UP_TO = 100
"""Coupons of each gas beyond which the number grows by the normal rule, in steps of ten."""
NEAR = 0.02
"""Chance above 0.8 that is near enough."""
STEPS = 4
"""Corrections of the guess before it is walked to the first number that is enough."""


def coupons_that_settle(ask: Ask, margin: float, share: float, guess: int) -> int | None:
    """Return about how many independent coupons of each level settle it 8 times in 10.

    Parameters
    ----------
    ask
        The question; the two levels are taken as truly equal, for ``difference`` the margin apart.
    margin
        In points, above 0 and below 1.
    share
        Of coupons that are well, 0 to 1 both excluded: of both levels, or of the better one.
    guess
        Where to begin.

    Returns
    -------
    int or None
        The first number near the guess that is enough: a few more may fall just below it (the
        chance of an exact test has a saw-tooth).  Beyond `EXACT_UP_TO` from the exact chance there
        by the square root of the number; None beyond `MOST`.
    """
    chances: dict[Ask, Callable[[int], float]] = {
        "no-worse": lambda many: chance_no_worse(many, many, margin, share, share),
        "equal-enough": lambda many: chance_equal(many, many, margin, share),
        "difference": lambda many: chance_of_fall(many, many, max(0.0, share - margin), share),
    }
    at = cache(chances[ask])
    tail = 1.96 if ask == "difference" else 1.645
    aim = tail + float(special.ndtri((1 + CHANCE) / 2 if ask == "equal-enough" else CHANCE))
    many = min(EXACT_UP_TO, max(2, guess))
    for _ in range(STEPS):
        chance = min(0.999, max(0.001, at(many)))
        reached = tail + float(special.ndtri((1 + chance) / 2 if ask == "equal-enough" else chance))
        wanted = many * (aim / max(reached, 0.3)) ** 2
        if many == EXACT_UP_TO and wanted > many:
            return None if wanted > MOST else 10 * ceil(wanted / 10)
        last, many = many, min(EXACT_UP_TO, max(2, round(wanted)))
        if abs(many - last) <= 1:
            break
    while many < EXACT_UP_TO and at(many) < CHANCE:
        many += 1
    while many > 2 and at(many) > CHANCE + NEAR and at(many - 1) >= CHANCE:
        many -= 1
    return many


def rough_coupons(ask: Ask, margin: float, share: float) -> int:
    """Return what two normal shares would need: where the exact search begins."""
    other = max(0.0, share - margin) if ask == "difference" else share
    apart = {"no-worse": 6.18, "equal-enough": 8.56, "difference": 7.85}[ask] / margin**2
    return max(2, ceil(apart * (share * (1 - share) + other * (1 - other))))


def settle_coupons(response: Response, passed: int, of: int, least: int) -> str:
    """Say how many coupons of each level, dealt one by one, would settle it 8 times in 10.

    From the margin and the share of all coupons that passed, never from the change observed
    (Hoenig & Heisey 2001, *Am. Stat.* 55:19-24).

    Parameters
    ----------
    response
        In points.
    passed, of
        Coupons of both levels that passed, out of how many.
    least
        More than so many coupons of each are needed: so many settled nothing.
    """
    margin = 0.0 if response.margin is None else response.margin.value / 100
    if not 0 < margin < 1:
        return ""
    share = _share(passed, of)
    good = share if response.sign > 0 else 1 - share
    guess = rough_coupons(response.ask, margin, good)
    needed = coupons_that_settle(response.ask, margin, good, guess)
    seen = f"With {100 * share:.0f} in 100 passing, as here, "
    if needed is None:
        return (
            f"{seen}more than {MOST} coupons of each would be needed to settle it 8 times in 10: "
            "measure something that is no pass or fail instead."
        )
    return (
        f"{seen}about {max(needed, least + 1)} coupons of each, dealt one by one, would settle it "
        f"8 times in 10 {ASSUMED[response.ask]}."
    )


def settle_setups(
    response: Response, observations: Sequence[Observation], se: float, df: float, units: int
) -> str:
    """Say how many set-ups of each level would settle it 8 times in 10.

    The planning rule of t on set-ups' shares (`weldtrial.analysis.power`), with the scatter found,
    or with that of independent coupons where it is larger: set-ups that agree by luck promise too
    much.  Nor is the interval narrower than the verdict's (`setup_proportions.least_variance`).

    Parameters
    ----------
    response
        In points.
    observations
        Coupons of the two levels.
    se, df
        Of the difference, in points, as found.
    units
        Set-ups of the scarcer level (within set-ups: all of them).
    """
    margin = 0.0 if response.margin is None else response.margin.value
    if not margin > 0 or units < 2:
        return ""
    share = _share(int(sum(o.value for o in observations)), len(observations))
    alone = 100 * sqrt(4 * share * (1 - share) / len(observations))
    tested = max(se, alone)
    chances: dict[Ask, Callable[[float, float], float]] = {
        "no-worse": lambda at, left: power_no_worse(margin, at, left),
        "equal-enough": lambda at, left: power_equivalent(margin, at, left),
        "difference": lambda at, left: power_difference(margin, at, left),
    }
    chance, each = chances[response.ask], df / (units - 1)
    size = len(observations) / (2 * units)
    tail = 0.025 if response.ask == "difference" else 0.05

    def scatter(many: int) -> float:
        """Standard error of so many set-ups; of the least one, what t would need to be as wide."""
        t = float(special.stdtrit(each * (many - 1), 1 - tail))
        least = least_se(share, many, size) * float(special.ndtri(1 - tail)) / t
        return max(tested * sqrt(units / many), 100 * least)

    needed = next(
        (
            many
            for many in range(units + 1, MOST + 1)
            if chance(scatter(many), each * (many - 1)) >= CHANCE
        ),
        None,
    )
    start = (
        "With scatter between set-ups like this, "
        if tested == se
        else "With the scatter of independent coupons (set-ups here agree more, maybe by luck), "
    )
    if needed is not None and scatter(needed) > tested * sqrt(units / needed):
        start = "With the least scatter between set-ups that the verdict reckons with, "
    if needed is None:
        return f"{start}no practical number of set-ups would settle it."
    many = ceil(needed * len(observations) / units)
    return (
        f"{start}about {needed} set-ups of each ({many} coupons of the two in all) would settle it "
        f"8 times in 10 {ASSUMED[response.ask]}."
    )


def _share(passed: int, of: int) -> float:
    """Return the share that passed; where all or none did, as if half a coupon had not."""
    return min(of - 0.5, max(0.5, passed)) / of
