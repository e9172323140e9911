"""Pretend trials: one pass against a loop of statsmodels fits, and rehearsal trials a second.

Printed, never asserted; run it by hand.  The draft of ``weldtrial new --for compare``: six rounds
of two set-ups of three coupons.  MixedLM is fitted a few times in the same run and its time
multiplied up; it gives no degrees of freedom and no verdict, so it does less.
"""

from __future__ import annotations

import sys
import time
import warnings
from pathlib import Path

import statsmodels.api as sm

from weldtrial.analysis.losses import Losses
from weldtrial.analysis.pretend import coupons_of, draw, pretend_seal, stream
from weldtrial.analysis.pretend_bench import pretend_bench
from weldtrial.analysis.rehearse import play, true_losses
from weldtrial.analysis.simulate import frame_of, simulate
from weldtrial.doe.make_plan import make_plan
from weldtrial.shared.trialfile import load_trial

TRIALS = 10_000
SINGLE = 20
REHEARSED = 100
DRAFT = Path(__file__).resolve().parents[2] / "cli" / "drafts" / "compare.toml"


def main() -> None:
    """Time all of it and print the ratios."""
    trial = load_trial(DRAFT)
    bench = pretend_bench(trial, coupons_of(make_plan(trial, pretend_seal(1))))
    simulate(bench, 0.0, trials=10)

    start = time.perf_counter()
    simulate(bench, 0.0, trials=TRIALS)
    whole = time.perf_counter() - start

    start = time.perf_counter()
    lossy = simulate(bench, 0.0, Losses(scrap=0.05), trials=TRIALS)
    scrapped = time.perf_counter() - start

    frame = frame_of(bench.question, bench.blanks)
    ys = 80 + draw(bench.scatter, bench.blanks, SINGLE + 1, stream(1))[:, :, 0]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        sm.MixedLM(ys[SINGLE], frame.x, frame.setup).fit(reml=True)
        start = time.perf_counter()
        for y in ys[:SINGLE]:
            sm.MixedLM(y, frame.x, frame.setup).fit(reml=True)
        other = (time.perf_counter() - start) / SINGLE * TRIALS

    truths = true_losses(bench, bench.margin)
    play(trial, bench, truths, range(2), 1, Losses())
    start = time.perf_counter()
    play(trial, bench, truths, range(REHEARSED), 1, Losses())
    rehearsal = (time.perf_counter() - start) / (REHEARSED * len(truths))

    sys.stdout.write(
        f"{TRIALS} trials drawn, fitted and judged in one pass: {whole:.2f} s\n"
        f"{lossy.trials} with 5 in 100 scrapped, {lossy.patterns} patterns: {scrapped:.2f} s\n"
        f"{TRIALS} MixedLM fits one by one (from {SINGLE}): {other:.0f} s\n"
        f"ratio: {other / whole:.0f}\n"
        f"rehearsal, one processor: {1 / rehearsal:.0f} verdicts a second "
        f"({1000 * rehearsal:.1f} ms each)\n"
    )


if __name__ == "__main__":
    main()
