"""How long searches for optimal designs take, against determinants worked out anew.

Run it by hand: ``OMP_NUM_THREADS=1 python tests/benchmarks/bench_optimal.py``. Three gases and
three numbers with all squares and pairs, 18 unknowns. The naive way is coordinate exchange that
works out one determinant for every level of every factor of every coupon; it is run from a few
starts of its own, and its time for one start compared with ours. Processor time, never asserted.
"""

from __future__ import annotations

import importlib.util
import math
import random
import sys
import time
from pathlib import Path

import numpy as np

from weldtrial.doe.candidates import grid_of
from weldtrial.doe.optimal import Search, search

NAIVE_STARTS = 2


def naive(asked: Search, rng: random.Random) -> float:
    """One start of coordinate exchange by whole determinants; log det a column."""
    grid = grid_of(asked)
    sizes = [len(levels) for levels in grid.levels]
    many = asked.units[0].coupons
    places = np.array([[rng.randrange(size) for size in sizes] for _ in range(many)])

    def log_det() -> float:
        rows = np.column_stack([np.ones(many), grid.rows(places)])
        return float(np.linalg.slogdet(rows.T @ rows + 1e-8 * np.eye(rows.shape[1]))[1])

    best, moved = log_det(), True
    while moved:
        moved = False
        for coupon in range(many):
            for factor, size in enumerate(sizes):
                kept = places[coupon, factor]
                for level in range(size):
                    places[coupon, factor] = level
                    reached = log_det()
                    if reached > best + 1e-7:
                        best, kept, moved = reached, level, True
                places[coupon, factor] = kept
    return best / (grid.pieces.shape[1] + 1)


def main() -> None:
    """Time both ways and print the ratios."""
    place = Path(__file__).parents[1] / "doe" / "optimal_cases.py"
    spec = importlib.util.spec_from_file_location("optimal_cases", place)
    assert spec is not None
    assert spec.loader is not None
    cases = importlib.util.module_from_spec(spec)
    sys.modules["optimal_cases"] = cases
    spec.loader.exec_module(cases)
    search(cases.bench_search("quadratic D free 24", 2), cases.draw())

    for coupons in (24, 48):
        asked = cases.bench_search(f"quadratic D free {coupons}")
        begin = time.process_time()
        found = search(asked, cases.draw())
        ours = time.process_time() - begin
        begin = time.process_time()
        rng = random.Random(1)
        best = max(naive(asked, rng) for _ in range(NAIVE_STARTS))
        theirs = (time.process_time() - begin) / NAIVE_STARTS
        sys.stdout.write(
            f"{coupons} coupons: 64 starts and the bound in {ours:.3f} s; naive {theirs:.2f} s a "
            f"start; a start of ours is {theirs / ours * 64:.0f} times quicker; best of "
            f"{NAIVE_STARTS} naive starts is {math.exp(best - found.value):.4f} of ours\n"
        )
    for name in (
        "quadratic D free 64",
        "quadratic I free 24",
        "quadratic I free 48",
        "quadratic D rules 24",
        "quadratic D rules 48",
        "quadratic I rules 24",
        "quadratic D free 8x6 blocks",
        "quadratic D free 8x6 set-ups",
        "quadratic D rules 8x6 set-ups",
        "quadratic I rules 8x6 set-ups",
        "quadratic I rules 12x4 set-ups gas volts",
    ):
        begin = time.process_time()
        found = search(cases.bench_search(name), cases.draw())
        took = time.process_time() - begin
        sys.stdout.write(
            f"{name:44} {took:6.3f} s   efficiency {found.efficiency or 0:.4f}   "
            f"best from {found.same} of {found.starts}\n"
        )


if __name__ == "__main__":
    main()
