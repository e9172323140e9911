"""Factors and set-ups read off plain columns, for data that no trial file describes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from weldtrial.shared.factors import Factor


def level_name(value: str | float) -> str:
    """Return the name of a level: the text, or the number as short as it can be written."""
    if isinstance(value, str):
        return value
    number = float(value)
    return str(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)


def factor_of(
    name: str,
    values: Sequence[str | float],
    *,
    category: bool = False,
    as_is: bool = False,
    hard: bool = False,
    control: str | None = None,
    unit: str = "1",
) -> Factor:
    """Return the factor that a column of values stands for.

    Parameters
    ----------
    name
        Name of the column.
    values
        One entry a coupon, all numbers or all texts.
    category
        True when numbers are labels.
    as_is
        True when the numbers are coded already and are used unchanged.
    hard
        True when the factor ends a set-up.
    control
        Name of the reference level of a category, None to compare all pairs.

    Raises
    ------
    ValueError
        When the control is not among the levels.
    """
    named = {level_name(value): value for value in values}
    numeric = all(not isinstance(value, str) for value in named.values())
    levels = sorted(named, key=lambda level: float(named[level])) if numeric else sorted(named)
    if control is not None and control not in levels:
        raise ValueError(f"'{control}' is not a level of {name}: {', '.join(levels)}")
    if category or not numeric:
        return Factor(name, "category", tuple(levels), hard_to_change=hard, control=control)
    return Factor(
        name,
        "numeric",
        tuple(levels),
        unit=unit,
        settings={"": tuple(float(named[level]) for level in levels)},
        hard_to_change=hard,
        used_as_is=as_is,
    )


def number_setups(
    setups: Sequence[object] | None, blocks: Sequence[object] | None, count: int
) -> list[int | None]:
    """Number the set-ups in the order they come; a label that recurs in another block is another.

    Parameters
    ----------
    setups, blocks
        Labels, one a coupon, or None where there are none.
    count
        How many coupons there are.
    """
    if setups is None:
        return [None] * count
    seen: dict[tuple[object, object], int] = {}
    labels = zip(blocks or [None] * count, setups, strict=True)
    return [seen.setdefault(label, len(seen) + 1) for label in labels]


def number_blocks(blocks: Sequence[object] | None, count: int) -> list[int | None]:
    """Number the blocks in the order they come, None where there are none."""
    if blocks is None:
        return [None] * count
    seen: dict[object, int] = {}
    return [seen.setdefault(label, len(seen) + 1) for label in blocks]


def constant_within(
    columns: Mapping[str, Sequence[str]], setups: Sequence[int | None]
) -> frozenset[str]:
    """Return the names of columns that never change within a set-up: hard to change, then."""
    if all(number is None for number in setups):
        return frozenset()
    found = set()
    for name, levels in columns.items():
        pairs = {(number, level) for number, level in zip(setups, levels, strict=True)}
        if len(pairs) == len(set(setups)):
            found.add(name)
    return frozenset(found)
