"""Aliases: effects whose columns are one and the same, so that no result tells them apart.

References
----------
Box & Hunter (1961). *Technometrics* 3:311-351, 449-458 (from memory).
NIST/SEMATECH (2003). *e-Handbook of Statistical Methods*, 5.3.3.4.3 (confounding).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import combinations

from weldtrial.doe.fractions import Fraction
from weldtrial.doe.words import Signed, Word, reading_order, span, to_word


@dataclass(frozen=True, slots=True)
class AliasSet:
    """Effects that travel together: one estimate stands for their signed sum.

    Attributes
    ----------
    effects
        Short ones first; each sign is relative to the first effect, whose sign is +1.  A set that
        starts with the mean (a word without factors) holds products that never change.
    """

    effects: tuple[Word, ...]

    @property
    def alone(self) -> bool:
        """Whether no other effect up to the order looked at travels along."""
        return len(self.effects) == 1

    @property
    def text(self) -> str:
        """The set as a signed sum: ``travel + voltage × wire feed``."""
        first, *others = self.effects
        return first.title + "".join(
            f" {'+' if other.sign > 0 else '−'} {other.title}" for other in others
        )


def estimable(design: Fraction, order: int = 2) -> tuple[AliasSet, ...]:
    """Return every effect up to `order` in the set it travels with, also those alone.

    Parameters
    ----------
    design
        A fraction, a full factorial or a fold-over.
    order
        Most factors in an effect, at least 1.

    Returns
    -------
    tuple of AliasSet
        One for each thing that can be estimated; the one with the mean first, if products up to
        `order` never change.
    """
    if order < 1:
        raise ValueError(f"effects have at least one factor, not {order}")
    sets: dict[int, list[Signed]] = defaultdict(list)
    for effect in effects_up_to(len(design.factors), order):
        column = in_base(design, effect)
        sets[column.bits].append(Signed(effect.bits, column.sign))
    if 0 in sets:
        sets[0].insert(0, Signed(0))
    return tuple(_alias_set(design, members) for _, members in sorted(sets.items(), key=_first))


def alias_sets(design: Fraction, order: int = 2) -> tuple[AliasSet, ...]:
    """Return the sets of two or more effects up to `order` that travel together."""
    return tuple(one for one in estimable(design, order) if not one.alone)


def travellers(design: Fraction, effect: Signed) -> AliasSet:
    """Return all effects, of any order, that travel with `effect`; short ones first."""
    return _alias_set(
        design, sorted((effect.times(word) for word in span(design.words)), key=reading_order)
    )


def alias_words(sets: Iterable[AliasSet]) -> tuple[str, ...]:
    """Return one sentence for each set of two or more effects.

    Such as "travel cannot be told from voltage × wire feed".  An effect of opposite sign is said
    to be turned: if it is there, it pulls the estimate the other way.
    """
    return tuple(_sentence(one) for one in sets if not one.alone)


def effects_up_to(factors: int, order: int) -> Iterator[Signed]:
    """Every effect of 1 to `order` of so many factors, short ones and first factors first."""
    for size in range(1, min(order, factors) + 1):
        for places in combinations(range(factors), size):
            yield Signed(sum(1 << place for place in places))


def in_base(design: Fraction, effect: Signed) -> Signed:
    """Return the product of base factors that has the same column as `effect`, with its sign.

    Two effects travel together if and only if they have the same product of base factors.
    """
    for made, word in zip(design.generators, design.words, strict=True):
        if effect.bits >> design.factors.index(made.factor) & 1:
            effect = effect.times(word)
    return effect


def _first(item: tuple[int, list[Signed]]) -> tuple[int, tuple[int, ...]]:
    return reading_order(item[1][0])


def _alias_set(design: Fraction, members: list[Signed]) -> AliasSet:
    lead = members[0].sign
    return AliasSet(
        tuple(
            to_word(Signed(member.bits, member.sign * lead), design.factors) for member in members
        )
    )


def _sentence(one: AliasSet) -> str:
    first, *others = one.effects
    told = [word.title + (" (turned)" if word.sign < 0 else "") for word in others]
    if not first.factors:
        verb = "never changes" if len(told) == 1 else "never change"
        return f"{_listed(told, 'and')} {verb} in this design, and cannot be told from the mean"
    return f"{first.title} cannot be told from {_listed(told, 'or')}"


def _listed(words: list[str], joint: str) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {joint} {words[-1]}"
