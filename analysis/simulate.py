"""The chance to show what is asked, by playing the trial through the real analysis many times.

Needed where no formula exists: coupons scrapped at some rate, runs never welded, set-ups cut
short.  Patterns of losses are drawn first; all trials of one pattern share their layout and are
analysed in one pass, by the functions that `analyse` uses.  Without losses there is one pattern,
and the answer is that of the exact formula within its Monte-Carlo interval.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weldtrial.analysis.chances import SimulatedChance, of_patterns, of_trials
from weldtrial.analysis.counted_pretend import CountedBench
from weldtrial.analysis.judge import CODES
from weldtrial.analysis.judge_limited import judge_limited
from weldtrial.analysis.judge_many import NO_ANSWER, Judged, judge_many
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.losses import Losses, kept
from weldtrial.analysis.model_frame import Frame, frame_model
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.pretend import Truth, draw, read, stream, true_values
from weldtrial.analysis.pretend_bench import ANSWERS, PretendBench
from weldtrial.analysis.question import Question
from weldtrial.shared.problems import NotEstimable

TRIALS = 10_000
PATTERNS = 250
"""Most patterns of losses; each then stands for `TRIALS` / `PATTERNS` trials."""
FEWEST_PATTERNS = 20
READINGS_AT_ONCE = 2_000_000
"""Readings of one pattern that are drawn and analysed together, to spare memory."""
LIMITED_AT_ONCE = 100
"""Trials past the gauge that are fitted together, so that progress can be told."""
SCATTER, LOSSES = 1, 2


@dataclass(frozen=True, slots=True)
class Simulated:
    """What a simulation found.

    Attributes
    ----------
    chance
        Chance to show what is asked.
    trials, patterns, seed
        How many were played, over how many patterns of losses, and from which seed.
    refused, refused_patterns
        Trials, and patterns, that the analysis could not answer; they count as nothing shown.
    coupons
        Coupons left on average.
    codes
        How often each verdict came, by its code.
    """

    chance: SimulatedChance
    trials: int
    patterns: int
    seed: int
    refused: int
    refused_patterns: int
    coupons: float
    codes: dict[str, int]


def simulate(
    bench: PretendBench,
    change: float,
    losses: Losses | None = None,
    *,
    trials: int = TRIALS,
    seed: int = 1,
    done: Callable[[int], None] = lambda trials: None,
) -> Simulated:
    """Play `trials` pretend trials and count those that show what is asked.

    Parameters
    ----------
    bench
        The comparison, its coupons and their scatter.
    change
        True change, level minus reference, in the unit of the bench's mean.
    losses
        What is lost on the way; nothing unless given.
    trials, seed
        How many, at least 1 (with losses that differ from trial to trial at least
        `FEWEST_PATTERNS`, rounded up to whole patterns), and the seed.
    done
        Called with the number of trials just played.
    """
    losses = losses or Losses()
    patterns = 1 if losses.fixed else max(FEWEST_PATTERNS, min(trials, PATTERNS))
    size = -(-trials // patterns)
    shows = np.array([code in ANSWERS[bench.question.response.ask] for code in CODES])
    true = true_values(
        Truth(bench.mean, change),
        bench.question.factors,
        bench.question.terms,
        (bench.question.factor, bench.question.level, bench.question.reference),
        bench.blanks,
    )
    hits, left = np.zeros(patterns), np.zeros(patterns)
    at_once = max(1, READINGS_AT_ONCE // (len(bench.blanks) * bench.scatter.readings))
    if bench.scatter.limited:
        at_once = min(at_once, LIMITED_AT_ONCE)
    codes: Counter[str] = Counter()
    refused = refused_patterns = 0
    for pattern in range(patterns):
        mask = kept(losses, bench.blanks, stream(seed, LOSSES, pattern))
        random = stream(seed, SCATTER, pattern)
        left[pattern] = mask.sum()
        lost = 0
        for start in range(0, size, at_once):
            many = min(at_once, size - start)
            readings = read(bench.scatter, true, draw(bench.scatter, bench.blanks, many, random))
            if bench.scatter.limited:
                places = judge_limits_left(bench, mask, *bench.scatter.spans(readings))
            else:
                places = judge_left(bench, mask, readings.mean(axis=2)).places
            told = places[places != NO_ANSWER]
            lost += many - len(told)
            hits[pattern] += shows[told].sum()
            codes.update({CODES[place]: int((told == place).sum()) for place in np.unique(told)})
            done(many)
        refused += lost
        refused_patterns += lost == size
    chance = of_trials(int(hits[0]), size) if patterns == 1 else of_patterns(hits, size)
    return Simulated(
        chance,
        size * patterns,
        patterns,
        seed,
        refused,
        refused_patterns,
        float(left.mean()),
        dict(codes),
    )


def judge_left(bench: PretendBench, mask: NDArray[np.bool_], values: Floats) -> Judged:
    """Judge trials on the coupons that are left.

    Parameters
    ----------
    mask
        Which coupons are left, shape (n,).
    values
        Coupon values of every trial, shape (m, n).
    """
    question = bench.question
    blanks = [o for o, left in zip(bench.blanks, mask.tolist(), strict=True) if left]
    many = len(values)
    nothing = np.full(many, np.nan)
    refused = Judged(np.full(many, NO_ANSWER, dtype=np.intp), nothing, nothing, nothing)
    if not blanks:
        return refused
    try:
        return judge_many(question, frame_of(question, blanks), values[:, mask].T)
    except NotEstimable:
        return refused


def judge_limits_left(
    bench: PretendBench, mask: NDArray[np.bool_], lows: Floats, highs: Floats
) -> NDArray[np.intp]:
    """Judge trials whose readings may lie past the gauge on the coupons that are left.

    Parameters
    ----------
    mask
        Which coupons are left, shape (n,).
    lows, highs
        Ends of the coupons of every trial, shape (m, n).
    """
    blanks = [o for o, left in zip(bench.blanks, mask.tolist(), strict=True) if left]
    if blanks:
        try:
            frame = frame_of(bench.question, blanks)
            return judge_limited(bench.question, frame, lows[:, mask].T, highs[:, mask].T)
        except NotEstimable:
            pass
    return np.full(len(lows), NO_ANSWER, dtype=np.intp)


def frame_of(question: Question, observations: Sequence[Observation]) -> Frame:
    """Return the frame that `fit_model` would fit these coupons on."""
    return frame_model(
        question.factors,
        question.terms,
        [o.point for o in observations],
        [o.round for o in observations],
        [o.setup for o in observations],
    )


def asked_change(bench: PretendBench | CountedBench) -> float | None:
    """Return the true change that the closed form takes: none, or for a difference a loss.

    None without a margin: nothing then says which loss is asked about.
    """
    if bench.margin is None:
        return None
    return bench.loss(bench.margin) if bench.question.response.ask == "difference" else 0.0
