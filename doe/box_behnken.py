"""Box-Behnken designs: three levels of 3 to 7 numbers, never all at their ends at once.

References
----------
Box & Behnken (1960). Some new three level designs for the study of quantitative variables,
*Technometrics* 2:455-475 (from memory; three factors read in NIST/SEMATECH, 5.3.3.6.2).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import prod

from weldtrial.doe.factorial import pair_edges, two_level
from weldtrial.doe.family import (
    Family,
    categories_of,
    coded,
    crossed,
    how_many_combinations,
    middle,
    numbers_of,
    opened,
    refuse_untold,
    shared_out,
    titles,
    with_categories,
)
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.terms import model_terms

BLOCKS = {3: 1, 4: 3, 5: 2, 6: 2, 7: 2}
"""How many blocks shift no effect, published for each number of factors."""
CENTRE = {3: 3, 4: 3, 5: 6, 6: 6, 7: 6}
"""Published numbers of centre points."""
TRIPLES = {
    6: ((0, 1, 3), (1, 2, 4), (2, 3, 5), (0, 3, 4), (1, 4, 5), (0, 2, 5)),
    7: ((3, 4, 5), (0, 5, 6), (1, 4, 6), (0, 1, 3), (2, 3, 6), (0, 2, 4), (1, 2, 5)),
}
"""Factors varied together, the others at their middle; six are cyclic, seven the seven-point plane.
"""
PAIR_BLOCKS = {
    4: (((0, 1), (2, 3)), ((0, 2), (1, 3)), ((0, 3), (1, 2))),
    5: (
        ((0, 1), (2, 3), (1, 4), (0, 2), (3, 4)),
        ((1, 2), (0, 3), (2, 4), (0, 4), (1, 3)),
    ),
}
"""Pairs in each block: every factor as often in one block as in another."""


def box_behnken(
    factors: Sequence[Factor], *, centre_points: int | None = None, blocks: int = 1
) -> Family:
    """Return a Box-Behnken design.

    Parameters
    ----------
    factors
        Varied factors, 3 to 7 of them numbers; every category is crossed, the whole design welded
        under each combination.
    centre_points
        In the whole trial; None for the published number, shared over the categories and blocks.
    blocks
        1, or the published number: 3 for four numbers, 2 for five to seven.

    Raises
    ------
    PlanRefused
        When the factors do not fit, it cannot be cut so, or something cannot be told.
    """
    numbers, categories = numbers_of(factors), categories_of(factors)
    many, under = len(numbers), how_many_combinations(categories)
    _refuse_number(many)
    _refuse_blocks(many, blocks)
    if centre_points is None:
        centre_points = under * blocks * max(1, -(-CENTRE[many] // (under * blocks)))
    each = shared_out(centre_points, factors, blocks)
    rows = edges(many)
    points = crossed([coded(numbers, row) for row in rows], categories, factors)
    number = [_block_of(row) if blocks > 1 else 1 for row in rows] * under
    for one in range(1, blocks + 1):
        points += crossed([middle(numbers, {})] * each, categories, factors)
        number += [one] * (each * under)
    cut = f", in {blocks} blocks" if blocks > 1 else ""
    family = Family(
        points=points,
        block=tuple(number) if blocks > 1 else None,
        centre=centre_points,
        name=f"Box-Behnken: {many} numbers at three levels{with_categories(categories)}{cut}",
        notes=tuple(_notes(many, len(rows), categories, blocks)),
        model=model_terms(factors, "quadratic"),
    )
    return refuse_untold(
        family,
        factors,
        f"Add centre points:  centre_points = {under * blocks * -(-CENTRE[many] // blocks)}.",
    )


def edges(many: int) -> tuple[tuple[int, ...], ...]:
    """Return the published rows of -1, 0 and +1 without centre points, 3 to 7 factors."""
    if many not in TRIPLES:
        return pair_edges(many)
    rows = []
    for triple in TRIPLES[many]:
        for signs in two_level(3):
            set_to = dict(zip(triple, signs, strict=True))
            rows.append(tuple(set_to.get(place, 0) for place in range(many)))
    return tuple(rows)


def _block_of(row: tuple[int, ...]) -> int:
    """Return the published block of a row: by its pair, or by the sign of the triple's product."""
    varied = tuple(place for place, value in enumerate(row) if value)
    if len(varied) == 3:
        return 1 if prod(row[place] for place in varied) > 0 else 2
    return next(number for number, pairs in enumerate(PAIR_BLOCKS[len(row)], 1) if varied in pairs)


def _refuse_number(many: int) -> None:
    if many in BLOCKS:
        return
    instead = (
        'kind = "central-composite"  takes two.'
        if many == 2
        else 'Screen first:  kind = "definitive-screening".'
        if many > 7
        else 'One number is welded at three levels:  kind = "factorial".'
        if many == 1
        else 'Without numbers there is nothing to bend:  kind = "factorial".'
    )
    raise PlanRefused(
        f"A Box-Behnken design is for 3 to 7 numeric factors; there "
        f"{'is' if many == 1 else 'are'} {many or 'none'}. {instead}"
    )


def _refuse_blocks(many: int, blocks: int) -> None:
    if blocks in (1, BLOCKS[many]):
        return
    use = "one block" if BLOCKS[many] == 1 else f"1 or {BLOCKS[many]} blocks"
    raise PlanRefused(
        f"A Box-Behnken design of {many} numbers cannot be cut in {blocks} blocks that shift no "
        f"effect. Use {use}."
    )


def _notes(many: int, rows: int, categories: Sequence[Factor], blocks: int) -> Iterator[str]:
    together = 3 if many in TRIPLES else 2
    yield (
        f"Main effects, pairs and bends of every number can be told apart. At most {together} "
        "numbers are at their ends at once: corners are never welded, and what is said about "
        "them reaches beyond the coupons."
    )
    if categories:
        verb = "has" if len(categories) == 1 else "have"
        yield (
            f"{opened(titles(categories))} {verb} no middle: the {rows} coupons and the "
            f"centre points are welded under every one of the {how_many_combinations(categories)} "
            "combinations. Bends and pairs of the numbers are shared by all of them; whether a "
            "bend depends on a category is not in the model."
        )
    if blocks > 1:
        yield (
            f"The {blocks} published blocks, with as many centre points in each, touch no effect."
        )
