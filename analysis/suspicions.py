"""What can be noticed in raw figures without asking anybody.

All looks together may give a false alarm on clean data about 5 times in 100: each takes an equal
share of that (Bonferroni), whatever the number of looks that the columns allow.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from weldtrial.analysis import suspicion_values as values
from weldtrial.analysis.suspicion_record import Suspicion
from weldtrial.analysis.suspicion_ties import (
    one_setup_each,
    redeal,
    tied_to_label,
    tied_to_number,
    units_of,
)
from weldtrial.shared.review_data import ReviewRow

FALSE_ALARMS = 0.05
"""Clean data that some look or other calls into question, of all clean data."""

Look = Callable[[float], Suspicion | None]


def find_suspicions(rows: Sequence[ReviewRow], seed: int = 20260611) -> tuple[Suspicion, ...]:
    """Return everything noticed, the most serious first.

    Parameters
    ----------
    rows
        Every row of the data, those without a reading too.
    seed
        Of the permutations: the same data always give the same words.
    """
    kept = [row for row in rows if row.value is not None]
    if len(kept) < 4 or len({row.group for row in kept}) < 2:
        return ()
    ties, others = _tie_looks(kept, seed), _value_looks(rows, kept, seed)
    level = FALSE_ALARMS / max(1, len(ties) + len(others))
    found = [look(level) for look in (*ties, *others)]
    units = units_of(kept)
    sure = [one_setup_each(units, kept), values.gaps_in_order(rows), values.same_minute(kept)]
    noticed = [one for one in (*sure, *found) if one is not None]
    rank = {"tied": 0, "likely": 1, "ask": 2, "know": 3}
    return tuple(sorted(noticed, key=lambda one: rank[one.strength]))


def _tie_looks(rows: Sequence[ReviewRow], seed: int) -> list[Look]:
    units = units_of(rows)
    deals = redeal(units, seed)
    numbers: dict[str, list[float | None]] = {"order": [row.order for row in rows]}
    for name in dict.fromkeys(name for row in rows for name in row.measures):
        numbers[name] = [row.measures.get(name) for row in rows]
    labels = {
        "day": [row.day for row in rows],
        "reader": [row.reader for row in rows],
        "plate": [row.plate for row in rows],
    }
    for name in dict.fromkeys(name for row in rows for name in row.labels):
        labels[name] = [row.labels.get(name, "") for row in rows]
    looks: list[Look] = []
    for name, column in numbers.items():
        if len({value for value in column if value is not None}) > 1:
            looks.append(
                lambda level, name=name, column=column: tied_to_number(  # type: ignore[misc]
                    name, column, units, deals, level
                )
            )
    for name, texts in labels.items():
        if 1 < len(set(texts)) <= len(rows) // 2 and all(texts):
            looks.append(
                lambda level, name=name, texts=texts: tied_to_label(  # type: ignore[misc]
                    name, texts, units, deals, level
                )
            )
    return looks


def _value_looks(rows: Sequence[ReviewRow], kept: Sequence[ReviewRow], seed: int) -> list[Look]:
    units = units_of(kept)
    looks: list[Look] = [
        lambda level: values.last_figures(kept, level, seed),
        lambda level: values.at_limit(kept, level, seed),
        lambda level: values.lopsided_losses(rows, level),
    ]
    if any(row.order is not None for row in kept):
        looks.append(lambda level: values.drift(kept, units, level))
    if (in_order := values.sorted_by_size(kept)) is not None:
        return [*looks, lambda _: in_order]
    welds = [row for row in kept if row.coupon]
    told_apart = len({(row.group, row.coupon) for row in welds}) < len(welds)
    if not told_apart and not units.by_setups:
        looks.append(lambda level: values.alike_in_blocks(kept, level, seed))
    if not told_apart:
        looks.append(lambda level: values.equal_neighbours(kept, level, seed))
    return looks
