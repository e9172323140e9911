"""Is the side tied to something else: order, day, plate, reader, settings, bead size?

Ties are looked for among the things that were set up, not among coupons: where set-ups are named
the sides are dealt to whole set-ups again (permutation tests, Phipson & Smyth 2010, Stat. Appl.
Genet. Mol. Biol. 9, article 39, for their p).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import comb

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from weldtrial.analysis.suspicion_record import Suspicion, one_in, strength_of
from weldtrial.shared.review_data import ReviewRow

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
DEALS = 4999
"""Random deals behind a p."""
SETTING = 3.0
"""A gap between sides of so many ranges within a side is set, not measured."""


@dataclass(frozen=True, slots=True)
class Units:
    """What the sides were dealt to: set-ups where they are named and pure, else rows.

    Attributes
    ----------
    of_row
        Unit of every row, shape (n,).
    side
        Side of every unit, codes from 0, shape (units,).
    """

    of_row: Codes
    side: Codes
    sides: tuple[str, ...]
    by_setups: bool

    @property
    def count(self) -> int:
        """Number of units."""
        return len(self.side)


def units_of(rows: Sequence[ReviewRow]) -> Units:
    """Return what the sides of some rows were dealt to."""
    sides = tuple(dict.fromkeys(row.group for row in rows))
    labels: list[tuple[str, ...]] = [(row.setup,) for row in rows]
    pure = (
        bool(rows)
        and all(row.setup for row in rows)
        and len({(r.setup, r.group) for r in rows}) == len({r.setup for r in rows})
    )
    if not pure:
        labels = [(row.coupon, row.group) if row.coupon else (str(row.number),) for row in rows]
    numbers: dict[tuple[str, ...], int] = {}
    of_row = np.array([numbers.setdefault(label, len(numbers)) for label in labels], dtype=np.int64)
    side = np.zeros(len(numbers), dtype=np.int64)
    for row, unit in zip(rows, of_row, strict=True):
        side[unit] = sides.index(row.group)
    return Units(of_row, side, sides, pure)


def redeal(units: Units, seed: int) -> Codes:
    """Return the sides dealt to the units again and again, shape (DEALS, units)."""
    rng = np.random.default_rng(seed)
    return rng.permuted(np.tile(units.side, (DEALS, 1)), axis=1)


def tied_to_number(
    name: str, values: Sequence[float | None], units: Units, deals: Codes, level: float
) -> Suspicion | None:
    """Say whether the side goes with a number: order, a setting, a bead size.

    Parameters
    ----------
    values
        One entry a row, None where it was not written down.
    deals
        Sides dealt again, shape (deals, units).
    level
        Chance of a false alarm that this look may take.
    """
    means = _unit_means(values, units)
    if np.isnan(means).any() or len(np.unique(means)) < 2 or units.count < 4:
        return None
    ranks = stats.rankdata(means)
    seen = _between(ranks, units.side[None, :], len(units.sides))[0]
    drawn = _between(ranks, deals, len(units.sides))
    p = (1 + int((drawn >= seen - 1e-9).sum())) / (1 + len(drawn))
    share = float(seen / ((ranks - ranks.mean()) ** 2).sum())
    sides = [means[units.side == code] for code in range(len(units.sides))]
    numbers = {"p": p, "share": share}
    apart = _apart(sides)
    said = ", ".join(
        f"{side} {mean:.4g}" for side, mean in zip(units.sides, map(np.mean, sides), strict=True)
    )
    if name == "order":
        return _order(units, apart, p, level, numbers)
    if _was_set(values, units):
        words = (
            f"{name} goes with the side throughout ({said}): any difference is one of side and "
            f"{name} together. Please say whether it was meant so, and by which rule."
        )
        return Suspicion("own-setting", words, "tied", numbers, (name,))
    if p > level:
        return None
    words = (
        f"{name} is not alike on the sides (averages {said}): chance alone parts them so "
        f"{one_in(p)}. Please check whether {name} explains the difference."
    )
    return Suspicion("leans", words, strength_of(p), numbers, (name,))


def _order(
    units: Units, apart: bool, p: float, level: float, numbers: dict[str, float]
) -> Suspicion | None:
    if apart:
        counts = np.bincount(units.side)
        ways = 1
        for place, count in enumerate(counts):
            ways *= comb(int(counts[place:].sum()), int(count))
        by_chance = float(np.prod(np.arange(1, len(counts) + 1))) / ways
        numbers = {**numbers, "by_chance": by_chance}
        words = (
            "one side was welded whole before the other, so nobody can tell the side from whatever "
            f"changed with time (a draw does this {one_in(by_chance)}). Welding them turn and turn "
            "about would tell."
        )
        if by_chance <= 0.05:
            return Suspicion("tied", words, "tied", numbers, ("order",))
        return Suspicion("tied", words, "know", numbers, ("order",))
    if p > level:
        return None
    words = (
        f"one side was welded mostly before the other: a draw does this {one_in(p)}. Please say "
        "how the order was decided."
    )
    return Suspicion("leans", words, strength_of(p), numbers, ("order",))


def tied_to_label(
    name: str, labels: Sequence[str], units: Units, deals: Codes, level: float
) -> Suspicion | None:
    """Say whether the side goes with a name: day, plate, reader, whatever column there is."""
    if not all(labels) or len(set(labels)) < 2:
        return None
    table = _units_by_label(labels, units)
    if table is None or table.shape[1] < 2:
        return None
    counts = np.array([table[units.side == code].sum(axis=0) for code in range(len(units.sides))])
    pure = bool(((counts > 0).sum(axis=0) == 1).all())
    several = bool((table > 0).sum(axis=0).max() > 1)
    if pure and several and (counts > 0).sum(axis=1).min() == 1:
        named = "; ".join(
            f"{side} on {', '.join(_names(labels, counts[code]))}"
            for code, side in enumerate(units.sides)
        )
        words = (
            f"every {name} holds one side only ({named}): nobody can tell the side from the "
            f"{name}. More coupons of the same kind would not help; both sides on one {name} would."
        )
        return Suspicion("tied", words, "tied", {"share": 1.0}, (name,))
    if not several:
        return None  # each label is one unit: it says no more than the unit does
    seen = _chi2(table, units.side[None, :], len(units.sides))[0]
    drawn = _chi2(table, deals, len(units.sides))
    p = (1 + int((drawn >= seen - 1e-9).sum())) / (1 + len(drawn))
    if p > level:
        return None
    share = float(np.sqrt(seen / (table.sum() * (min(len(units.sides), table.shape[1]) - 1))))
    numbers = {"p": p, "share": min(1.0, share)}
    if pure:
        words = (
            f"each {name} holds one side only: it is then {name}s that were compared, "
            f"{counts.shape[1]} of them, not coupons. Please say how often each was set up anew."
        )
        return Suspicion("tied", words, "tied", numbers, (name,))
    words = (
        f"the sides are not spread alike over the {name}s: a draw does this {one_in(p)}. Please "
        f"check whether the {name} explains the difference."
    )
    return Suspicion("leans", words, strength_of(p), numbers, (name,))


def one_setup_each(units: Units, rows: Sequence[ReviewRow]) -> Suspicion | None:
    """Say that a side was set up only once, however many coupons came off it."""
    if not units.by_setups:
        return None
    counts = np.bincount(units.side, minlength=len(units.sides))
    if counts.min() > 1:
        return None
    few = [side for side, count in zip(units.sides, counts, strict=True) if count == 1]
    words = (
        f"{' and '.join(few)} was set up once: nobody can tell the side from that one set-up, "
        "however many coupons came off it."
    )
    return Suspicion("one-setup", words, "tied", {"setups": float(counts.min())}, ("setup",))


def _names(labels: Sequence[str], counts: Codes) -> list[str]:
    names = list(dict.fromkeys(labels))
    return [name for name, count in zip(names, counts, strict=True) if count]


def _apart(sides: Sequence[Floats]) -> bool:
    """Whether no side reaches into another."""
    ends = sorted((float(one.min()), float(one.max())) for one in sides)
    return all(a[1] < b[0] for a, b in pairwise(ends))


def _was_set(values: Sequence[float | None], units: Units) -> bool:
    """Whether a number is a setting that each side has of its own, row by row."""
    numbers = np.array([np.nan if value is None else value for value in values], dtype=float)
    side = units.side[units.of_row]
    ends = sorted(
        (float(mine.min()), float(mine.max()))
        for mine in (numbers[side == code] for code in range(len(units.sides)))
    )
    widest = max(high - low for low, high in ends)
    return all(b[0] - a[1] > SETTING * widest for a, b in pairwise(ends)) and len(numbers) >= 6


def _unit_means(values: Sequence[float | None], units: Units) -> Floats:
    found = np.array([np.nan if value is None else value for value in values], dtype=float)
    known = ~np.isnan(found)
    count = np.bincount(units.of_row[known], minlength=units.count)
    total = np.bincount(units.of_row[known], found[known], minlength=units.count)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(total / count, dtype=float)


def _between(ranks: Floats, sides: Codes, count: int) -> Floats:
    """Sum of squares between sides of ranks, for each deal; shape (deals,)."""
    centred = ranks - ranks.mean()
    found = np.zeros(len(sides))
    for code in range(count):
        mine = sides == code
        found += (mine @ centred) ** 2 / np.maximum(mine.sum(axis=1), 1)
    return found


def _units_by_label(labels: Sequence[str], units: Units) -> Floats | None:
    """Return how many units hold each label, a unit of several shared out."""
    names = list(dict.fromkeys(labels))
    table = np.zeros((units.count, len(names)))
    for label, unit in zip(labels, units.of_row, strict=True):
        table[unit, names.index(label)] += 1
    if units.count < 4:
        return None
    return np.asarray(table / table.sum(axis=1, keepdims=True), dtype=float)


def _chi2(table: Floats, sides: Codes, count: int) -> Floats:
    """Pearson's statistic of side against label, for each deal; shape (deals,)."""
    total = table.sum(axis=0)
    found = np.zeros(len(sides))
    for code in range(count):
        mine = (sides == code).astype(float)
        expected = mine.sum(axis=1, keepdims=True) * total[None, :] / table.sum()
        found += ((mine @ table - expected) ** 2 / expected).sum(axis=1)
    return found
