"""The table behind a grade: what every answer to every question does to it, and nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from weldtrial.analysis.evidence import Grade
from weldtrial.shared.questions import UNKNOWN

LADDER: tuple[Grade, ...] = ("cannot-be-judged", "anecdote", "weak", "fair", "strong")
"""Grades from the lowest."""


@dataclass(frozen=True, slots=True)
class Rule:
    """What one answer does.

    Attributes
    ----------
    words
        The reason as a grade gives it.
    at_most
        The grade to start from can be no better than this.
    step
        Whether it costs one step.
    group
        Steps of one group cost one step together; empty for a group of its own.
    against
        How the difference could have come about, for the best case against the result.
    """

    words: str
    at_most: Grade = "strong"
    step: bool = False
    group: str = ""
    against: str = ""


NEUTRAL = Rule("")
UNSAID = "unsaid"
_HAND = "hand welding by someone who knew the side, and bead size "
_BEAD = (
    "A bigger bead is stronger whatever the gas: without bead sizes the whole difference may be a "
    "little more metal on one side."
)
_LEFT_OUT = (
    "Coupons that were left out may have been the ones that did not fit: put back, they could "
    "close the gap."
)
_OTHER_DAYS = (
    "The sides were not welded together: a warmer plate, another spool or a practised hand would "
    "look the same in these figures."
)
_OTHER_DAYS_UNSAID = (
    "If the sides were not welded together, a warmer plate, another spool or a practised hand "
    "would look the same in these figures."
)
_ONE_SETUP = (
    "One set-up of each is one trial of each, however many coupons came off it: a regulator that "
    "read low that once would do it."
)
_READER = "Whoever read them could tell the side, and borderline readings go the way one expects."
_SETTINGS = (
    "One side may simply have been tuned better: the difference is then the setting's, and would "
    "go when both are tuned with equal care."
)
_AS_COUPONS = "Several readings of one weld agree with themselves: they make no more welds."

RULES: Mapping[tuple[str, str], Rule] = {
    # ---------------------------------------------------------------- where the grade starts
    ("order", "drawn"): Rule("order shuffled by a draw"),
    ("order", "by-hand"): Rule("order mixed by hand, not drawn", "fair", against=(
        "Who mixes by hand can, without wishing it, put the better plates on one side.")),
    ("order", "no"): Rule("order not shuffled", "fair", against=(
        "Without a draw, whatever changed in the course of the day went to one side more than to "
        "the other.")),
    ("order", UNKNOWN): Rule("whether the order was shuffled is not said", "fair", against=(
        "If the order was not drawn, whatever changed in the course of the day may have gone to "
        "one side.")),
    ("sessions", "yes"): Rule("both sides in every session"),
    ("sessions", "no"): Rule("the two sides welded at different times", "weak",
                             against=_OTHER_DAYS),
    ("sessions", UNKNOWN): Rule("whether both sides were welded in the same sessions is not said",
                                "weak", against=_OTHER_DAYS_UNSAID),
    ("controls", "recorded"): Rule("both sides written down at the time"),
    ("controls", "earlier"): Rule("control from earlier records", "weak", against=(
        "Earlier coupons had other plates, another spool and another welder's hand that day.")),
    ("controls", "remembered"): Rule("control from memory", "anecdote", against=(
        "Memory keeps no tally: a control from memory can have had a failure or two that nobody "
        "remembers.")),
    ("controls", "none"): Rule("no control", "anecdote", against=(
        "With nothing beside it, the same might have happened with the old one that day.")),
    ("controls", UNKNOWN): Rule("where the control comes from is not said", "weak", against=(
        "If the control comes from earlier records or from memory, it was not welded under the "
        "same circumstances.")),
    ("setups", "one"): Rule("one set-up of each side", "weak", against=_ONE_SETUP),
    ("setups", "two-or-three"): Rule("only two or three set-ups of each side", "fair", against=(
        "With so few set-ups, two good fittings of one bottle and two poor ones of the other make "
        "a difference like this.")),
    ("setups", "four-or-more"): Rule("four or more set-ups of each side"),
    ("setups", UNKNOWN): Rule("how many set-ups there were is not said: counted as one of each",
                              "weak", against=_ONE_SETUP),
    # ---------------------------------------------------------------- what costs a step
    ("units", "welds"): NEUTRAL,
    ("units", "folded"): NEUTRAL,
    ("units", "readings"): Rule("re-readings of one weld counted as coupons", step=True,
                                against=_AS_COUPONS),
    ("units", UNKNOWN): Rule("whether rows are welds or readings of one weld is not said",
                             step=True, against=_AS_COUPONS),
    ("same", "yes"): NEUTRAL,
    ("same", "no"): Rule("plate, spool, position or welder differed", step=True, against=(
        "Plate, spool, position or welder differed too: any of them may be the cause.")),
    ("same", UNKNOWN): Rule("whether plate, spool, position and welder were the same is not said",
                            step=True, against=(
        "Another plate heat or another spool on one side could be the cause; nobody said.")),
    ("settings", "same"): NEUTRAL,
    ("settings", "own-rule"): NEUTRAL,
    ("settings", "differed"): Rule("settings differed without a stated rule", step=True,
                                   against=_SETTINGS),
    ("settings", UNKNOWN): Rule("settings of the two sides are not said", step=True,
                                against=_SETTINGS),
    ("bead", "alike"): NEUTRAL,
    ("bead", "machine"): NEUTRAL,
    ("bead", "differed"): Rule("the beads were not of one size", step=True, against=_BEAD),
    ("bead", "not-measured"): Rule(_HAND + "not measured", step=True, against=_BEAD),
    ("bead", UNKNOWN): Rule(_HAND + "not said", step=True, against=_BEAD),
    ("reader", "instrument"): NEUTRAL,
    ("reader", "blind"): NEUTRAL,
    ("reader", "knew"): Rule("judged by someone who knew the side", step=True, against=_READER),
    ("reader", UNKNOWN): Rule("who read them, and whether they knew the side, is not said",
                              step=True, against=_READER),
    ("rule", "yes"): NEUTRAL,
    ("rule", "not-needed"): NEUTRAL,
    ("rule", "no"): Rule("failure rule made afterwards", step=True, against=(
        "A failure rule that was made afterwards can be drawn just where it makes the gap.")),
    ("rule", UNKNOWN): Rule("when the failure rule was made is not said", step=True, group=UNSAID),
    ("left-out", "none"): NEUTRAL,
    ("left-out", "explained"): NEUTRAL,
    ("left-out", "unexplained"): Rule("coupons left out without a reason", step=True,
                                      against=_LEFT_OUT),
    ("left-out", "lopsided"): Rule("more than 1 in 10 of one side left out", step=True,
                                   against=_LEFT_OUT),
    ("left-out", UNKNOWN): Rule("whether any coupon was left out is not said", step=True,
                                against=_LEFT_OUT),
    ("outcomes", "only-one"): NEUTRAL,
    ("outcomes", "all-told"): NEUTRAL,
    ("outcomes", "one-of-many"): Rule("one of many outcomes told", step=True, against=(
        "Of many things measured some always stand out by chance, and those are the ones told.")),
    ("outcomes", UNKNOWN): Rule("how many things were measured is not said", step=True,
                                group=UNSAID),
    ("decided", "before"): NEUTRAL,
    ("decided", "on-the-way"): Rule("stopped when it looked clear", step=True, against=(
        "Who stops when it looks clear stops at the widest gap, which is not the true one.")),
    ("decided", "afterwards"): Rule("question chosen after the event", step=True, against=(
        "A question asked after something was seen is one of all that might have been seen: "
        "something odd turns up in every shop, every year.")),
    ("decided", UNKNOWN): Rule("when question and stopping were decided is not said", step=True,
                               group=UNSAID),
    ("limit", "dropped"): Rule("coupons at the gauge limit were dropped", step=True, against=(
        "Those at the limit were the strongest; dropping them takes the best from one side.")),
    # ---------------------------------------------------------------- worth knowing, no step
    ("limit", "not-reached"): NEUTRAL,
    ("limit", "at-least"): NEUTRAL,
    ("limit", "as-value"): Rule("readings at the gauge limit were written as if read", against=(
        "Where the limit stands for a reading, the stronger side is held back; the gap may be "
        "another.")),
    ("limit", UNKNOWN): Rule("what happened at the gauge limit is not said"),
    ("place", "weld"): NEUTRAL,
    ("place", "does-not-apply"): NEUTRAL,
    ("place", "plate"): Rule("some failed in the plate, which says of the weld only 'at least'"),
    ("place", UNKNOWN): Rule("where they failed is not said"),
    ("gauge", "yes"): NEUTRAL,
    ("gauge", "no"): Rule("the gauge was not checked"),
    ("gauge", UNKNOWN): Rule("when the gauge was checked is not said"),
    ("paid", "own"): NEUTRAL,
    ("paid", "buyer"): NEUTRAL,
    ("paid", "seller"): Rule("paid for by someone who sells one of them", against=(
        "It was paid for by someone who sells one of them: what came out otherwise might not have "
        "been told.")),
    ("paid", UNKNOWN): Rule("who paid is not said"),
    ("raw", "yes"): NEUTRAL,
    ("raw", "no"): Rule("raw numbers are not to be had"),
    ("raw", UNKNOWN): Rule("whether raw numbers are to be had is not said"),
    # ---------------------------------------------------------------- the only step up
    ("repeated", "yes"): NEUTRAL,
    ("repeated", "no"): NEUTRAL,
    ("repeated", UNKNOWN): NEUTRAL,
}  # fmt: skip
"""By question and answer."""

STARTS = ("controls", "sessions", "setups", "order")
"""Questions that decide where a grade starts, the heaviest first."""
