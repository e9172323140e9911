"""The chance to show what is asked of passes or grades, by pretend trials, losses and all."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from functools import partial

import numpy as np

from weldtrial.analysis.chances import of_patterns, of_trials
from weldtrial.analysis.compare import compared_factors, pairs_of
from weldtrial.analysis.context import Context
from weldtrial.analysis.counted import Pair
from weldtrial.analysis.counted_many import judge_counted
from weldtrial.analysis.counted_pretend import CountedBench, draw_alike
from weldtrial.analysis.counted_verdict import counted_pair
from weldtrial.analysis.dealt import arrangements, unit_of
from weldtrial.analysis.judge import CODES
from weldtrial.analysis.judge_many import CANNOT_TELL, NO_ANSWER
from weldtrial.analysis.losses import Losses, kept
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.pretend import pretend_record, stream
from weldtrial.analysis.pretend_bench import ANSWERS
from weldtrial.analysis.simulate import (
    FEWEST_PATTERNS,
    LOSSES,
    PATTERNS,
    SCATTER,
    TRIALS,
    Simulated,
)

AT_ONCE = 2000
"""Trials drawn and judged together, to spare memory."""


def simulate_counted(
    bench: CountedBench,
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
    bench, losses, trials, seed, done
        As `weldtrial.analysis.simulate.simulate`.
    change
        True change, level minus reference: points of per cent, or log odds of a better grade.
    """
    losses = losses or Losses()
    patterns = 1 if losses.fixed else max(FEWEST_PATTERNS, min(trials, PATTERNS))
    size = -(-trials // patterns)
    context, pair = context_of(bench)
    shows = np.array([code in ANSWERS[pair.response.ask] for code in CODES])
    hits, left = np.zeros(patterns), np.zeros(patterns)
    codes: Counter[str] = Counter()
    refused = refused_patterns = 0
    for pattern in range(patterns):
        mask = kept(losses, bench.blanks, stream(seed, LOSSES, pattern))
        random, lost = stream(seed, SCATTER, pattern), 0
        left[pattern] = mask.sum()
        blanks = [o for o, here in zip(bench.blanks, mask.tolist(), strict=True) if here]
        judge = partial(
            judge_counted, context, pair, blanks,
            smallest_p=smallest_reached(context, pair, blanks), done=done,
        )  # fmt: skip
        for start in range(0, size, AT_ONCE):
            many = min(AT_ONCE, size - start)
            drawn = draw_alike(bench.setups, bench.foreseen.alike, many, random)
            found = judge(bench.values(change, drawn)[:, mask])
            told = found[(found != NO_ANSWER) & (found != CANNOT_TELL)]
            lost += many - len(told)
            hits[pattern] += shows[told].sum()
            codes.update({CODES[place]: int((told == place).sum()) for place in np.unique(told)})
        refused += lost
        refused_patterns += lost == size
    chance = of_trials(int(hits[0]), size) if patterns == 1 else of_patterns(hits, size)
    return Simulated(
        chance, size * patterns, patterns, seed, refused, refused_patterns, float(left.mean()),
        dict(codes),
    )  # fmt: skip


def context_of(bench: CountedBench) -> tuple[Context, Pair]:
    """Return what a pretend trial is judged in, and the comparison that is judged."""
    trial = bench.trial
    looks = sum(len(pairs_of(f)) for f in compared_factors(trial)) * len(trial.responses)
    context = Context(trial, pretend_record(bench.coupons), shuffled=True, looks=looks)
    return context, counted_pair(context, bench.question)


def smallest_reached(context: Context, pair: Pair, blanks: Sequence[Observation]) -> float | None:
    """Return the smallest p of dealing the set-ups of these coupons again, None without any."""
    mine = pair.of(blanks)
    if not mine or len(pair.factor.levels) != 2 or unit_of(pair.factor, mine) != "set-ups":
        return None
    dealt = arrangements(context, mine, pair.factor)
    if dealt is None:
        return None
    levels = {o.setup: pair.factor.levels.index(o.levels[pair.factor.name]) for o in mine}
    welded = np.array([levels[setup] for setup in dealt.setups])
    same = (dealt.levels == welded).all(axis=1) | (dealt.levels != welded).all(axis=1)
    many = int(same.sum())
    return many / len(same) if dealt.listed else (many + 1) / (len(same) + 1)
