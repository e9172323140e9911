"""Regular two-level fractions: which combinations to weld, and what that costs.

A fraction is made by setting some factors to products of others (its *generators*).  Every product
that never changes is a *defining word*; the shortest one is the *resolution*, and the fewer short
ones the better (*minimum aberration*).  Full factorials are fractions without generators.

References
----------
Box & Hunter (1961). *Technometrics* 3:311-351, 449-458 (resolution; from memory).
Fries & Hunter (1980). Minimum aberration 2^(k-p) designs, *Technometrics* 22:601-608.
NIST/SEMATECH (2003). *e-Handbook of Statistical Methods*, 5.3.3.4 and 5.3.3.8 (fold-over).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from weldtrial.doe.catalogue import LETTERS, catalogued, runs_for
from weldtrial.doe.factorial import fraction_signs
from weldtrial.doe.generators import Generator, read_generators
from weldtrial.doe.words import Signed, Word, reading_order, solved, span, to_bits, to_word
from weldtrial.shared.problems import PlanRefused, ProblemsFound

__all__ = ["Fraction", "Generator", "fold_over", "fraction", "fraction_from"]

MOST_GENERATORS = 12
"""4096 words are made in no time; many more would be a design nobody welds."""


@dataclass(frozen=True, slots=True)
class Fraction:
    """A regular two-level fraction, or a full two-level factorial.

    Attributes
    ----------
    factors
        Names in the order of the trial.
    runs
        Combinations, a power of two.
    generators
        Each factor that is set to a product of others; none of them is in another's product.
    signs
        One row a run, one -1 or +1 a factor in the order of `factors`.  Standard order: among the
        factors without a generator the first changes fastest.  After a fold-over the rows of the
        first half come first.
    defining
        Every product that never changes, with the sign it has; short ones first.
    resolution
        Length of the shortest defining word; 0 for a full factorial.
    word_lengths
        Defining words of length 3, 4, ... up to the number of factors.
    turned
        Factors whose sign is turned in the second half; none unless folded over.
    half
        A shortest product that is one sign in the first half and the other in the second.
    """

    factors: tuple[str, ...]
    runs: int
    generators: tuple[Generator, ...]
    signs: tuple[tuple[int, ...], ...]
    defining: tuple[Word, ...]
    resolution: int
    word_lengths: tuple[int, ...]
    turned: tuple[str, ...] = ()
    half: Word | None = None

    @property
    def words(self) -> tuple[Signed, ...]:
        """Independent defining words as bits, one a generator."""
        return tuple(
            to_bits((made.factor, *made.product), self.factors, made.sign)
            for made in self.generators
        )

    @property
    def base(self) -> tuple[str, ...]:
        """Factors without a generator: every combination of them is welded once."""
        made = {generator.factor for generator in self.generators}
        return tuple(name for name in self.factors if name not in made)


def fraction(factors: Sequence[str], runs: int) -> Fraction:
    """Return the minimum-aberration fraction, or the full factorial where `runs` holds it.

    Parameters
    ----------
    factors
        Distinct names; at least one, and 3 to 11 for a fraction.
    runs
        Combinations to weld: 4, 8, 16, 32 or 64, or 2 ** number of factors.

    Raises
    ------
    PlanRefused
        When no such fraction is in the catalogue; says which there are.

    References
    ----------
    Chen, Sun & Wu (1993). A catalogue of two-level and three-level fractional factorial designs
    with small runs, *International Statistical Review* 61:131-145.
    """
    names = tuple(factors)
    if runs == 2 ** len(names):
        return _made(names, ())
    entry = catalogued(len(names), runs)
    if entry is None:
        raise PlanRefused(_not_offered(len(names), runs))
    called = dict(zip(LETTERS, names, strict=False))
    return _made(
        names,
        tuple(
            Generator(called[letter], tuple(called[one] for one in product))
            for letter, product in entry.generators
        ),
    )


def fraction_from(factors: Sequence[str], runs: int, generators: Sequence[str]) -> Fraction:
    """Return the fraction that generators in words make.

    Parameters
    ----------
    factors
        Distinct names.
    runs
        Combinations to weld, a power of two.
    generators
        Such as ``travel = voltage * wire_feed`` or ``travel = -voltage * wire_feed``.

    Raises
    ------
    ProblemsFound
        With everything that is wrong, each problem with the generator as its value.
    """
    names = tuple(factors)
    read, problems = read_generators(names, runs, generators)
    if problems:
        raise ProblemsFound(problems)
    if len(read) > MOST_GENERATORS:
        raise PlanRefused(
            f"{len(names)} factors in {runs} runs take {len(read)} generators; at most "
            f"{MOST_GENERATORS} can be worked out. Take more runs or fewer factors."
        )
    return _made(names, read)


def fold_over(design: Fraction, factor: str | None = None) -> Fraction:
    """Return the design with a second half in which signs are turned.

    Turning every sign frees main effects from two-factor interactions where the resolution is
    III; turning one factor's sign frees it and all its two-factor interactions.

    Parameters
    ----------
    design
        The first half.
    factor
        The factor to turn; None turns all.

    Returns
    -------
    Fraction
        Twice the runs; the defining words with an odd number of turned factors are gone.

    Raises
    ------
    PlanRefused
        When the factor is unknown, or when the second half would only repeat the first.

    References
    ----------
    NIST/SEMATECH (2003). *e-Handbook of Statistical Methods*, 5.3.3.8.1 and 5.3.3.8.2.
    """
    turned = design.factors if factor is None else (factor,)
    if not set(turned) <= set(design.factors):
        raise PlanRefused(
            f"'{factor}' cannot be folded over: it is not among {', '.join(design.factors)}."
        )
    bits = to_bits(turned, design.factors).bits
    words = span(design.words)[1:]
    kept = [word for word in words if (word.bits & bits).bit_count() % 2 == 0]
    if len(kept) == len(words):
        raise PlanRefused(_nothing_freed(design, factor))
    vanished = min((word for word in words if word not in kept), key=reading_order)
    flips = [-1 if name in turned else 1 for name in design.factors]
    second = tuple(
        tuple(sign * flip for sign, flip in zip(row, flips, strict=True)) for row in design.signs
    )
    return _described(
        design.factors,
        _solve(kept, design),
        design.signs + second,
        turned=turned,
        half=to_word(Signed(vanished.bits), design.factors),
    )


def _nothing_freed(design: Fraction, factor: str | None) -> str:
    what = "every sign" if factor is None else f"the sign of {factor}"
    if not design.generators:
        return (
            f"Turning {what} would weld the full factorial again and free nothing. Take "
            "`replicates = 2` instead, or leave the fold-over out."
        )
    why = (
        "every product that never changes has an even number of factors"
        if factor is None
        else f"{factor} is in no product that never changes"
    )
    return (
        f"Turning {what} would weld the first half again and free nothing: {why}. Fold over "
        "another factor, or leave the fold-over out."
    )


def _solve(words: Sequence[Signed], design: Fraction) -> tuple[Generator, ...]:
    """Return generators for constant products, for the factors that had one where it can be."""
    had = {generator.factor for generator in design.generators}
    places = sorted(
        range(len(design.factors)),
        key=lambda place: (design.factors[place] not in had, -place),
    )
    return tuple(
        Generator(
            design.factors[place],
            to_word(Signed(word.bits & ~(1 << place)), design.factors).factors,
            word.sign,
        )
        for place, word in solved(words, places)
    )


def _made(factors: tuple[str, ...], generators: tuple[Generator, ...]) -> Fraction:
    made = {generator.factor: place for place, generator in enumerate(generators)}
    base = [name for name in factors if name not in made]
    rows = fraction_signs(
        len(base),
        [([base.index(one) for one in made.product], made.sign) for made in generators],
    )
    columns = [len(base) + made[name] if name in made else base.index(name) for name in factors]
    return _described(factors, generators, tuple(tuple(row[at] for at in columns) for row in rows))


def _described(
    factors: tuple[str, ...],
    generators: tuple[Generator, ...],
    signs: tuple[tuple[int, ...], ...],
    turned: tuple[str, ...] = (),
    half: Word | None = None,
) -> Fraction:
    words = [to_bits((made.factor, *made.product), factors, made.sign) for made in generators]
    defining = sorted(span(words)[1:], key=reading_order)
    lengths = [word.bits.bit_count() for word in defining]
    return Fraction(
        factors=factors,
        runs=len(signs),
        generators=generators,
        signs=signs,
        defining=tuple(to_word(word, factors) for word in defining),
        resolution=min(lengths, default=0),
        word_lengths=tuple(lengths.count(length) for length in range(3, len(factors) + 1)),
        turned=turned,
        half=half,
    )


def _not_offered(factors: int, runs: int) -> str:
    offered = [*runs_for(factors), 2**factors]
    listed = ", ".join(str(one) for one in offered[:-1])
    many = f"{factors} factor{'' if factors == 1 else 's'}"
    if not listed:
        return (
            f"{many} in {runs} runs: there is no two-level fraction for that. Take all "
            f"{2**factors} combinations, or a fraction of 3 to 11 factors."
        )
    return (
        f"{many} in {runs} runs: there is no such fraction in the catalogue. Take {listed} runs, "
        f"or all {2**factors} combinations."
    )
