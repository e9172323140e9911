"""Rehearsal: this plan played with pretend readings, to see which verdicts it would give.

Each pretend trial goes through the function that words the verdict, checks and all, so that a
verdict that depends on a failed check, or cannot be told, comes as often as it would.  The same
scatter and the same losses are drawn for every truth: columns differ by the truth alone.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from weldtrial.analysis.compare import asked_of
from weldtrial.analysis.comparison import compare
from weldtrial.analysis.context import Context
from weldtrial.analysis.counted_pretend import CountedBench, draw_alike, graded
from weldtrial.analysis.findings import Strength, Verdict, VerdictCode
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.losses import Losses, kept
from weldtrial.analysis.observations import Observation, averaged
from weldtrial.analysis.pretend import Truth, draw, pretend_record, read, stream, true_values
from weldtrial.analysis.pretend_bench import PretendBench
from weldtrial.analysis.question import Question
from weldtrial.analysis.views import all_views
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.trial import Trial

TRIALS = 1000
_SCATTER, _LOSSES = 3, 4
_COUNT = re.compile(r"\ball \d+ coupons\b")
NOT_ENOUGH = "No answer: too little is left, or no scatter shows, to judge by."
DEPENDS = "Answer depends on a check that failed (both answers would be printed)."


@dataclass(frozen=True, slots=True)
class Ended:
    """How one trial ended: its verdict and, where there are looks, after how many rounds."""

    verdict: Verdict
    rounds: int | None = None


VerdictOf = Callable[[Context, Question, Sequence[Observation]], Ended]
"""What words the verdict of one trial; it may raise `NotEstimable`."""
Dealt = Callable[[int, Sequence[bool]], tuple[Observation, ...]]
"""Coupons of one pretend trial as they would be read under a truth, of those that are left."""


@dataclass(frozen=True, slots=True)
class TrueLoss:
    """One column of a rehearsal.

    Attributes
    ----------
    share
        The loss as a share of the margin: 0, 0.5, 1, 2.
    loss
        The same in the unit of the figures, 0 or more.
    change
        The true change, level minus reference.
    """

    share: float
    loss: float
    change: float


@dataclass(frozen=True, slots=True)
class Sentence:
    """How often one verdict sentence came.

    Attributes
    ----------
    code, strength
        Its code, None where the analysis refuses, and its strength.
    words
        The sentence.
    counts
        Trials that ended with it, one number a truth.
    """

    code: VerdictCode | None
    strength: Strength | None
    words: str
    counts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Played:
    """What a stretch of pretend trials ended with; stretches add up.

    Attributes
    ----------
    ends
        How often each (code, strength, words) came, one counter a truth.
    turned
        How often each thing was what an answer depended on, one counter a truth.
    rounds
        How often a trial ended after so many rounds, one counter a truth; empty without looks.
    """

    ends: tuple[Counter[tuple[VerdictCode | None, Strength | None, str]], ...]
    turned: tuple[Counter[str], ...]
    rounds: tuple[Counter[int], ...]

    def __add__(self, other: Played) -> Played:
        """Return both stretches taken together."""
        return Played(
            tuple(a + b for a, b in zip(self.ends, other.ends, strict=True)),
            tuple(a + b for a, b in zip(self.turned, other.turned, strict=True)),
            tuple(a + b for a, b in zip(self.rounds, other.rounds, strict=True)),
        )


def verdict_of(context: Context, question: Question, observations: Sequence[Observation]) -> Ended:
    """Return the verdict as `analyse` words it, every check looked at."""
    fit = question.fit(observations)
    views = all_views(question, fit, observations, context.record)
    return Ended(compare(context, question, fit, observations, views, ()).verdict)


def true_losses(
    bench: PretendBench | CountedBench, unit_of_loss: float | None
) -> tuple[TrueLoss, ...]:
    """Return the truths to rehearse: nothing, and half, one and two times a loss.

    Parameters
    ----------
    bench
        The comparison.
    unit_of_loss
        The loss counted in, such as the margin; None where there is none to count in.  Of passes
        no loss is larger than what passes (fails) today.
    """
    if unit_of_loss is None:
        return (TrueLoss(0.0, 0.0, 0.0),)
    return tuple(
        TrueLoss(share, share * unit_of_loss, bench.loss(share * unit_of_loss) if share else 0.0)
        for share in (0.0, 0.5, 1.0, 2.0)
        if not isinstance(bench, CountedBench) or share * unit_of_loss <= bench.biggest
    )


def play(
    trial: Trial,
    bench: PretendBench | CountedBench,
    truths: Sequence[TrueLoss],
    numbers: range,
    seed: int,
    losses: Losses,
    *,
    verdict_of: VerdictOf = verdict_of,
    done: Callable[[int], None] = lambda trials: None,
) -> Played:
    """Play pretend trials number by number and count their verdicts.

    Parameters
    ----------
    trial
        The trial, for its purpose and what it compares.
    bench
        The comparison, its coupons and their scatter.
    truths
        One column each; every number is played once for each.
    numbers
        Which pretend trials: number 7 is the same whichever stretch it is played in.
    seed
        Names the random numbers.
    losses
        What is lost on the way.
    verdict_of
        What words the verdict; another may be given, such as one that looks before the end.
    done
        Called with the number of trials just played.
    """
    record = pretend_record(bench.coupons)
    looks = len(asked_of(trial)) * len(trial.responses)
    context = Context(trial, record, shuffled=True, looks=looks)
    deal = _counted(bench, truths) if isinstance(bench, CountedBench) else _read(bench, truths)
    ends = tuple(Counter[tuple[VerdictCode | None, Strength | None, str]]() for _ in truths)
    turned = tuple(Counter[str]() for _ in truths)
    rounds = tuple(Counter[int]() for _ in truths)
    for number in numbers:
        left = kept(losses, bench.blanks, stream(seed, _LOSSES, number))
        dealt = deal(stream(seed, _SCATTER, number))
        for column in range(len(truths)):
            observations = dealt(column, left.tolist())
            end, what, after = _end(context, bench.question, observations, verdict_of)
            ends[column][end] += 1
            if after is not None:
                rounds[column][after] += 1
            if what:
                turned[column][what] += 1
        done(len(truths))
    return Played(ends, turned, rounds)


def _read(
    bench: PretendBench, truths: Sequence[TrueLoss]
) -> Callable[[np.random.Generator], Dealt]:
    """Return what draws one trial of numbers, the same scatter for every truth."""
    true = [_true(bench, truth) for truth in truths]

    def deal(random: np.random.Generator) -> Dealt:
        added = draw(bench.scatter, bench.blanks, 1, random)[0]
        return lambda column, left: _observed(bench, left, read(bench.scatter, true[column], added))

    return deal


def _counted(
    bench: CountedBench, truths: Sequence[TrueLoss]
) -> Callable[[np.random.Generator], Dealt]:
    """Return what draws one trial of passes or grades, the same draws for every truth."""
    setups, bounds = bench.setups, [bench.bounds(truth.change) for truth in truths]

    def deal(random: np.random.Generator) -> Dealt:
        drawn = draw_alike(setups, bench.foreseen.alike, 1, random)[0]

        def observed(column: int, left: Sequence[bool]) -> tuple[Observation, ...]:
            values = graded(bounds[column], drawn).tolist()
            return tuple(
                replace(blank, value=value, readings=(value,))
                for blank, value, here in zip(bench.blanks, values, left, strict=True)
                if here
            )

        return observed

    return deal


def _true(bench: PretendBench, truth: TrueLoss) -> Floats:
    question = bench.question
    return true_values(
        Truth(bench.mean, truth.change),
        question.factors,
        question.terms,
        (question.factor, question.level, question.reference),
        bench.blanks,
    )


def _observed(
    bench: PretendBench, left: Sequence[bool], readings: Floats
) -> tuple[Observation, ...]:
    """Return the coupons that are left with their readings, averaged as `observe` does."""
    found = []
    for blank, here, numbers in zip(bench.blanks, left, readings.tolist(), strict=True):
        if here:
            spans = [bench.scatter.span(one) for one in numbers]
            value, kept, ends = averaged(spans)
            found.append(replace(blank, value=value, readings=kept, ends=ends))
    return tuple(found)


def _end(
    context: Context,
    question: Question,
    observations: Sequence[Observation],
    verdict_of: VerdictOf,
) -> tuple[tuple[VerdictCode | None, Strength | None, str], str, int | None]:
    """Return how one trial ends, what its answer depends on where it does, and after what."""
    try:
        found = verdict_of(context, question, observations)
    except NotEstimable:
        return (None, None, NOT_ENOUGH), "", None
    verdict = found.verdict
    if verdict.code == "depends_on":
        what = verdict.words.removeprefix("Answer depends on ").rstrip(".")
        kind = what.split(" ")[0]
        named = {"coupon": "one odd coupon", "round": "one odd round", "set-up": "one odd set-up"}
        return ("depends_on", None, DEPENDS), named.get(kind, what), found.rounds
    # One row for all that cannot tell, however many coupons were left.
    words = _COUNT.sub("all coupons", verdict.words)
    return (verdict.code, verdict.strength, words), "", found.rounds
