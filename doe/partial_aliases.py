"""Partial aliases: how much of every two-factor interaction lands on each main effect."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from weldtrial.shared.coding import Point, model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term, model_terms

NOTHING = 1e-9


@dataclass(frozen=True, slots=True)
class PartialAlias:
    """Part of an interaction that is counted as a main effect.

    Attributes
    ----------
    main, pair
        The columns concerned, such as ``voltage`` and ``gas=mix:travel``.
    share
        What the estimate of `main` is off by for every unit that the effect of `pair` amounts to;
        -1 or +1 means that no result can tell them apart.
    """

    main: str
    pair: str
    share: float


def partial_aliases(points: Sequence[Point], factors: Sequence[Factor]) -> tuple[PartialAlias, ...]:
    """Return every main effect with the two-factor interactions that are partly counted as it.

    Parameters
    ----------
    points
        Counting coupons.
    factors
        Varied factors; a category of more than two levels has one column less than levels.

    Returns
    -------
    tuple of PartialAlias
        The shares that are not nothing: columns of main effects in order, then of interactions.

    Raises
    ------
    ValueError
        When the main effects themselves cannot be told from one another.

    Notes
    -----
    The shares are the alias matrix (X1'X1)^-1 X1'X2 of intercept and main effects X1 and
    two-factor interactions X2.

    References
    ----------
    Box & Wilson (1951), *Journal of the Royal Statistical Society B* 13:1-45 (the alias matrix;
    from memory).
    """
    mains = model_terms(factors, "main")
    names = [term.powers[0][0] for term in mains]
    pairs = [Term(((a, 1), (b, 1))) for a, b in combinations(names, 2)]
    main = model_matrix(factors, mains, points)
    pair = model_matrix(factors, pairs, points)
    shares, _, rank, _ = np.linalg.lstsq(main.matrix, pair.matrix[:, 1:], rcond=None)
    if rank < main.matrix.shape[1]:
        raise ValueError("the main effects of these points cannot be told from one another")
    return tuple(
        PartialAlias(one, other, float(shares[row, column]))
        for row, one in enumerate(main.names)
        if row > 0
        for column, other in enumerate(pair.names[1:])
        if abs(shares[row, column]) > NOTHING
    )
