"""Looking through raw figures: clean data are let alone, planted faults are found (all invented).

Every data set is drawn from a seed, so that these rates are the same on every machine; the bounds
are three Monte-Carlo errors of the rate that is promised.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from math import sqrt

import numpy as np
import pytest

from weldtrial.analysis.suspicions import FALSE_ALARMS, find_suspicions
from weldtrial.shared.review_data import ReviewRow

pytestmark = pytest.mark.slow
Rows = list[ReviewRow]
Rng = np.random.Generator
CLEAN, PLANTED = 150, 20
"""Data sets of each design, and of each fault."""


def clean(rng: Rng, design: str, n: int = 36, step: float = 0.1) -> Rows:
    """Honest data: order drawn, throat and amps measured, two readers, plates, a true gap."""
    by_setups = design == "setups"
    side = rng.permutation(np.repeat([0, 1], n // 2))
    shift = np.zeros(n)
    if by_setups:
        side = np.repeat(rng.permutation(np.repeat([0, 1], n // 6)), 3)
        shift = np.repeat(rng.normal(0, 2, n // 3), 3)
    minute = 480
    rows = []
    for i in range(n):
        minute += int(rng.integers(4, 15))
        value = round(round((80 + 2 * side[i] + shift[i] + rng.normal(0, 4)) / step) * step, 3)
        rows.append(
            ReviewRow(
                place=i + 2, number=i + 1, value=value,
                text=f"{value:.1f}" if step < 1 else f"{value:.0f}",
                group=("mix", "co2")[side[i]], coupon=f"A{i}",
                setup=f"B{i // 3}" if by_setups else "", day=f"day {1 + 2 * i // n}",
                order=float(i + 1), minute=float(minute), reader=("r1", "r2")[rng.integers(2)],
                plate=f"p{i // 6}",
                measures={"throat": round(5.6 + rng.normal(0, 0.2), 1),
                          "amps": float(round(240 + rng.normal(0, 4)))},
            )
        )  # fmt: skip
    return sorted(rows, key=lambda row: row.group) if design == "by side" else rows


def codes(rows: Sequence[ReviewRow]) -> set[str]:
    return {one.code for one in find_suspicions(rows) if one.asks}


@pytest.mark.parametrize(("design", "step"), [("shuffled", 0.1), ("setups", 1.0), ("by side", 0.1)])
def test_clean_data_are_called_into_question_no_oftener_than_stated(
    design: str, step: float
) -> None:
    """At most 5 in 100 by all looks together, and by no single look more than its share."""
    told: Counter[str] = Counter()
    any_of_them = 0
    for seed in range(CLEAN):
        found = codes(clean(np.random.default_rng([7, seed]), design, step=step))
        any_of_them += bool(found)
        told.update(found)
    bound = FALSE_ALARMS + 3 * sqrt(FALSE_ALARMS * (1 - FALSE_ALARMS) / CLEAN)
    assert any_of_them / CLEAN <= bound
    for code, times in told.items():
        looks = 6 if code in ("leans", "tied") else 1
        share = looks * FALSE_ALARMS / 9
        assert times / CLEAN <= share + 3 * sqrt(share / CLEAN), (code, times)


def value(row: ReviewRow, reading: float) -> ReviewRow:
    reading = round(reading, 1)
    return replace(row, value=reading, text=f"{reading:.1f}")


def re_measured(rng: Rng, rows: Rows) -> Rows:
    """Six readings of each of six coupons, given out as 36 coupons."""
    base = sorted(rows, key=lambda row: row.group)
    true = np.repeat(rng.normal(80, 4, 6), 6)
    return [value(row, t + rng.normal(0, 0.8)) for row, t in zip(base, true, strict=True)]


def copied_down(rng: Rng, rows: Rows) -> Rows:
    """Every second reading is the one above it."""
    base = sorted(rows, key=lambda row: row.group)
    return [value(row, base[n - n % 2].value or 0.0) for n, row in enumerate(base)]


def one_minute(_: Rng, rows: Rows) -> Rows:
    return [replace(row, minute=rows[n - n % 4].minute) for n, row in enumerate(rows)]


def rounded_to_fives(rng: Rng, rows: Rows) -> Rows:
    """Half of the readings are rounded to 0 or 5 in the last figure."""
    lucky = rng.random(len(rows)) < 0.5
    return [
        value(row, round((row.value or 0.0) * 2) / 2) if take else row
        for row, take in zip(rows, lucky, strict=True)
    ]


def stopped_at_the_limit(_: Rng, rows: Rows) -> Rows:
    return [value(row, min(row.value or 0.0, 84.0)) for row in rows]


def falling(_: Rng, rows: Rows) -> Rows:
    return [value(row, (row.value or 0.0) - 0.3 * (row.order or 0.0)) for row in rows]


def one_day_each(_: Rng, rows: Rows) -> Rows:
    return [replace(row, day="day 1" if row.group == "mix" else "day 2") for row in rows]


def mostly_first(rng: Rng, rows: Rows) -> Rows:
    """Order sorted by side, two pairs of 18 swapped; five pairs would go unnoticed."""
    base = sorted(rows, key=lambda row: row.group)
    order = np.arange(1.0, len(base) + 1)
    half = len(base) // 2
    swapped = rng.choice(half, 2, replace=False)
    order[swapped], order[swapped + half] = order[swapped + half], order[swapped].copy()
    return [replace(row, order=float(n)) for row, n in zip(base, order, strict=True)]


def bigger_beads(_: Rng, rows: Rows) -> Rows:
    return [
        replace(row, measures={**row.measures, "throat": row.measures["throat"] + 0.3})
        if row.group == "co2"
        else row
        for row in rows
    ]


def another_reader(rng: Rng, rows: Rows) -> Rows:
    """Nine coupons in ten of a side are read by one reader, the other side by the other."""
    ours = rng.random(len(rows)) < 0.9
    return [
        replace(row, reader="r1" if (row.group == "mix") == bool(mine) else "r2")
        for row, mine in zip(rows, ours, strict=True)
    ]


def lost_on_one_side(rng: Rng, rows: Rows) -> Rows:
    """Nine of 18 readings of one side are missing."""
    mine = [n for n, row in enumerate(rows) if row.group == "mix"]
    gone = set(rng.choice(mine, 9, replace=False).tolist())
    return [replace(row, value=None, text="") if n in gone else row for n, row in enumerate(rows)]


def dropped(rng: Rng, rows: Rows) -> Rows:
    gone = set(rng.choice(np.arange(1, 35), 4, replace=False).tolist())
    return [row for n, row in enumerate(rows) if n not in gone]


@pytest.mark.parametrize(
    ("plant", "wanted", "power"),
    [
        (re_measured, {"alike-in-blocks"}, 0.90),
        (copied_down, {"equal-neighbours"}, 0.95),
        (one_minute, {"same-minute"}, 1.0),
        (rounded_to_fives, {"last-figures"}, 0.80),
        (stopped_at_the_limit, {"at-limit"}, 0.95),
        (falling, {"drift"}, 0.90),
        (one_day_each, {"tied"}, 1.0),
        (mostly_first, {"leans"}, 0.95),
        (bigger_beads, {"leans"}, 0.80),
        (another_reader, {"leans", "tied"}, 0.95),
        (lost_on_one_side, {"losses"}, 0.95),
        (dropped, {"gaps"}, 1.0),
    ],
)
def test_planted_faults_are_found_as_often_as_stated(
    plant: Callable[[Rng, Rows], Rows], wanted: set[str], power: float
) -> None:
    """At least as often as stated, of as many data sets with that fault in them."""
    found = 0
    for seed in range(PLANTED):
        rng = np.random.default_rng([11, seed])
        found += bool(codes(plant(rng, clean(rng, "shuffled"))) & wanted)
    assert found / PLANTED >= power, found
