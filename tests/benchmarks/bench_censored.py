"""How long tests of readings at a limit take, batch against one-by-one; printed, never asserted.

Run it by hand: ``python tests/benchmarks/bench_censored.py``. Two gases, 24 coupons, three in ten
beyond the limit: the likelihood ratio of their difference being 0. One by one means two fits by
`scipy.optimize.minimize` (BFGS, analytic gradient not given, as a user would write it).
"""

from __future__ import annotations

import sys
import time

import numpy as np
from scipy import optimize, special

from weldtrial.analysis.censored import fit_censored
from weldtrial.analysis.censored_batch import batch_censored
from weldtrial.analysis.censored_profile import profile
from weldtrial.analysis.censored_setups import fit_censored_setups, profile_setups

TRIALS = 10_000
SETUP_TRIALS = 400
SINGLE = 20
GAS = np.array([0.0, 2.0])


def by_optimiser(x: np.ndarray, y: np.ndarray, beyond: np.ndarray) -> float:
    """Return the likelihood-ratio statistic of the difference, by two general optimisations."""

    def best(columns: np.ndarray) -> float:
        def minus(v: np.ndarray) -> float:
            z = (y - columns @ v[:-1]) / np.exp(v[-1])
            log = np.where(beyond, special.log_ndtr(-z), -0.5 * z * z - v[-1])
            return -float(log.sum())

        start = np.append(np.linalg.lstsq(columns, y)[0], np.log(y.std()))
        return float(optimize.minimize(minus, start, method="BFGS").fun)

    return 2.0 * (best(x[:, :1]) - best(x))


def clock(job: object, *args: object) -> float:
    """Return the processor seconds a call takes, so that a busy machine does not matter."""
    start = time.process_time()
    job(*args)  # type: ignore[operator]
    return time.process_time() - start


def main() -> None:
    """Time both ways and print the ratio."""
    rng = np.random.default_rng(1)
    x = np.column_stack([np.ones(24), np.resize([1.0, -1.0], 24)])
    ys = rng.standard_normal((24, TRIALS))
    low, high = np.minimum(ys, 0.524), np.where(ys > 0.524, np.inf, ys)
    batch_censored(x, low[:, :10], high[:, :10], GAS)
    batch = clock(batch_censored, x, low, high, GAS)

    def singles() -> None:
        for k in range(SINGLE):
            profile(fit_censored(x, low[:, k], high[:, k]), GAS).interval()

    def others() -> None:
        for k in range(SINGLE):
            by_optimiser(x, low[:, k], np.isinf(high[:, k]))

    single = clock(singles) / SINGLE
    other = clock(others) / SINGLE * TRIALS

    setup = np.repeat(np.arange(12), 3)
    blocks = np.vstack([np.eye(5), -np.ones(5)])[setup // 2]
    wide = np.column_stack([np.ones(36), 1.0 - 2.0 * (setup % 2), blocks])
    row = 2.0 * np.eye(7)[1]
    ys = 0.5 * rng.standard_normal((12, SETUP_TRIALS))[setup] + rng.standard_normal(
        (36, SETUP_TRIALS)
    )
    low, high = np.minimum(ys, 0.6), np.where(ys > 0.6, np.inf, ys)
    together = clock(batch_censored, wide, low, high, row, (0.0,), setup)

    def with_setups() -> None:
        fit = fit_censored_setups(wide, low[:, 0], high[:, 0], setup)
        profile_setups(fit, row).interval()

    alone = clock(with_setups)
    sys.stdout.write(
        f"{TRIALS} trials in one batch: {batch:.3f} s\n"
        f"one trial alone, with its interval: {1000 * single:.2f} ms\n"
        f"{TRIALS} trials by a general optimiser (from {SINGLE}): {other:.0f} s\n"
        f"ratio: {other / batch:.0f}\n"
        f"with 12 set-ups, {SETUP_TRIALS} trials in one batch: {together:.1f} s "
        f"({1000 * together / SETUP_TRIALS:.1f} ms each)\n"
        f"one of them alone, with its interval: {1000 * alone:.0f} ms\n"
    )


if __name__ == "__main__":
    main()
