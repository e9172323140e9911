"""A whole rehearsal, over one processor or two; the answer is the same either way."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from multiprocessing import get_context

from weldtrial.analysis.counted_pretend import CountedBench
from weldtrial.analysis.losses import Losses
from weldtrial.analysis.pretend_bench import PretendBench
from weldtrial.analysis.rehearse import TRIALS, Played, TrueLoss, VerdictOf, play, verdict_of
from weldtrial.analysis.rehearsed import Rehearsed, rehearsed
from weldtrial.shared.trial import Trial

STRETCH = 25
"""Pretend trials played in one go."""
WORTH_IT = 1500
"""Verdicts from which a second processor saves more time than it takes to start."""


def rehearse(
    trial: Trial,
    bench: PretendBench | CountedBench,
    truths: Sequence[TrueLoss],
    *,
    trials: int = TRIALS,
    seed: int = 1,
    losses: Losses | None = None,
    verdict_of: VerdictOf = verdict_of,
    processes: int | None = None,
    done: Callable[[int], None] = lambda verdicts: None,
) -> Rehearsed:
    """Play `trials` pretend trials for each truth and table their verdicts.

    Parameters
    ----------
    trial, bench, truths, seed, losses, verdict_of
        As for `weldtrial.analysis.rehearse.play`; over two processes `verdict_of` has to be a
        function of a module.
    trials
        Pretend trials of each truth, at least 1.
    processes
        1 or 2; None takes two where the work is worth it and the machine has them.
    done
        Called with the number of verdicts just reached.
    """
    lost = losses or Losses()
    stretches = [range(start, min(start + STRETCH, trials)) for start in range(0, trials, STRETCH)]
    if processes is None:
        worth = trials * len(truths) >= WORTH_IT and (os.cpu_count() or 1) > 1
        processes = 2 if worth else 1
    if processes == 1:
        parts: Iterator[Played] = (
            play(trial, bench, truths, one, seed, lost, verdict_of=verdict_of, done=done)
            for one in stretches
        )
    else:
        parts = _shared_out(
            trial, bench, truths, stretches, seed, lost, verdict_of, processes, done
        )
    whole = next(parts)
    for part in parts:
        whole = whole + part
    return rehearsed(whole, truths, trials, seed)


def _shared_out(
    trial: Trial,
    bench: PretendBench | CountedBench,
    truths: Sequence[TrueLoss],
    stretches: Sequence[range],
    seed: int,
    losses: Losses,
    verdict_of: VerdictOf,
    processes: int,
    done: Callable[[int], None],
) -> Iterator[Played]:
    # Started afresh rather than forked: a copy of running linear algebra may hang.
    pool = ProcessPoolExecutor(processes, mp_context=get_context("spawn"), initializer=_deaf)
    try:
        waiting: list[Future[Played]] = [
            pool.submit(play, trial, bench, truths, one, seed, losses, verdict_of=verdict_of)
            for one in stretches
        ]
        for found in as_completed(waiting):
            part = found.result()
            done(sum(sum(column.values()) for column in part.ends))
            yield part
    finally:
        pool.shutdown(cancel_futures=True)


def _deaf() -> None:
    """Leave an interrupt to the process that waits."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
