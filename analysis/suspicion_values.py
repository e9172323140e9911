"""Do the readings look like readings: re-measures, last figures, limits, drift, losses, gaps?"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal, InvalidOperation
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from weldtrial.analysis.suspicion_record import Suspicion, one_in, strength_of
from weldtrial.analysis.suspicion_ties import Units
from weldtrial.shared.review_data import ReviewRow

Floats = NDArray[np.float64]
DRAWS = 2999
BLOCKS = range(2, 7)
"""Readings of one weld that might stand one below the other."""
FEWEST_FIGURES = 20
"""Readings below which last figures say nothing."""
ROUNDING = 1e-12
"""Share of the readings below which a difference is what arithmetic leaves."""


def _p(seen: float, drawn: Floats) -> float:
    return float((1 + (drawn >= seen - 1e-9).sum()) / (1 + len(drawn)))


def read_rows(rows: Sequence[ReviewRow]) -> list[ReviewRow]:
    """Return the rows that have a reading."""
    return [row for row in rows if row.value is not None]


def sides_of(rows: Sequence[ReviewRow]) -> dict[str, Floats]:
    """Return the readings of each side in the order of the file."""
    sides: dict[str, list[float]] = {}
    for row in rows:
        if row.value is not None:
            sides.setdefault(row.group, []).append(row.value)
    return {side: np.array(values) for side, values in sides.items()}


def sorted_by_size(rows: Sequence[ReviewRow]) -> Suspicion | None:
    """Say that rows stand in order of size: the order of welding cannot be seen from them then."""
    sides = [one for one in sides_of(rows).values() if len(one) >= 5]
    if not sides or not all((np.diff(s) >= 0).all() or (np.diff(s) <= 0).all() for s in sides):
        return None
    if not any(np.ptp(one) > 0 for one in sides):
        return None
    words = (
        "the rows stand in order of size, so neither drift nor readings of one weld can be looked "
        "for. Please ask for the rows in the order they were welded."
    )
    return Suspicion("sorted", words, "know")


def equal_neighbours(rows: Sequence[ReviewRow], level: float, seed: int) -> Suspicion | None:
    """Count equal readings one below the other, against the same readings in any order."""
    rng = np.random.default_rng(seed)
    seen, drawn = 0, np.zeros(DRAWS)
    for values in sides_of(rows).values():
        if len(values) > 2:
            seen += int((np.diff(values) == 0).sum())
            mixed = rng.permuted(np.tile(values, (DRAWS, 1)), axis=1)
            drawn += (np.diff(mixed, axis=1) == 0).sum(axis=1)
    p = _p(seen, drawn)
    if seen < 2 or p > level:
        return None
    words = (
        f"{seen} readings equal the one above them; in mixed order it would be about "
        f"{drawn.mean():.2g} ({one_in(p)} by chance). Please check whether they are several "
        "readings of one weld."
    )
    numbers = {"seen": float(seen), "expected": float(drawn.mean()), "p": p}
    return Suspicion("equal-neighbours", words, strength_of(p), numbers)


def alike_in_blocks(rows: Sequence[ReviewRow], level: float, seed: int) -> Suspicion | None:
    """Look for readings that come in handfuls: spread within far below spread between.

    The smallest p of the F tests between blocks of 2 to 6 rows, against the same in mixed order,
    a straight drift taken out first.
    """
    sides = [_straightened(values) for values in sides_of(rows).values() if len(values) >= 6]
    if not sides:
        return None
    rng = np.random.default_rng(seed)
    mixed = [rng.permuted(np.tile(values, (DRAWS, 1)), axis=1) for values in sides]
    seen = {k: _handfuls([s[None, :] for s in sides], k)[0] for k in BLOCKS}
    drawn = np.max([_handfuls(mixed, k) for k in BLOCKS], axis=0)
    size = max(seen, key=lambda k: seen[k])
    p = _p(seen[size], drawn)
    if p > level:
        return None
    within, between = _spreads(sides, size)
    words = (
        f"readings come in handfuls of about {size}: within one they scatter by {within:.2g}, from "
        f"one to the next by {between:.2g} ({one_in(p)} by chance). Please check whether they are "
        f"{size} readings of one weld, or of one set-up."
    )
    numbers = {"size": float(size), "within": within, "between": between, "p": p}
    return Suspicion("alike-in-blocks", words, strength_of(p), numbers)


def _straightened(values: Floats) -> Floats:
    places = np.arange(len(values)) - (len(values) - 1) / 2
    centred = values - values.mean()
    left = centred - places * (places @ centred) / (places @ places)
    left[np.abs(left) < ROUNDING * np.abs(values).max()] = 0.0
    return np.asarray(left, dtype=float)


def _blocks(values: Floats, size: int) -> Floats:
    """Return whole blocks of rows, shape (draws, blocks, size); a rest at the end is left out."""
    count = values.shape[1] // size
    return values[:, : count * size].reshape(len(values), count, size)


def _handfuls(sides: Sequence[Floats], size: int) -> Floats:
    """Return -log10 p of F between blocks of `size` over all sides; shape (draws,)."""
    between = within = np.zeros(len(sides[0]))
    df_between = df_within = 0
    for values in sides:
        blocks = _blocks(values, size)
        count = blocks.shape[1]
        if count < 2:
            continue
        means = blocks.mean(axis=2)
        between = between + size * ((means - means.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)
        within = within + ((blocks - means[:, :, None]) ** 2).sum(axis=(1, 2))
        df_between += count - 1
        df_within += count * (size - 1)
    if not df_between:
        return np.zeros(len(sides[0]))
    # Readings alike within every block leave only rounding to divide by.
    within = np.maximum(within, ROUNDING * between)
    ratio = np.divide(
        between * df_within, within * df_between, out=np.zeros_like(within), where=within > 0
    )
    return np.asarray(-np.log10(np.maximum(stats.f.sf(ratio, df_between, df_within), 1e-300)))


def _spreads(sides: Sequence[Floats], size: int) -> tuple[float, float]:
    blocks = [_blocks(values[None, :], size)[0] for values in sides]
    within = float(np.sqrt(np.mean(np.concatenate([one.var(axis=1, ddof=1) for one in blocks]))))
    means = np.concatenate([one.mean(axis=1) - one.mean() for one in blocks if len(one) > 1])
    return within, float(np.sqrt((means**2).sum() / max(1, len(means) - len(blocks))))


def same_minute(rows: Sequence[ReviewRow]) -> Suspicion | None:
    """Say that several coupons carry one time: nobody welds two in one minute."""
    seen: dict[float, set[str]] = {}
    for row in rows:
        if row.minute is not None:
            seen.setdefault(row.minute, set()).add(row.coupon or f"row {row.number}")
    together = sum(len(found) for found in seen.values() if len(found) > 1)
    timed = sum(len(found) for found in seen.values())
    if together < 2 or 5 * together < timed:
        return None
    words = (
        f"{together} of {timed} coupons share their minute with another. Please check whether they "
        "are readings of one weld, or whether the time is that of the writing down."
    )
    return Suspicion("same-minute", words, "ask", {"together": together, "timed": timed})


# ------------------------------------------------------------------ figures and limits


def _figures(rows: Sequence[ReviewRow]) -> tuple[int, list[int], float]:
    """Return decimals, last figures of the readings at that many decimals, and their unit."""
    texts = [row.text.replace(",", ".") for row in rows if row.value is not None and not row.beyond]
    try:
        numbers = [Decimal(text) for text in texts]
    except InvalidOperation:
        return 0, [], 1.0
    places = max((max(0, -int(n.as_tuple().exponent)) for n in numbers), default=0)
    last = [int(abs(n).scaleb(places)) % 10 for n in numbers]
    return places, last, 10.0**-places


def gauge_step(rows: Sequence[ReviewRow]) -> float:
    """Return the step that the readings are written to, in their unit: 0.1, 0.5, 1 ..."""
    _, last, unit = _figures(rows)
    for step in (10, 5, 2):
        if last and all(figure % step == 0 for figure in last):
            return step * unit
    return unit


def last_figures(rows: Sequence[ReviewRow], level: float, seed: int) -> Suspicion | None:
    """Compare last figures with all ten being equally frequent (Pearson's statistic, drawn)."""
    plain = [row for row in read_rows(rows) if not row.beyond]
    _, last, unit = _figures(plain)
    if len(last) < FEWEST_FIGURES:
        return None
    inner = np.concatenate([one - one.mean() for one in sides_of(plain).values()])
    if inner.std(ddof=1) < 5 * unit:
        return None  # readings so close together that their last figures cannot be even
    step = gauge_step(plain)
    if step > unit:
        words = (
            f"readings are written in steps of {step:g}; differences below that are not in them."
        )
        return Suspicion("steps", words, "know", {"step": step})
    counts = np.bincount(last, minlength=10)
    expected = len(last) / 10
    seen = float(((counts - expected) ** 2 / expected).sum())
    drawn = np.random.default_rng(seed).multinomial(len(last), [0.1] * 10, DRAWS)
    p = _p(seen, ((drawn - expected) ** 2 / expected).sum(axis=1))
    if p > level:
        return None
    often = [int(figure) for figure in np.argsort(-counts)[:2]]
    words = (
        f"last figures are uneven: {often[0]} stands {counts[often[0]]} times and {often[1]} "
        f"{counts[often[1]]} times among {len(last)} readings, {expected:.2g} each expected "
        f"({one_in(p)} by chance). Please ask how they were read and rounded."
    )
    numbers = {"chi2": seen, "p": p, "n": float(len(last))}
    return Suspicion("last-figures", words, strength_of(p), numbers)


def at_limit(rows: Sequence[ReviewRow], level: float, seed: int) -> Suspicion | None:
    """Look for readings piled up at the largest or the smallest value."""
    past = [row for row in rows if row.beyond]
    if past:
        words = (
            f"{len(past)} of {len(read_rows(rows))} readings went past a limit ({past[0].text}); "
            "they count as at least (or at most) that."
        )
        return Suspicion("at-limit", words, "know", {"past": float(len(past))})
    sides = sides_of(rows)
    values = np.concatenate(list(sides.values()))
    if len(values) < 8 or np.ptp(values) == 0:
        return None
    step = gauge_step(read_rows(rows))
    rng = np.random.default_rng(seed)
    drawn = np.concatenate(
        [
            one.mean() + one.std(ddof=1) * rng.standard_normal((DRAWS, len(one)))
            for one in sides.values()
            if len(one) > 1
        ],
        axis=1,
    )
    drawn = np.round(drawn / step) * step
    best = None
    for name, seen, many in (
        ("largest", values.max(), drawn.max(axis=1, keepdims=True)),
        ("smallest", values.min(), drawn.min(axis=1, keepdims=True)),
    ):
        count = int((values == seen).sum())
        p = min(1.0, 2 * _p(count, (np.abs(drawn - many) < step / 2).sum(axis=1).astype(float)))
        if count >= 3 and p <= level and (best is None or p < best[0]):
            best = (p, name, float(seen), count)
    if best is None:
        return None
    p, name, value, count = best
    words = (
        f"{count} readings are {value:g}, the {name} there is ({one_in(p)} by chance): it looks "
        "like the limit of a gauge. Please ask whether they reached it; they then count as at "
        "least that."
    )
    return Suspicion("at-limit", words, strength_of(p), {"count": count, "value": value, "p": p})


# ------------------------------------------------------------------ order and losses


def drift(rows: Sequence[ReviewRow], units: Units, level: float) -> Suspicion | None:
    """Look for readings that rise or fall in the order of welding, sides apart (a t test)."""
    known = [n for n, row in enumerate(rows) if row.order is not None and row.value is not None]
    if len(known) < len(rows) / 2:
        return None
    used = units.of_row[known]
    numbers, places = np.unique(used, return_inverse=True)
    count = np.bincount(places)
    order = np.bincount(places, [float(rows[n].order or 0.0) for n in known]) / count
    value = np.bincount(places, [float(rows[n].value or 0.0) for n in known]) / count
    side = units.side[numbers]
    for code in np.unique(side):
        order[side == code] -= order[side == code].mean()
        value[side == code] -= value[side == code].mean()
    df = len(numbers) - len(np.unique(side)) - 1
    spread = float(order @ order)
    if df < 3 or spread <= 0:
        return None
    slope = float(order @ value) / spread
    left = float(((value - slope * order) ** 2).sum()) / df
    if left <= 0:
        return None
    p = float(2 * stats.t.sf(abs(slope) / np.sqrt(left / spread), df))
    if p > level:
        return None
    whole = slope * float(np.ptp([rows[n].order for n in known]))
    words = (
        f"readings {'rise' if slope > 0 else 'fall'} in the order of welding, by {abs(whole):.2g} "
        f"from first to last ({one_in(p)} by chance): tip wear, a warm plate or a tired eye does "
        "that. A side welded later would get the blame or the credit."
    )
    return Suspicion("drift", words, strength_of(p), {"slope": slope, "whole": whole, "p": p})


def lopsided_losses(rows: Sequence[ReviewRow], level: float) -> Suspicion | None:
    """Compare missing readings of the sides (Fisher's exact test, two sides at a time)."""
    sides = list(dict.fromkeys(row.group for row in rows))
    gone = {s: sum(r.value is None for r in rows if r.group == s) for s in sides}
    total = {s: sum(r.group == s for r in rows) for s in sides}
    most = max(sides, key=lambda s: gone[s] / total[s])
    rest = [s for s in sides if s != most]
    lost, kept = gone[most], total[most] - gone[most]
    others = (sum(gone[s] for s in rest), sum(total[s] - gone[s] for s in rest))
    if not lost:
        return None
    p = float(stats.fisher_exact(np.array([[lost, kept], others]))[1]) * (len(sides) - 1 or 1)
    shares = {f"lost_{s}": gone[s] / total[s] for s in sides}
    said = ", ".join(f"{s} {gone[s]} of {total[s]}" for s in sides)
    if p > level:
        words = f"readings are missing ({said}). Please ask why each is."
        return Suspicion("losses", words, "know", {"p": min(1.0, p), **shares})
    words = (
        f"readings are missing mostly on one side ({said}; {one_in(p)} by chance). Please ask what "
        "became of them, and who decided knowing what."
    )
    return Suspicion("losses", words, strength_of(p), {"p": p, **shares})


def gaps_in_order(rows: Sequence[ReviewRow]) -> Suspicion | None:
    """Name numbers that are missing from an order that counts 1, 2, 3 ..."""
    numbers = sorted({row.order for row in rows if row.order is not None})
    if len(numbers) < 6 or len(numbers) != len([r for r in rows if r.order is not None]):
        return None
    if any(number != int(number) for number in numbers) or numbers[0] < 1:
        return None
    whole = [int(number) for number in numbers]
    missing = [n for a, b in pairwise([0, *whole]) for n in range(a + 1, b)]
    if not missing or 2 * len(missing) > len(whole):
        return None
    named = ", ".join(map(str, missing[:8])) + (" …" if len(missing) > 8 else "")
    words = (
        f"the order runs to {whole[-1]}, but {len(missing)} of its numbers are missing: {named}. "
        "Please ask what became of those coupons."
    )
    return Suspicion("gaps", words, "ask", {"missing": float(len(missing))}, ("order",))
