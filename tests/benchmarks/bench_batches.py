"""How long ten thousand set-up trials take, batch against one-by-one; printed, never asserted.

Run it by hand: ``python tests/benchmarks/bench_batches.py``. Six set-ups of eight coupons, two
gases. statsmodels' MixedLM is fitted a few times and its time multiplied up; it gives no degrees
of freedom, so it does less.
"""

from __future__ import annotations

import sys
import time
import warnings

import numpy as np
import statsmodels.api as sm

from weldtrial.analysis.mixed import batch_estimates, fit_setups

TRIALS = 10_000
SINGLE = 20


def main() -> None:
    """Time both ways and print the ratio."""
    rng = np.random.default_rng(1)
    setup = np.repeat(np.arange(6), 8)
    x = np.column_stack([np.ones(48), np.where(setup % 2, -1.0, 1.0)])
    ys = 80 + rng.standard_normal((6, TRIALS))[setup] + rng.standard_normal((48, TRIALS))
    batch_estimates(x, setup, ys[:, :10], [0, 2])

    start = time.perf_counter()
    batch_estimates(x, setup, ys, [0, 2])
    batch = time.perf_counter() - start

    start = time.perf_counter()
    for y in ys.T[:SINGLE]:
        fit_setups(x, setup, y)
    single = (time.perf_counter() - start) / SINGLE

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        sm.MixedLM(ys[:, 0], x, setup).fit(reml=True)
        start = time.perf_counter()
        for y in ys.T[:SINGLE]:
            sm.MixedLM(y, x, setup).fit(reml=True)
        other = (time.perf_counter() - start) / SINGLE * TRIALS

    sys.stdout.write(
        f"{TRIALS} trials in one batch: {batch:.3f} s\n"
        f"one trial alone: {1000 * single:.2f} ms\n"
        f"{TRIALS} MixedLM fits one by one (from {SINGLE}): {other:.0f} s\n"
        f"ratio: {other / batch:.0f}\n"
    )


if __name__ == "__main__":
    main()
