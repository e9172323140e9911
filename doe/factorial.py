"""Two-level factorials, made by pyDOE3: the one module that knows that library.

The library is imported inside the function, because importing it costs about a second and a
trial with nothing easy to change does not need it.
"""

from __future__ import annotations

from collections.abc import Sequence


def two_level(factors: int) -> tuple[tuple[int, ...], ...]:
    """Return the full two-level factorial in standard order, -1 low and +1 high.

    Parameters
    ----------
    factors
        How many factors; with none there is the one empty combination.

    Returns
    -------
    tuple of tuple of int
        2 ** `factors` combinations; the last factor changes fastest.

    References
    ----------
    Box, Hunter & Hunter (2005). *Statistics for Experimenters*, 2nd ed., chapter 5 (from memory).
    """
    if factors == 0:
        return ((),)
    from pyDOE3 import ff2n

    return tuple(sorted(tuple(round(value) for value in row) for row in ff2n(factors).tolist()))


def fraction_signs(
    base: int, products: Sequence[tuple[Sequence[int], int]]
) -> tuple[tuple[int, ...], ...]:
    """Return the full factorial of the base factors beside products of its columns.

    Parameters
    ----------
    base
        How many base factors, 1 to 26.
    products
        For every further column the places of the base factors that it multiplies (counted
        from 0, at least two, no two columns the same product) and its sign, +1 or -1.

    Returns
    -------
    tuple of tuple of int
        2 ** `base` rows in Yates' standard order, the first base factor changing fastest.

    References
    ----------
    Box, Hunter & Hunter (2005). *Statistics for Experimenters*, 2nd ed., chapter 6 (from memory).
    """
    from pyDOE3 import fracfact

    # fracfact counts base columns by the alphabet, so they get a, b, c, ... in turn.
    letters = [chr(ord("a") + place) for place in range(base)]
    words = [
        ("-" if sign < 0 else "") + "".join(letters[place] for place in places)
        for places, sign in products
    ]
    made = fracfact(" ".join(letters + words)).tolist()
    rows = [tuple(round(value) for value in row) for row in made]
    return tuple(sorted(rows, key=lambda row: row[:base][::-1]))


def plackett_burman_signs(runs: int) -> tuple[tuple[int, ...], ...]:
    """Return the 12 or 20 runs of Plackett & Burman, all columns.

    The library's 24 runs are the 12 doubled, with 11 trios of factors of which the interaction of
    two is the main effect of the third to the letter; the published 24 runs have none such and
    are ours (`plackett_burman`).

    Parameters
    ----------
    runs
        12 or 20.

    Returns
    -------
    tuple of tuple of int
        `runs` rows of `runs` - 1 signs, the row of all +1 last.

    References
    ----------
    Plackett & Burman (1946), *Biometrika* 33:305-325 (from memory).
    NIST/SEMATECH (2003). *e-Handbook of Statistical Methods*, 5.3.3.5, Tables 3.18 and 3.19.
    """
    from pyDOE3 import pbdesign

    return tuple(tuple(round(value) for value in row) for row in pbdesign(runs - 1).tolist())


def pair_edges(factors: int) -> tuple[tuple[int, ...], ...]:
    """Return a two-level factorial of every pair of factors, the others at 0: 3 to 5 factors.

    This is the published design of Box & Behnken for 3, 4 and 5 factors.  For 6 and 7 theirs is
    made of triples (48 and 56 runs), and the library's pairs (60 and 84 runs) are another design,
    which is not used.

    References
    ----------
    Box & Behnken (1960), *Technometrics* 2:455-475 (from memory).
    """
    from pyDOE3 import bbdesign

    return tuple(
        tuple(round(value) for value in row) for row in bbdesign(factors, center=0).tolist()
    )
