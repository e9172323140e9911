"""The smallest fair trial that would settle what a story or a leaflet leaves open.

For counts the least that could stand out at all, every coupon on a fresh set-up, and what a less
one-sided truth would take; for measurements the rounds and coupons that show the margin eight times
in ten, by the arithmetic that `plan` uses.

References
----------
Fisher (1935), *The Design of Experiments*, chapter 2: with 3 + 3 a perfect split is one of 20
deals, and its mirror another (from memory).  Sizes as in `weldtrial.analysis.power`.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import comb

from weldtrial.analysis.counted_evidence import fisher_p, smallest_p
from weldtrial.analysis.evidence import HonestTest
from weldtrial.analysis.power import (
    CHANCE,
    Precision,
    Spread,
    by_setups,
    coupons_needed,
    detectable,
    power_difference,
    power_equivalent,
    power_no_worse,
    setups_needed,
)
from weldtrial.analysis.settle_counted import coupons_that_settle, rough_coupons
from weldtrial.shared.responses import Ask
from weldtrial.shared.rounding import decimals_for, fixed, spaced

EIGHT = 0.795
"""Eight chances in ten, to the nearest in a hundred."""
HALF = 0.5
"""Share of the worse side that a sturdier count is sized for, against none of the other."""
SETUP_SHARE = 0.5
"""Scatter between set-ups as a share of that between coupons, assumed where nobody knows."""
PER_SETUP = (1, 2, 3, 4, 6)
MOST_WORTH = 200
"""Coupons beyond which a trial is more than a bench can be asked for."""
TOO_MANY = "That is more than a bench can be asked for: find a wider margin or a steadier measure."
MINUTES_COUPON, MINUTES_SETUP = 9.0, 12.0
"""What a coupon and a set-up cost, to choose between plans; of no consequence elsewhere."""


def least_counts(alpha: float = 0.05) -> int:
    """Return the smallest equal sides whose most one-sided split stands out: 4 at 5 %."""
    k = 1
    while smallest_p(k, k) > alpha:
        k += 1
    return k


def chance_of_count(k: int, share: float, alpha: float = 0.05) -> float:
    """Return the chance that k + k coupons stand out with events of one side only.

    Parameters
    ----------
    share
        True share of that side; the other has none.
    """
    enough = [x for x in range(1, k + 1) if fisher_p(x, k, 0, k) <= alpha + 1e-12]
    return sum(comb(k, x) * share**x * (1 - share) ** (k - x) for x in enough)


def sturdier_counts(share: float = HALF, chance: float = EIGHT) -> int:
    """Return the smallest k + k that stands out with at least `chance` at that true share."""
    k = least_counts()
    while chance_of_count(k, share) < chance:
        k += 1
    return k


def count_test(worse: str, other: str, what: str, thing: str) -> HonestTest:
    """Return the smallest count that could stand out, every coupon a set-up of its own.

    Parameters
    ----------
    worse, other
        Names of the side that had more events, and of the other.
    what
        What is counted (``porous``), empty where nobody says.
    thing
        What the sides are (``spool``), empty where nobody says.
    """
    k = least_counts()
    less, p, short = k - 1, smallest_p(k, k), smallest_p(k - 1, k - 1)
    more = sturdier_counts()
    rare = chance_of_count(k, HALF)
    event = what or "so"
    words = (
        f"{k} fresh set-ups of each{f' {thing}' if thing else ' side'}, 1 coupon each, shuffled, "
        f"read blind. If all {k} {worse} are {event} and none of {other}: p = {p:.2f}. "
        f"({less} + {less} could never do it: p = {short:.2f}.) That is the least: if really half "
        f"of {worse} were {event} and none of {other}, it would show so only {_times(rare)}; "
        f"{more} + {more} would show it {_times(chance_of_count(more, HALF))}."
    )
    values = {"p": p, "p_one_less": short, "chance_at_half": rare, "sturdier": float(more)}
    return HonestTest(k, 1, "difference", True, None, "", False, None, None, words, values)


def count_margin_test(margin: float, share: float, ask: Ask, thing: str) -> HonestTest | None:
    """Return the count that settles a margin eight times in ten, every coupon its own set-up.

    Parameters
    ----------
    margin
        In points as a fraction, above 0 and below 1.
    share
        Of coupons of the old side that are well; kept a little inside 0 and 1.
    thing
        What the sides are, empty where nobody says.

    Returns
    -------
    HonestTest or None
        None where no number worth naming would do.
    """
    well = min(0.98, max(0.02, share, margin if ask == "difference" else 0.0))
    k = coupons_that_settle(ask, margin, well, rough_coupons(ask, margin, well))
    if k is None:
        return None
    near = f"{100 * margin:.0f} points"
    shows = {
        "equal-enough": f"equal within {near}, if truly equal",
        "no-worse": f"no worse by more than {near}, if truly equal",
        "difference": f"a true gap of {near}",
    }[ask]
    words = (
        f"About {k} fresh set-ups of each{f' {thing}' if thing else ' side'}, 1 coupon each, "
        f"shuffled, read blind: 8 chances in 10 to show {shows} (about {100 * well:.0f} in 100 "
        f"well). Several coupons a set-up do as well only where they are no more alike than others."
    )
    if 2 * k > MOST_WORTH:
        words += f" {TOO_MANY}"
    return HonestTest(k, 1, ask, True, margin, "", True, CHANCE, None, words, {"well": well})


# ------------------------------------------------------------------------------ measured


@dataclass(frozen=True, slots=True)
class Needed:
    """Coupons of each side, every one its own set-up, to show something eight times in ten.

    Attributes
    ----------
    equal, no_worse
        To show "equal within the margin" and "no worse by more than it", if truly equal; None
        beyond reach.
    difference
        To show a true difference of the margin.
    """

    equal: int | None
    no_worse: int | None
    difference: int | None


def needed(sd: float, margin: float) -> Needed:
    """Return what a complete shuffle takes.

    Parameters
    ----------
    sd
        Between coupons each set up anew, in the unit; above 0.
    margin
        In the unit, above 0.
    """
    asks: tuple[Ask, ...] = ("equal-enough", "no-worse", "difference")
    found = [
        coupons_needed(Spread(sd), lambda p, a=ask: chance(a, margin, p), chance=EIGHT)  # type: ignore[misc]
        for ask in asks
    ]
    return Needed(*found)


def chance(ask: Ask, margin: float, precision: Precision) -> float:
    """Return the chance to show what is asked: of equals, or of a gap of exactly the margin."""
    if ask == "equal-enough":
        return power_equivalent(margin, precision.se, precision.df)
    if ask == "no-worse":
        return power_no_worse(margin, precision.se, precision.df)
    return power_difference(margin, precision.se, precision.df)


def measured_test(
    sd: float, margin: float, ask: Ask, unit: str, *, sd_setup: float | None = None
) -> HonestTest | None:
    """Return the cheapest plan in rounds that shows what is asked eight times in ten.

    Parameters
    ----------
    sd
        Between coupons of one set-up; above 0.
    margin
        In the unit, above 0.
    sd_setup
        Between set-ups; half of `sd` where nobody knows.

    Returns
    -------
    HonestTest or None
        None where no number of set-ups would do.
    """
    assumed = sd_setup is None
    spread = Spread(sd, SETUP_SHARE * sd if sd_setup is None else sd_setup)
    best: tuple[float, int, int] | None = None
    for coupons in PER_SETUP:
        setups = setups_needed(
            spread, coupons, lambda p: chance(ask, margin, p), paired=True, chance=EIGHT
        )
        if setups is None:
            continue
        setups = max(4, setups)
        minutes = 2 * setups * (MINUTES_SETUP + coupons * MINUTES_COUPON)
        if best is None or minutes < best[0]:
            best = (minutes, setups, coupons)
    if best is None:
        return None
    _, setups, coupons = best
    precision = by_setups(spread, setups, coupons, paired=True)
    sees = chance(ask, margin, precision)
    gap = detectable(precision.se, precision.df)
    values = {
        "sd_setup": spread.setup, "sd_setup_assumed": float(assumed),
        "coupons": 2.0 * setups * coupons, "minutes": best[0], "detectable": gap or 0.0,
    }  # fmt: skip
    text = _measured_words((setups, coupons), ask, margin, unit, sees, spread, assumed)
    return HonestTest(
        setups, coupons, ask, False, margin, unit, False, sees, sd, text, values
    )  # fmt: skip


def _coupons(many: int) -> str:
    return f"{many} coupon{'' if many == 1 else 's'}"


def _times(share: float) -> str:
    return f"{100 * share:.0f} times in 100"


def _measured_words(
    test: tuple[int, int], ask: Ask, margin: float, unit: str, sees: float, spread: Spread,
    assumed: bool,
) -> str:  # fmt: skip
    """Say what to weld, what it shows and what that rests on."""
    setups, coupons = test
    places = decimals_for(margin)
    near, sd, between = (
        f"{fixed(one, places)}{spaced(unit)}" for one in (margin, spread.coupon, spread.setup)
    )
    shows = {
        "equal-enough": f"\N{LEFT DOUBLE QUOTATION MARK}equal within {near}"
        f"\N{RIGHT DOUBLE QUOTATION MARK} {_times(sees)} if truly equal",
        "no-worse": f"\N{LEFT DOUBLE QUOTATION MARK}no worse by more than {near}"
        f"\N{RIGHT DOUBLE QUOTATION MARK} {_times(sees)} if truly equal",
        "difference": f"a true gap of {near} {_times(sees)}",
    }[ask]
    source = "assumed, half of it" if assumed else "given"
    many = 2 * setups * coupons
    beyond = f" {TOO_MANY}" if many > MOST_WORTH else ""
    return (
        f"{setups} rounds, both sides set up afresh in each, {_coupons(coupons)} a set-up "
        f"({many} coupons), shuffled, read blind. It would show {shows}. Worked "
        f"out from {sd} between coupons (theirs) and {between} between set-ups ({source}).{beyond}"
    )
