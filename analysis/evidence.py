"""The records of a review: what is shown for a claim, what it says, and what it is worth.

Numbers and design are answered apart: `Said` is about the numbers taken at face value; `Judgement`
holds the verdict beside a grade for how far they can be trusted.  What was given (`Evidence`,
`Side`, `Claim`) is read in `shared`, which knows no statistics, and named here again so that
everybody builds on one module.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from weldtrial.shared.claimed import (
    Claim,
    ClaimKind,
    Direction,
    Evidence,
    EvidenceKind,
    Side,
    Stated,
    Study,
)

__all__ = [
    "Claim",
    "ClaimKind",
    "ClaimVerdict",
    "Direction",
    "Evidence",
    "EvidenceKind",
    "Grade",
    "HonestTest",
    "Judgement",
    "Reason",
    "Said",
    "Side",
    "Stated",
    "Study",
    "UndoRow",
]

ClaimVerdict = Literal["supported", "contradicted", "not-settled"]
Grade = Literal["strong", "fair", "weak", "anecdote", "cannot-be-judged"]


@dataclass(frozen=True, slots=True)
class Said:
    """One thing that the numbers say.

    Attributes
    ----------
    code
        A fixed word for programs: ``sides``, ``chance-split``, ``difference``, ``ratio``, ...
    words
        The sentence or sentences, ready to print; never more than the numbers bear.
    values
        The numbers behind the words, by name, unrounded; fractions for shares and percents.
    """

    code: str
    words: str
    values: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class UndoRow:
    """One changed fact and what the number becomes.

    Attributes
    ----------
    what
        The fact: "one forgotten porous bead among the 12".
    p
        Two-sided p if it were so; None where no test is left.
    undone
        Whether the result no longer stands out (p above 0.05).
    told
        Whether the questionnaire said that it is so.
    code
        A fixed word: ``forgotten``, ``fewer-earlier``, ``clusters``, ...
    values
        Numbers behind it, by name.
    """

    what: str
    p: float | None
    undone: bool
    told: bool = False
    code: str = ""
    values: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class HonestTest:
    """The smallest fair trial that would settle it.

    Attributes
    ----------
    setups
        Fresh set-ups of each side; one of each makes a round.
    coupons
        Counting coupons in each set-up.
    ask
        What the trial would ask: ``difference``, ``no-worse`` or ``equal-enough``.
    counts
        Whether coupons are counted (porous or not) rather than measured.
    margin, unit, percent
        The margin it is sized for, a fraction where `percent`; None for counts at their most
        lopsided.
    chance
        Chance that it settles the question, on what `words` says is assumed; None where it is
        the smallest that could at all.
    sd
        Scatter between coupons that was assumed, in the unit.
    words
        What to weld and what it could show.
    values
        Numbers behind the words.
    """

    setups: int
    coupons: int
    ask: Literal["difference", "no-worse", "equal-enough"]
    counts: bool
    margin: float | None
    unit: str
    percent: bool
    chance: float | None
    sd: float | None
    words: str
    values: Mapping[str, float] = field(default_factory=dict)

    @property
    def rounds(self) -> int:
        """Rounds: every one welds each side once."""
        return self.setups


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a grade starts where it does, or steps down (``steps`` below 0) or up.

    Attributes
    ----------
    code
        A fixed word for programs.
    words
        The reason in words.
    steps
        Steps up (+1) or down (-1); 0 where it is the start, or only worth knowing.
    """

    code: str
    words: str
    steps: int = 0


@dataclass(frozen=True, slots=True)
class Judgement:
    """All of a review, numbers and design apart.

    Attributes
    ----------
    verdict, verdict_words
        Code and sentence.
    grade, reasons
        How far the comparison can be trusted, and why; None before the questions were asked.
    says
        What the numbers say at face value, in order.
    undo
        What it takes to undo it.
    test
        The cheapest honest test; None where none would help.
    unsized
        Why there is none though it is not settled; empty where there is one, or need be none.
    """

    verdict: str
    verdict_words: str
    grade: Grade | None = None
    reasons: tuple[Reason, ...] = ()
    says: tuple[Said, ...] = ()
    undo: tuple[UndoRow, ...] = ()
    test: HonestTest | None = None
    unsized: str = ""
