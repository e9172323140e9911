"""Definitive screening: three levels of every number, main effects clear of all that bends.

A conference matrix, the same with all signs turned, and a run at the middle.  Two-level categories
take columns of their own: where the matrix has its zeros they are set to one level in the one run
and to the other in its mirror image, and the run at the middle becomes a pair.

References
----------
Jones & Nachtsheim (2011). A class of three-level designs for definitive screening in the presence
of second-order effects, *Journal of Quality Technology* 43:1-15.
Xiao, Lin & Bai (2012). Constructing definitive screening designs using conference matrices,
*Journal of Quality Technology* 44:2-8.
Jones & Nachtsheim (2013). Definitive screening designs with added two-level categorical factors,
*Journal of Quality Technology* 45:121-129.
Jones & Nachtsheim (2016). Blocking schemes for definitive screening designs, *Technometrics*
58:74-83 (all from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations, product
from math import sqrt

from weldtrial.doe.conference import ORDERS, conference
from weldtrial.doe.family import (
    Family,
    categories_of,
    coded,
    crossed,
    how_many_combinations,
    numbers_of,
    opened,
    refuse_untold,
    titles,
)
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.terms import model_terms

MOST_SIGNS_TRIED = 10
"""Up to so many free signs all choices are tried; beyond, one sign after another is turned."""

Rows = list[tuple[int, ...]]


def definitive_screening(
    factors: Sequence[Factor],
    *,
    runs: int | None = None,
    centre_points: int | None = None,
    blocks: int = 1,
) -> Family:
    """Return a definitive screening design.

    Parameters
    ----------
    factors
        Varied factors: numbers, of which the ends and the middle are welded; categories of two
        levels, each a column; a category of more is crossed, the whole design welded under each.
    runs
        Runs under each combination of the crossed categories, all but extra centre points: 2m + 1,
        or 2m + 2 with a column for a category, m even.  More than needed (columns left unused)
        give the main effects an error of their own.  None for the fewest.
    centre_points
        In the whole trial; None for the fewest: one in every block under each crossed category, a
        pair where a category has a column.
    blocks
        Blocks of mirrored pairs, at least two pairs in each, with their own centre points.

    Raises
    ------
    PlanRefused
        When the factors do not fit, or it cannot be cut so.
    """
    numbers = numbers_of(factors)
    two = tuple(one for one in categories_of(factors) if len(one.levels) == 2)
    more = tuple(one for one in categories_of(factors) if len(one.levels) > 2)
    _refuse_few(numbers, two)
    order = _order(runs, len(numbers) + len(two), paired=bool(two))
    if not 1 <= blocks <= order // 2:
        raise PlanRefused(
            f"{order} mirrored pairs of runs are cut into {order // 2} blocks at most; {blocks} "
            f"were asked for. Use  rounds = {order // 2}  or fewer."
        )
    under = how_many_combinations(more)
    each = _centres(centre_points, blocks, under, paired=bool(two))
    half, middle_row = signed(order, len(numbers), len(two))
    rows: Rows = []
    block: list[int] = []
    for place, row in enumerate(half):
        rows += [row, tuple(-value for value in row)]
        block += [place % blocks + 1] * 2
    turned = tuple(-value for value in middle_row)
    for one in range(1, blocks + 1):
        rows += [middle_row if place % 2 == 0 else turned for place in range(each)]
        block += [one] * each
    columns = (*numbers, *two)
    name = (
        f"Definitive screening: {len(columns)} factors in {len(rows)} runs"
        f"{f', under every {titles(more)}' if more else ''}"
    )
    family = Family(
        points=crossed([coded(columns, row) for row in rows], more, factors),
        block=tuple(block * under) if blocks > 1 else None,
        centre=each * blocks * under,
        name=name,
        notes=(*_notes(rows, block, numbers, two, more, order), *(_BLOCKED if blocks > 1 else ())),
        model=model_terms(factors, "main"),
    )
    return refuse_untold(family, factors, "Take more runs.")


def signed(order: int, numbers: int, two: int) -> tuple[Rows, tuple[int, ...]]:
    """Return half the runs and the run at the middle, zeros of categories given a sign.

    The signs make the sum of the squared products of main-effect columns smallest: all choices are
    tried where they are at most 2^10, else one sign after another is turned while that helps.

    Returns
    -------
    tuple
        `order` rows and one more, `numbers` columns of -1, 0 and +1, then `two` of -1 and +1.
    """
    rows = [row[: numbers + two] for row in conference(order)]
    free = max(2 * two - 1, 0)
    if free <= MOST_SIGNS_TRIED:
        # The mirror image of the pair at the middle is itself, so its first sign is +1.
        every = (list(signs) for signs in product((1, -1), repeat=free))
        best = min(every, key=lambda signs: _untidy(*_filled(rows, numbers, two, signs)))
        return _filled(rows, numbers, two, best)
    best = [1] * free
    value = _untidy(*_filled(rows, numbers, two, best))
    while True:
        found = [
            (_untidy(*_filled(rows, numbers, two, turned)), place, turned)
            for place, turned in _turned(best)
        ]
        least, _, turned = min(found, key=lambda one: one[:2])
        if least >= value:
            return _filled(rows, numbers, two, best)
        value, best = least, turned


def _turned(signs: list[int]) -> Iterator[tuple[int, list[int]]]:
    for place in range(len(signs)):
        yield place, [-one if at == place else one for at, one in enumerate(signs)]


def _filled(
    rows: Rows, numbers: int, two: int, signs: Sequence[int]
) -> tuple[Rows, tuple[int, ...]]:
    """Return the rows with `signs` for the zeros of categories, and the run at the middle."""
    filled = [
        tuple(
            signs[column - numbers] if column >= numbers and value == 0 else value
            for column, value in enumerate(row)
        )
        for row in rows
    ]
    first = (1,) if two else ()
    return filled, (*(0,) * numbers, *first, *signs[two:])


def _untidy(rows: Rows, middle_row: tuple[int, ...]) -> int:
    every = [*rows, middle_row]
    return sum(
        sum(row[a] * row[b] for row in every) ** 2 for a, b in combinations(range(len(rows[0])), 2)
    )


def _refuse_few(numbers: Sequence[Factor], two: Sequence[Factor]) -> None:
    if not numbers:
        raise PlanRefused(
            "A definitive screening design bends numbers, and here every factor is a category. "
            'Use  kind = "fraction"  or  kind = "plackett-burman".'
        )
    if len(numbers) + len(two) < 3:
        raise PlanRefused(
            "A definitive screening design needs three factors or more, numbers and categories of "
            f"two levels; there {'is' if len(numbers) + len(two) == 1 else 'are'} "
            f'{len(numbers) + len(two)}. Use  kind = "central-composite"  or  kind = "factorial".'
        )


def _order(runs: int | None, columns: int, *, paired: bool) -> int:
    fits = [order for order in ORDERS if order >= columns]
    if not fits:
        raise PlanRefused(
            f"{columns} factors are more than the {ORDERS[-1]} that a definitive screening design "
            "holds here. Leave some out."
        )
    if runs is None:
        return fits[0]
    extra = 2 if paired else 1
    if runs % 2 == extra % 2 and (runs - extra) // 2 in fits:
        return (runs - extra) // 2
    listed = ", ".join(str(2 * order + extra) for order in fits[:3])
    why = (
        ": there is no conference matrix of order 22, since 21 is not a sum of two squares"
        if runs == 44 + extra
        else ""
    )
    raise PlanRefused(
        f"design.runs = {runs} is no definitive screening design of {columns} factors{why}. Use  "
        f"runs = {listed}{' and so on' if len(fits) > 3 else ''}."
    )


def _centres(asked: int | None, blocks: int, under: int, *, paired: bool) -> int:
    """Return the centre points of a block under one combination of the crossed categories."""
    unit = (2 if paired else 1) * blocks * under
    if not asked:
        return unit // (blocks * under)
    if asked % unit:
        why = " (pairs, since categories have no middle)" if paired else ""
        raise PlanRefused(
            f"centre_points = {asked} cannot be shared evenly{why} over {blocks} block"
            f"{'' if blocks == 1 else 's'} and {under} combination{'' if under == 1 else 's'} of "
            f"the categories. Use  centre_points = {-(-asked // unit) * unit}."
        )
    return asked // (blocks * under)


def _notes(
    rows: Rows,
    block: Sequence[int],
    numbers: Sequence[Factor],
    two: Sequence[Factor],
    more: Sequence[Factor],
    order: int,
) -> Iterator[str]:
    yield (
        "Every main effect is clear of all two-factor interactions and squares. Those are mixed "
        "with one another: it can say that one or two bends or pairs are large, not tell many of "
        "them apart."
    )
    middles = sum(row[0] == 0 for row in rows)
    least, most = _squares_share(rows, block, len(numbers))
    up_to = "up to " if most - least > 0.005 else ""
    alike = (
        "" if len(numbers) < 2 else f", and two squares share {up_to}{_percent(most)} of each other"
    )
    yield (
        f"Each number is at its middle in {middles} of {len(rows)} coupons{alike}: a bend has to "
        "be large to be seen."
    )
    if order > len(numbers) + len(two):
        yield (
            "Columns left unused: the scatter that judges the main effects comes from them and "
            "from whatever bends and works together; large bends blunt the main effects."
        )
    else:
        yield (
            "No column is left unused, so the scatter that judges the main effects comes from "
            f"whatever bends and works together; the next larger design,  runs = "
            f"{_next(order, paired=bool(two))},  leaves columns free for it."
        )
    if order >= 6 and not two and len(numbers) > 2:
        yield (
            "Where only three factors turn out to matter, all their bends and pairs can be fitted "
            "from these coupons."
        )
    if two:
        yield (
            f"{opened(titles(two))} take{'s' if len(two) == 1 else ''} a column of two "
            "levels and has no middle: the centre run is a pair of mirror images. What is lost: "
            "main effects are not wholly clear of one another (they share up to "
            f"{_percent(_largest(rows))}), though clear of every bend and pair."
        ).replace("take a column of two levels and has", "take columns of two levels and have")
    if more:
        yield (
            f"{opened(titles(more))} cannot be a column with more than two levels: the whole "
            f"design is welded under every one of the {how_many_combinations(more)}, the dearer "
            "way, and its main effect and those of the numbers are clear of each other."
        )


_BLOCKED = (
    "Blocks hold mirrored pairs and centre points of their own: what differs between blocks "
    "touches no main effect, but it does touch squares and pairs.",
)


def _largest(rows: Rows) -> float:
    """Return the largest correlation between two main effects."""
    columns = list(zip(*rows, strict=True))

    def along(one: Sequence[int], other: Sequence[int]) -> int:
        return sum(a * b for a, b in zip(one, other, strict=True))

    return max(
        abs(along(one, other)) / sqrt(along(one, one) * along(other, other))
        for one, other in combinations(columns, 2)
    )


def _squares_share(rows: Rows, block: Sequence[int], numbers: int) -> tuple[float, float]:
    """Return the least and the largest correlation of two squares, blocks taken out, without sign.

    In one block with one run at the middle every two share 1/3 - 1/(m - 1), m pairs of runs.
    """
    squares = [[float(row[at] ** 2) for row in rows] for at in range(numbers)]
    for square in squares:
        for one in set(block):
            own = [at for at, code in enumerate(block) if code == one]
            mean = sum(square[at] for at in own) / len(own)
            for at in own:
                square[at] -= mean

    def along(one: Sequence[float], other: Sequence[float]) -> float:
        return sum(a * b for a, b in zip(one, other, strict=True))

    shares = [
        abs(along(one, other)) / sqrt(along(one, one) * along(other, other))
        for one, other in combinations(squares, 2)
    ]
    return min(shares, default=0.0), max(shares, default=0.0)


def _percent(share: float) -> str:
    return f"{100 * share:.0f} %"


def _next(order: int, *, paired: bool) -> int:
    return 2 * next((one for one in ORDERS if one > order), order + 2) + (2 if paired else 1)
