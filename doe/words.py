"""Products of two-level factors with a sign, and the algebra of those that never change.

In a two-level design every effect is a product of columns of -1 and +1.  A column multiplied by
itself is always +1, so a product is a set of factors: here the bits of a whole number, the first
factor the lowest bit, multiplied by exclusive or.

References
----------
Box & Hunter (1961). The 2^(k-p) fractional factorial designs, *Technometrics* 3:311-351, 449-458
(defining relation and its words; from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple


class Word(NamedTuple):
    """A product of factors with its sign.

    Attributes
    ----------
    factors
        Names in the order of the design; none for the mean.
    sign
        +1, or -1 where the product enters turned.
    """

    factors: tuple[str, ...]
    sign: int = 1

    @property
    def title(self) -> str:
        """The product in words, without its sign: ``voltage × wire feed``."""
        return " × ".join(name.replace("_", " ") for name in self.factors) or "the mean"


class Signed(NamedTuple):
    """A product as bits, with its sign: +1 or -1."""

    bits: int
    sign: int = 1

    def times(self, other: Signed) -> Signed:
        """Return the product of both."""
        return Signed(self.bits ^ other.bits, self.sign * other.sign)


ONE = Signed(0, 1)


def to_bits(names: Iterable[str], factors: Sequence[str], sign: int = 1) -> Signed:
    """Return the product of `names` as bits; ValueError when a name is not in `factors`."""
    bits = 0
    for name in names:
        bits ^= 1 << factors.index(name)
    return Signed(bits, sign)


def to_word(product: Signed, factors: Sequence[str]) -> Word:
    """Return a product by its names, in the order of `factors`."""
    return Word(
        tuple(name for place, name in enumerate(factors) if product.bits >> place & 1),
        product.sign,
    )


def span(products: Iterable[Signed]) -> list[Signed]:
    """Return every product of some of `products`, the empty one first."""
    found = [ONE]
    for product in products:
        found += [product.times(old) for old in found]
    return found


def reading_order(product: Signed) -> tuple[int, tuple[int, ...]]:
    """Return the sort key that puts short products first, and first factors before later ones."""
    places = tuple(place for place in range(product.bits.bit_length()) if product.bits >> place & 1)
    return len(places), places


def solved(products: Iterable[Signed], places: Iterable[int]) -> list[tuple[int, Signed]]:
    """Solve constant products for one factor each, so that no solved factor is in another's.

    Parameters
    ----------
    products
        Products that are constant; those that follow from others are dropped.
    places
        Places of the factors to solve for, the most wanted first.

    Returns
    -------
    list of (place, product)
        The factor at `place` equals the product of the others in it, with its sign.
    """
    left = list(products)
    done: list[tuple[int, Signed]] = []
    for place in places:
        pivot = next((word for word in left if word.bits >> place & 1), None)
        if pivot is None:
            continue
        left.remove(pivot)
        left = [word.times(pivot) if word.bits >> place & 1 else word for word in left]
        done = [(at, word.times(pivot) if word.bits >> place & 1 else word) for at, word in done]
        done.append((place, pivot))
    return sorted(done)
