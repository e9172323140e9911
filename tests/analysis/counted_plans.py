"""Benches of pretend passes and grades in memory, by set-up or shuffled (all invented)."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from pathlib import Path

from weldtrial.analysis.counted_pretend import CountedBench
from weldtrial.analysis.pretend_bench import pretend_bench
from weldtrial.shared.record import Coupon
from weldtrial.shared.responses import Foreseen, Response

_spec = importlib.util.spec_from_file_location(
    "counted_bench", Path(__file__).with_name("counted_bench.py")
)
assert _spec is not None
assert _spec.loader is not None
made = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(made)

GRADES = (0.1, 0.2, 0.3, 0.4)
BEND: Response = made.BEND
SPATTER: Response = made.SPATTER


def bench(
    response: Response,
    foreseen: Foreseen,
    *,
    hard: bool,
    rounds: int | None,
    per: int,
    levels: tuple[str, ...] = ("mix", "co2"),
) -> CountedBench:
    """Return a bench of `per` coupons of each level a round (a set-up, where hard)."""
    asked = made.trial(
        replace(response, foreseen=foreseen), hard=hard, rounds=rounds, levels=levels
    )
    coupons: list[Coupon] = []
    for one in range(rounds or 1):
        for turn, level in enumerate(levels if one % 2 else levels[::-1]):
            for _ in range(per):
                run = len(coupons) + 1
                coupons.append(
                    Coupon(
                        f"X{run:03d}", "count", run, one + 1 if rounds else None,
                        one * len(levels) + turn + 1 if hard else None, {"gas": level}, {},
                        welded=True,
                    )
                )  # fmt: skip
    found = pretend_bench(asked, coupons)
    assert isinstance(found, CountedBench)
    return found
