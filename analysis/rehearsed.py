"""What a rehearsal says of a plan: how often which verdict, wrong ones, and what it can reach."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from weldtrial.analysis.chances import SimulatedChance, of_trials
from weldtrial.analysis.findings import Strength, VerdictCode
from weldtrial.analysis.pretend_bench import ANSWERS, BETTER, WORSE
from weldtrial.analysis.rehearse import Played, Sentence, TrueLoss
from weldtrial.shared.responses import Ask

SELDOM = 0.15
"""A plan whose verdicts are anything but "not settled" less often than this settles nothing.

By chance alone they come to 5 in 100 (a difference that is none), or 7.5 with a one-sided limit
beside it: a plan is hopeless while it does less than twice as well as that.
"""
NO_LOSS: frozenset[VerdictCode] = frozenset(
    ("not_worse", "equivalent", "worse_within_margin", *BETTER)
)
"""Verdicts that deny a loss as big as the margin."""
UNSETTLED: frozenset[VerdictCode | None] = frozenset(
    ("not_settled", "cannot_tell", "depends_on", None)
)
_ORDER: tuple[VerdictCode | None, ...] = (
    *WORSE,
    "difference_shown",
    "not_settled",
    "not_worse",
    "equivalent",
    *reversed(BETTER),
    "at_limit",
    "depends_on",
    "cannot_tell",
    None,
)


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """A rehearsed plan.

    Attributes
    ----------
    truths
        The columns.
    sentences
        The rows: sentence by sentence, worst for the new level first.
    trials, seed
        Pretend trials of each truth, and the seed.
    turned
        What answers depended on, with how often, over all truths.
    rounds
        For each truth, after how many rounds trials ended and how often; empty without looks.
    """

    truths: tuple[TrueLoss, ...]
    sentences: tuple[Sentence, ...]
    trials: int
    seed: int
    turned: tuple[tuple[str, int], ...]
    rounds: tuple[tuple[tuple[int, int], ...], ...] = ()

    def average_rounds(self, truth: int) -> float | None:
        """Rounds after which a trial ended on average under one truth, None without looks."""
        ended = self.rounds[truth] if self.rounds else ()
        times = sum(count for _, count in ended)
        return sum(after * count for after, count in ended) / times if times else None

    def chance(self, codes: Sequence[VerdictCode | None], truth: int) -> SimulatedChance:
        """Return how often a verdict is one of `codes` under one truth."""
        hits = sum(s.counts[truth] for s in self.sentences if s.code in codes)
        return of_trials(hits, self.trials)

    @property
    def settles_nothing(self) -> bool:
        """Whether at every truth fewer than 15 in 100 verdicts are anything but unsettled."""
        return all(
            1 - self.chance(tuple(UNSETTLED), place).chance < SELDOM
            for place in range(len(self.truths))
        )

    @property
    def never_told(self) -> bool:
        """Whether no verdict of the whole rehearsal compares the two levels."""
        return all(s.code in ("cannot_tell", None) for s in self.sentences)

    def shows(self, ask: Ask) -> SimulatedChance | None:
        """How often what is asked is shown, at the truth that planning takes for it.

        No difference, or for ``difference`` a loss of the margin; None where that is no column.
        """
        share = 1.0 if ask == "difference" else 0.0
        places = [place for place, truth in enumerate(self.truths) if truth.share == share]
        return self.chance(tuple(ANSWERS[ask]), places[0]) if places else None

    @property
    def wrongly_no_worse(self) -> tuple[tuple[TrueLoss, SimulatedChance], ...]:
        """How often a loss of the margin or more is denied, truth by truth."""
        codes = tuple(NO_LOSS)
        return tuple(
            (truth, self.chance(codes, place))
            for place, truth in enumerate(self.truths)
            if truth.share >= 1
        )

    @property
    def wrongly_different(self) -> SimulatedChance:
        """How often a change is claimed where there is none."""
        return self.chance((*WORSE, *BETTER, "difference_shown"), 0)

    @property
    def depending(self) -> tuple[SimulatedChance, ...]:
        """How often an answer depends on a failed check, truth by truth."""
        return tuple(self.chance(("depends_on",), place) for place in range(len(self.truths)))

    @property
    def strengths(self) -> frozenset[Strength]:
        """How firmly verdicts were worded."""
        return frozenset(s.strength for s in self.sentences if s.strength is not None)

    @property
    def margin_of_error(self) -> float:
        """Half the 95 % Monte-Carlo interval of a share of one half, the widest there is."""
        middle = of_trials(self.trials // 2, self.trials)
        return (middle.high - middle.low) / 2


def rehearsed(played: Played, truths: Sequence[TrueLoss], trials: int, seed: int) -> Rehearsed:
    """Sum a rehearsal up."""
    keys = {key for column in played.ends for key in column}
    rows = [
        Sentence(
            code, strength, words, tuple(column[code, strength, words] for column in played.ends)
        )
        for code, strength, words in keys
    ]
    rows.sort(key=lambda row: (_ORDER.index(row.code), row.strength or "", row.words))
    turned = sum(played.turned[1:], start=played.turned[0].copy())
    ended = tuple(tuple(sorted(column.items())) for column in played.rounds)
    return Rehearsed(
        tuple(truths),
        tuple(rows),
        trials,
        seed,
        tuple(turned.most_common()),
        ended if any(ended) else (),
    )
