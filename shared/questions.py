"""What numbers cannot say: the questions that decide how far a result can be trusted.

The items are those of ARRIVE 2.0 (Percie du Sert et al. 2020, PLoS Biol. 18, e3000410) on unit,
allocation, blinding and exclusions, put in the words of a weld shop.
"""

from __future__ import annotations

from dataclasses import dataclass

UNKNOWN = "don't know"
"""The answer that is always allowed, and never neutral."""


@dataclass(frozen=True, slots=True)
class Option:
    """One answer that is allowed.

    Attributes
    ----------
    key
        As it is written in a file or behind ``--say``.
    meaning
        The answer as a sentence says it.
    """

    key: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Question:
    """One question.

    Attributes
    ----------
    number
        1 to 18; 19 is asked only of what was repeated elsewhere and is not counted.
    words
        As it is asked.
    to_author
        As a letter asks it of whoever did the work.
    """

    number: int
    key: str
    words: str
    to_author: str
    options: tuple[Option, ...]

    @property
    def allowed(self) -> tuple[str, ...]:
        """What may be answered, the last being `UNKNOWN`."""
        return (*(option.key for option in self.options), UNKNOWN)

    def meaning(self, answer: str) -> str:
        """Return an answer as a sentence says it."""
        return next((one.meaning for one in self.options if one.key == answer), "not known")


def _ask(number: int, key: str, words: str, author: str, **options: str) -> Question:
    allowed = tuple(Option(name.replace("_", "-"), text) for name, text in options.items())
    return Question(number, key, words, author, allowed)


QUESTIONS = (
    _ask(
        1, "order", "Was the order of welding shuffled, and how?",
        "In which order were the coupons welded, and how was the order decided?",
        drawn="shuffled by a draw (dice, cards, a seal)",
        by_hand="mixed by hand, without a draw",
        no="not shuffled",
    ),
    _ask(
        2, "sessions", "Were both sides welded in the same sessions?",
        "Were both sides welded on the same days, turn and turn about?",
        yes="both sides in every session",
        no="the sides were welded at different times",
    ),
    _ask(
        3, "controls", "Were the earlier ones written down at the time, taken from older records, "
        "or remembered?",
        "Were the results it is compared with written down at the time, or remembered?",
        recorded="written down at the time, in the same trial",
        earlier="taken from earlier records",
        remembered="from memory",
        none="there was nothing to compare with",
    ),
    _ask(
        4, "setups", "How many separate set-ups of each side were there (bottle, spool or "
        "regulator fitted anew)?",
        "How many times was each bottle, spool or regulator taken off and fitted again?",
        one="one set-up of each side",
        two_or_three="two or three set-ups of each side",
        four_or_more="four or more set-ups of each side",
    ),
    _ask(
        5, "units", "Are the rows different welds, or cuts and re-readings of one weld?",
        "Is every figure a weld of its own, or are some of them several cuts or readings of one?",
        welds="every row is a weld of its own",
        folded="readings of one weld, folded into coupons here",
        readings="several rows are readings of one weld",
    ),
    _ask(
        6, "same", "Were plate heat, wire spool, stick-out, position and welder the same?",
        "Were plate heat, wire spool, stick-out, position and welder the same throughout?",
        yes="plate, spool, stick-out, position and welder were the same",
        no="plate, spool, stick-out, position or welder differed",
    ),
    _ask(
        7, "settings", "Were the settings the same for both, or each its own; who tuned them?",
        "Which settings did each side have, who found them, and how long did each take?",
        same="the same settings for both",
        own_rule="each its own settings, found by a rule that was stated",
        differed="settings differed, without a rule that was stated",
    ),
    _ask(
        8, "bead", "Was the bead size measured, and alike (a bigger bead is stronger whatever "
        "the gas)?",
        "Were throat or leg measured, and may I have the figures?",
        alike="bead size measured, and alike",
        machine="travel and feed held by a machine",
        differed="the beads were not of one size",
        not_measured="bead size was not measured",
    ),
    _ask(
        9, "reader", "Is the reading an instrument's or a judgement, and did the reader know the "
        "side?",
        "Who took the readings, and could they know which side a coupon was of?",
        instrument="read off an instrument",
        blind="judged by someone who could not know the side",
        knew="judged by someone who knew the side",
    ),
    _ask(
        10, "rule", "Was the rule for a crack or a failure written down before?",
        "What counted as a crack or a failure, and was that written down beforehand?",
        yes="the failure rule was written before",
        not_needed="nothing was judged by a rule",
        no="the failure rule was made afterwards",
    ),
    _ask(
        11, "left-out", "Was any coupon scrapped, repeated or left out; by whom, knowing what?",
        "Was any coupon scrapped, repeated or left out, and why?",
        none="nothing was left out",
        explained="some were left out, each with a reason, no more than 1 in 10 of either side",
        unexplained="some were left out without a reason",
        lopsided="more than 1 in 10 of one side were left out",
    ),
    _ask(
        12, "limit", "What happened where the gauge reached its limit?",
        "Did any coupon reach the limit of the gauge, and what was written down then?",
        not_reached="the limit was not reached",
        at_least="written as at least the limit",
        as_value="the limit was written as the reading",
        dropped="those at the limit were dropped",
    ),
    _ask(
        13, "place", "Where did it fail: in the weld or in the plate?",
        "Where did each coupon break: throat, toe, root, or the plate beside it?",
        weld="in the weld",
        plate="some in the plate",
        does_not_apply="nothing was broken",
    ),
    _ask(
        14, "gauge", "Was the gauge checked?",
        "When was the gauge last checked?",
        yes="the gauge was checked",
        no="the gauge was not checked",
    ),
    _ask(
        15, "outcomes", "How many things were measured, and is this the only one told?",
        "Was anything else measured, and how did it come out?",
        only_one="one thing was measured",
        all_told="all that was measured is told",
        one_of_many="one of several things measured is told",
    ),
    _ask(
        16, "decided", "Were the question, and when to stop, decided before the results were seen?",
        "Were the question and the number of coupons decided before the first result was seen?",
        before="question and number of coupons decided before",
        on_the_way="stopped when it looked clear",
        afterwards="the question was chosen after the results were seen",
    ),
    _ask(
        17, "paid", "Who paid for gas, wire and plates?",
        "Who paid for gas, wire and plates?",
        own="whoever did the work",
        buyer="someone without a stake in the answer",
        seller="someone who sells one of them",
    ),
    _ask(
        18, "raw", "Are raw numbers and photos to be had?",
        "May I see the raw figures, coupon by coupon, and photos if there are any?",
        yes="raw numbers are to be had",
        no="raw numbers are not to be had",
    ),
)  # fmt: skip
"""The eighteen."""

REPEATED = _ask(
    19, "repeated", "Was it repeated by another bench, with its own set-ups?",
    "Has anyone else tried it, with set-ups of their own?",
    yes="repeated by another bench with its own set-ups",
    no="not repeated elsewhere",
)  # fmt: skip
"""Not one of the eighteen: the only answer that can raise a grade."""

DECISIVE = QUESTIONS[:8]
"""Those without which nothing can be judged."""
FOR_A_STORY = ("controls", "sessions", "settings", "setups", "reader", "decided")
"""The six to ask first where only counts were told."""

BY_KEY = {question.key: question for question in (*QUESTIONS, REPEATED)}
