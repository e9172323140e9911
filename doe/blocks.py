"""Blocks: a factorial or a fraction cut into equal parts, at the cost of the least interesting.

What differs between parts (days, plates, spools, welders, set-ups) then hides the effects that are
*confounded* with them: never a main effect, and a two-factor interaction only when no cut avoids
it.  The cut is the one that confounds the fewest two-factor interactions, then the fewest
three-factor ones, and so on; among equals it spares the factors named first.  It is found by
complete search, so the same design always gives the same cut.

References
----------
Sun, Wu & Chen (1997). Optimal blocking schemes for 2^n and 2^(n-p) designs, *Technometrics*
39:298-307 (the criterion for full factorials; from memory).
NIST/SEMATECH (2003). *e-Handbook of Statistical Methods*, 5.3.3.3.3 (blocking of full factorials).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from weldtrial.doe.aliases import AliasSet, effects_up_to, in_base, travellers
from weldtrial.doe.fractions import Fraction
from weldtrial.doe.words import Signed, Word, reading_order, span, to_bits
from weldtrial.shared.problems import PlanRefused

MOST_RUNS = 128
"""Beyond this a complete search for the best cut takes too long."""


@dataclass(frozen=True, slots=True)
class Blocked:
    """A two-level design cut into equal blocks.

    Attributes
    ----------
    design
        What is cut.
    words
        The products whose signs number the blocks; none for one block.
    confounded
        For each difference between blocks, all effects that it hides, short ones first.
    numbers
        Block of each row of `design.signs`, counted from 1.
    """

    design: Fraction
    words: tuple[Word, ...]
    confounded: tuple[AliasSet, ...]
    numbers: tuple[int, ...]

    @property
    def blocks(self) -> int:
        """How many blocks."""
        return int(2 ** len(self.words))

    def up_to(self, order: int) -> tuple[Word, ...]:
        """Return the confounded effects of at most `order` factors, short ones first."""
        found = [word for one in self.confounded for word in one.effects]
        kept = [Word(word.factors) for word in found if len(word.factors) <= order]
        return tuple(sorted(kept, key=lambda word: reading_order(_bits(self.design, word))))

    @property
    def two_factor(self) -> tuple[Word, ...]:
        """The two-factor interactions that are confounded with blocks."""
        return self.up_to(2)


def block(design: Fraction, blocks: int) -> Blocked:
    """Return the design cut into `blocks` equal blocks.

    Parameters
    ----------
    design
        A fraction, a full factorial or a fold-over, of at most 128 runs where it is to be cut.
    blocks
        1, 2, 4, 8, ...; every block needs two runs or more.

    Raises
    ------
    PlanRefused
        When it cannot be cut so, or only by confounding a main effect.
    """
    if blocks < 1 or blocks & (blocks - 1) or design.runs % blocks:
        raise PlanRefused(
            f"{design.runs} combinations cannot be cut into {blocks} equal blocks. Take "
            f"{_usable(design)}."
        )
    if blocks == 1:
        return block_by(design, ())
    if design.runs > MOST_RUNS:
        raise PlanRefused(
            f"{design.runs} combinations are too many to cut into blocks here; {MOST_RUNS} are "
            "the most. Take a fraction, or give each block all combinations."
        )
    scores = _costs(design)
    cut = _cheapest(scores, blocks.bit_length() - 1)
    if cut is None:
        raise PlanRefused(
            f"{design.runs} combinations of {', '.join(design.factors)} cannot be cut into "
            f"{blocks} blocks without hiding a main effect. Take fewer blocks or more runs."
        )
    return block_by(design, [travellers(design, Signed(bits)).effects[0] for bits in cut])


def halves(design: Fraction) -> Blocked:
    """Return a fold-over with its two halves as the blocks.

    Raises
    ------
    PlanRefused
        When the design is not a fold-over.
    """
    if design.half is None:
        raise PlanRefused("The design has no second half: it was not folded over.")
    cut = block_by(design, (design.half,))
    numbers = tuple(1 if row < design.runs // 2 else 2 for row in range(design.runs))
    return Blocked(design, cut.words, cut.confounded, numbers)


def block_by(design: Fraction, words: Sequence[Word]) -> Blocked:
    """Return the design cut by the signs of products that are given.

    Parameters
    ----------
    design
        What is cut.
    words
        Independent products; the first sets whether a block's number is odd or even (odd where
        the product is -1).

    Raises
    ------
    PlanRefused
        When a product, or one that follows from two, never changes in this design.
    """
    products = [_bits(design, word) for word in words]
    cosets = [in_base(design, product) for product in span(products)[1:]]
    if any(coset.bits == 0 for coset in cosets):
        raise PlanRefused(
            f"{', '.join(word.title for word in words)} cannot number blocks: a product of them "
            "never changes in this design. Name others."
        )
    hidden = [travellers(design, coset) for coset in cosets]
    hidden.sort(key=lambda one: reading_order(_bits(design, one.effects[0])))
    return Blocked(
        design=design,
        words=tuple(Word(word.factors) for word in words),
        confounded=tuple(hidden),
        numbers=tuple(_number(design, row, words) for row in design.signs),
    )


def confounded_words(cut: Blocked, called: str = "block", order: int = 2) -> tuple[str, ...]:
    """Return a sentence for each effect that the blocks hide.

    Parameters
    ----------
    cut
        A design in blocks.
    called
        What a block is: ``set-up``, ``day``, ``plate``, ``spool``, ``welder``.
    order
        Effects of more factors are not named, but for the shortest of each difference.

    Returns
    -------
    tuple of str
        Such as "voltage × travel cannot be told from the difference between days".
    """
    plural = called if called.endswith("s") else f"{called}s"
    named = list(cut.up_to(order))
    named += [
        Word(one.effects[0].factors)
        for one in cut.confounded
        if len(one.effects[0].factors) > order
    ]
    return tuple(
        f"{word.title} cannot be told from the difference between {plural}" for word in named
    )


def _bits(design: Fraction, word: Word) -> Signed:
    return to_bits(word.factors, design.factors)


def _number(design: Fraction, row: Sequence[int], words: Iterable[Word]) -> int:
    number = 1
    for power, word in enumerate(words):
        sign = 1
        for name in word.factors:
            sign *= row[design.factors.index(name)]
        number += (sign > 0) << power
    return number


def _usable(design: Fraction) -> str:
    several = [str(2**power) for power in range(1, design.runs.bit_length() - 1)]
    if not several:
        return "one block"
    return several[0] if len(several) == 1 else f"{', '.join(several[:-1])} or {several[-1]}"


def _costs(design: Fraction) -> dict[int, int]:
    """Cost of confounding each difference between runs; those that hide a main effect are out.

    The key is the product of base factors; keys come cheapest first.  The cost is one whole
    number, so that costs add up.  Its leading digits count the effects hidden: those of two
    factors, of three, and so on.  The digits after them weigh the factors in these effects, each
    factor heavier than all that are named after it.
    """
    many = len(design.factors)
    digit = 4**many  # more effects times more weight than there can be: no digit carries over
    costs: dict[int, int] = {}
    for effect in effects_up_to(many, many):
        bits = in_base(design, effect).bits
        rank = many - effect.bits.bit_count()
        weight = sum(2 ** (many - 1 - place) for place in range(many) if effect.bits >> place & 1)
        cost = int(digit ** (many + rank)) + weight * int(digit**rank)
        costs[bits] = costs.get(bits, 0) + cost
    costs.pop(0, None)
    for effect in effects_up_to(many, 1):
        costs.pop(in_base(design, effect).bits, None)
    return dict(sorted(costs.items(), key=lambda item: (item[1], item[0])))


def _cheapest(costs: Mapping[int, int], words: int) -> tuple[int, ...] | None:
    """Return so many independent products whose products together cost least, or None.

    Branch and bound.  A group of products is visited once: by its first member in the order of
    `costs`, then its first that does not follow from that, and so on; all its other members come
    later and so cost no less, which is the bound.
    """
    order = list(costs)
    place = {bits: at for at, bits in enumerate(order)}
    price = [costs[bits] for bits in order]
    whole = 2**words
    best: tuple[int, tuple[int, ...]] | None = None

    def visit(group: list[int], chosen: tuple[int, ...], spent: int, start: int) -> None:
        nonlocal best
        if len(group) == whole:
            if best is None or spent < best[0]:
                best = (spent, chosen)
            return
        for at in range(start, len(order)):
            if best is not None and spent + price[at] * (whole - len(group)) >= best[0]:
                return
            new = [order[at] ^ old for old in group]
            places = [place.get(bits, -1) for bits in new]
            if order[at] not in group and min(places) >= at:
                added = sum(price[one] for one in places)
                visit(group + new, (*chosen, order[at]), spent + added, at + 1)

    visit([0], (), 0, 0)
    return None if best is None else best[1]
