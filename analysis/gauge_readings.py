"""Readings of a gauge study laid out as a full table, or what is missing from it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from weldtrial.shared.problems import NotEstimable

Floats = NDArray[np.float64]


def crossed_table(values: ArrayLike, reader: Sequence[str], coupon: Sequence[str]) -> Floats:
    """Return readings as an array of readers, coupons and repeats; refuse an incomplete one."""
    y = np.asarray(values, dtype=float)
    if y.shape != (len(reader),) or len(reader) != len(coupon) or not np.all(np.isfinite(y)):
        raise ValueError("values, coupon and reader must be as long as one another, and finite")
    readers, coupons = list(dict.fromkeys(reader)), list(dict.fromkeys(coupon))
    if len(coupons) < 2:
        raise NotEstimable("a gauge study needs at least two coupons, ten are usual")
    counts = Counter(zip(reader, coupon, strict=True))
    most = max(counts.values())
    if most < 2:
        raise NotEstimable(
            "every coupon was read once by each reader: no repeats, so no repeatability",
            hint="read every coupon again, without looking at the first sheet",
        )
    short = [
        f"{one} by {who} ({counts[who, one]} of {most})"
        for who in readers for one in coupons if counts[who, one] < most
    ]  # fmt: skip
    if short:
        more = f" and {len(short) - 6} more" if len(short) > 6 else ""
        raise NotEstimable(f"readings are missing: {', '.join(short[:6])}{more}",
                           hint="take them, or leave a coupon or a reader out")  # fmt: skip
    cells: dict[tuple[str, str], list[float]] = {}
    for value, who, one in zip(y, reader, coupon, strict=True):
        cells.setdefault((who, one), []).append(float(value))
    return np.array([[cells[who, one] for one in coupons] for who in readers])


def nested_table(
    values: ArrayLike, levels: Sequence[Sequence[str]], names: Sequence[str]
) -> Floats:
    """Return readings as an array with one axis a level, the outermost first, readings last."""
    y = np.asarray(values, dtype=float)
    if len(levels) != len(names) or not levels or any(len(level) != len(y) for level in levels):
        raise ValueError("every level needs a name and one label a reading")
    if not np.all(np.isfinite(y)):
        raise ValueError("values must be finite numbers")
    shape: list[int] = []
    groups = [np.arange(len(y))]
    for level, name in zip(levels, names, strict=True):
        inside = [_split(group, level) for group in groups]
        sizes = {len(parts) for parts in inside}
        _refuse_uneven(sizes, name)
        shape.append(sizes.pop())
        groups = [part for parts in inside for part in parts]
    sizes = {len(group) for group in groups}
    _refuse_uneven(sizes, "reading")
    return y[np.concatenate(groups)].reshape(*shape, sizes.pop())


def _split(group: NDArray[np.intp], labels: Sequence[str]) -> list[NDArray[np.intp]]:
    parts: dict[str, list[int]] = {}
    for place in group:
        parts.setdefault(labels[int(place)], []).append(int(place))
    return [np.array(part) for part in parts.values()]


def _refuse_uneven(sizes: set[int], name: str) -> None:
    if len(sizes) > 1:
        raise NotEstimable(
            f"not the same number throughout: {min(sizes)} to {max(sizes)} of '{name}' at a time",
            hint="take the missing readings, or leave some out",
        )
    if min(sizes) < 2:
        raise NotEstimable(f"one '{name}' at a time: its scatter cannot be seen")
