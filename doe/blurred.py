"""Which effects travel together, and how closely: also those that no model holds.

Two effects whose columns are correlated cannot be told apart wholly: at ±1 not at all (aliases),
in between partly.  What runs with blocks is taken out first.

References
----------
Box & Hunter (1961). *Technometrics* 3:311-351 (aliases; from memory).
Plackett & Burman (1946). *Biometrika* 33:305-325 (the ±1/3 of twelve coupons; from memory).
Fox & Monette (1992). Generalized collinearity diagnostics. *JASA* 87:178-183 (inflation of a term
with several columns; from memory).
Box & Draper (1959). *JASA* 54:622-654 (the alias matrix, there called the bias matrix; from
memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from weldtrial.doe.information import NONE, Codes, Matrix, covariance, information
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term

Columns = Sequence[tuple[int, ...]]


@dataclass(frozen=True, slots=True)
class Blur:
    """Two effects and how closely they travel together.

    Attributes
    ----------
    one, other
        Names of the terms, in the order of the trial file.
    correlation
        Between -1 and 1 where both have one column; otherwise the largest correlation that any
        effect within the one has with any within the other (canonical), 0 to 1.
    """

    one: str
    other: str
    correlation: float


@dataclass(frozen=True, slots=True)
class Blurred:
    """Every pair of effects up to two factors.

    Attributes
    ----------
    pairs
        The most closely tied first, pairs that are clear of each other last.
    hidden
        Effects that never change inside a block: they run with the difference between blocks, or
        with the average.
    """

    pairs: tuple[Blur, ...]
    hidden: tuple[str, ...]

    def tied(self, least: float) -> tuple[Blur, ...]:
        """Return the pairs that are tied at least so closely, 0 to 1."""
        return tuple(one for one in self.pairs if abs(one.correlation) >= least)


@dataclass(frozen=True, slots=True)
class Leak:
    """How much of an effect that the model leaves out gets into one that it tells.

    Attributes
    ----------
    told, left_out
        Names of the terms.
    share
        If the effect left out were 1, the told one would read so much too high.
    """

    told: str
    left_out: str
    share: float


def effects_up_to_two(factors: Sequence[Factor], model: Sequence[Term]) -> tuple[Term, ...]:
    """Return the effects of one and two factors, and what else the model holds, each once.

    The squares of numbers with three levels or more are among them.
    """
    varied = [factor for factor in factors if factor.varied]
    terms = [Term(((one.name, 1),)) for one in varied]
    terms += [Term(((a.name, 1), (b.name, 1))) for a, b in combinations(varied, 2)]
    terms += [
        Term(((one.name, 2),)) for one in varied if one.kind == "numeric" and len(one.levels) > 2
    ]
    return tuple(dict.fromkeys([*terms, *model]))


def blurred(names: Sequence[str], matrix: Matrix, columns: Columns, blocks: int) -> Blurred:
    """Return how closely every two effects travel together.

    Parameters
    ----------
    names
        Names of the effects.
    matrix
        Shape (n, p): the blocks first (or a column of ones), then the effects.
    columns
        The columns of each effect.
    blocks
        How many columns come before the effects.
    """
    bases: dict[str, Matrix] = {}
    hidden = []
    for name, at in zip(names, columns, strict=True):
        own = matrix[:, list(at)]
        rest = own - _projection(matrix[:, :blocks], own)
        if (rest**2).sum() <= NONE * max((own**2).sum(), 1e-300):
            hidden.append(name)
        else:
            bases[name] = _basis(rest)
    pairs = [
        Blur(one, other, _correlation(bases[one], bases[other]))
        for one, other in combinations(bases, 2)
    ]
    order = sorted(range(len(pairs)), key=lambda at: (-round(abs(pairs[at].correlation), 9), at))
    return Blurred(tuple(pairs[at] for at in order), tuple(hidden))


def _projection(onto: Matrix, columns: Matrix) -> Matrix:
    return np.asarray(onto @ np.linalg.lstsq(onto, columns, rcond=None)[0])


def _basis(columns: Matrix) -> Matrix:
    """Return an orthonormal basis; of one column, the column itself at length one."""
    if columns.shape[1] == 1:
        return np.asarray(columns / np.linalg.norm(columns))
    left, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(left[:, sizes > np.sqrt(NONE) * sizes[0]])


def _correlation(one: Matrix, other: Matrix) -> float:
    between = one.T @ other
    found = float(between[0, 0]) if between.size == 1 else float(np.linalg.norm(between, 2))
    # A sum of products may pass 1 by its last bit, or stand at a trace of nothing.
    return 0.0 if abs(found) < np.sqrt(NONE) else max(-1.0, min(1.0, found))


def inflations(
    matrix: Matrix, columns: Columns, blocks: int, setup: Codes | None, ratio: float
) -> tuple[float, ...]:
    """Return how many times the variance of each term is what it would be by itself.

    1 where a term is clear of the others.  Of a term with several columns it is the ratio of the
    determinants of their covariances to the power of 1 / columns, so that it compares with that of
    one column.

    Parameters
    ----------
    matrix, columns, blocks
        As `blurred`; the columns are independent.
    setup, ratio
        As `weldtrial.doe.information.information`.

    Raises
    ------
    ValueError
        When the columns are not independent.
    """
    whole = covariance(matrix, setup, ratio)
    found = []
    for at in columns:
        alone = covariance(matrix[:, [*range(blocks), *at]], setup, ratio)[blocks:, blocks:]
        change = np.linalg.slogdet(whole[np.ix_(at, at)])[1] - np.linalg.slogdet(alone)[1]
        found.append(float(np.exp(change / len(at))))
    return tuple(found)


def leaks(
    model: Matrix,
    names: Sequence[str],
    columns: Columns,
    out: Matrix,
    out_names: Sequence[str],
    out_columns: Columns,
    setup: Codes | None,
    ratio: float,
) -> tuple[Leak, ...]:
    """Return what effects left out of the model do to those told, the largest shares first.

    Only terms of one column are looked at: the share of several has no one sign.

    Parameters
    ----------
    model, names, columns
        The matrix that is fitted, blocks first, its terms and their columns.
    out, out_names, out_columns
        The matrix of the effects left out, likewise.
    setup, ratio
        As `weldtrial.doe.information.information`.

    Raises
    ------
    ValueError
        When the columns of the model are not independent.
    """
    singles = [(name, at[0]) for name, at in zip(out_names, out_columns, strict=True)
               if len(at) == 1]  # fmt: skip
    if not singles:
        return ()
    beside = np.hstack([model, out[:, [at for _, at in singles]]])
    many = model.shape[1]
    mixed = information(beside, setup, ratio)[:many, many:]
    shares = covariance(model, setup, ratio) @ mixed
    found = [
        Leak(name, other, float(shares[at[0], place]))
        for name, at in zip(names, columns, strict=True)
        if len(at) == 1
        for place, (other, _) in enumerate(singles)
        if abs(shares[at[0], place]) > np.sqrt(NONE)
    ]
    return tuple(sorted(found, key=lambda one: -round(abs(one.share), 9)))
