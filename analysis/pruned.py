"""Fewer terms by a stated rule, hierarchy held.

The default everywhere is to keep all terms that were planned.  Terms chosen on the data that then
judge them look better known than they are: intervals are too narrow and the residual scatter too
small (Chatfield 1995).  Pruning is for a surface that is to be drawn or confirmed by fresh coupons,
and its record says what went out, why and in which order.

Hierarchy: a term stays while a higher one that contains it stays (``voltage`` while ``voltage^2``
or ``gas:voltage`` does), so that the surface does not depend on where zero was put (Nelder 1977;
Peixoto 1990).

References
----------
Nelder, J. A. (1977). A reformulation of linear models. *J. R. Stat. Soc. A* 140:48-77.
Peixoto, J. L. (1990). A property of well-formulated polynomial regression models. *The American
Statistician* 44:26-30.
Chatfield, C. (1995). Model uncertainty, data mining and statistical inference. *J. R. Stat. Soc. A*
158:419-466.  (All three from memory.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from weldtrial.analysis.model import fit_model
from weldtrial.analysis.observations import Observation
from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.terms import Term

LIMIT = 0.10
"""A term goes when its p is above this, unless another limit is asked for."""


@dataclass(frozen=True, slots=True)
class Dropped:
    """One term that went out, with its test at the time."""

    term: Term
    p: float


@dataclass(frozen=True, slots=True)
class Pruned:
    """The terms a rule kept.

    Attributes
    ----------
    terms
        Kept, in the order given.
    dropped
        In the order they went.
    limit
        The p above which a term goes.
    """

    terms: tuple[Term, ...]
    dropped: tuple[Dropped, ...]
    limit: float

    @property
    def rule(self) -> str:
        """The rule in a sentence."""
        return (
            "Backward, one term at a time: of the terms that no kept term contains, the one with "
            f"the largest p goes while that is above {self.limit:g}, each judged at its own level "
            "of error; a term stays while a higher one that contains it stays."
        )


def contains(higher: Term, lower: Term) -> bool:
    """Whether a term contains another: each of its factors, to at least its power."""
    powers = dict(higher.powers)
    return higher != lower and all(powers.get(name, 0) >= power for name, power in lower.powers)


def with_marginal(terms: Sequence[Term]) -> tuple[Term, ...]:
    """Return terms with every term that one of them contains, the simplest first."""
    every: dict[Term, None] = {}
    for term in terms:
        for lower in _below(term):
            every[lower] = None
    return tuple(sorted(every, key=lambda one: sum(power for _, power in one.powers)))


def _below(term: Term) -> list[Term]:
    """Return a term and all that it contains."""
    rows: list[tuple[tuple[str, int], ...]] = [()]
    for name, power in term.powers:
        rows = [(*row, *([(name, p)] if p else [])) for row in rows for p in range(power + 1)]
    return [Term(row) for row in rows if row]


def pruned_terms(
    factors: Sequence[Factor],
    terms: Sequence[Term],
    observations: Sequence[Observation],
    *,
    limit: float = LIMIT,
    keep: Sequence[Term] = (),
    points: Sequence[Point] | None = None,
) -> Pruned:
    """Drop terms backward by their p, hierarchy held.

    Parameters
    ----------
    factors, terms
        Varied factors and the terms to begin with; those that the coupons cannot tell are left
        out first, as `fit_model` does.
    limit
        Between 0 and 1, both excluded.
    keep
        Terms that stay whatever their p: those the trial asks about.

    Raises
    ------
    NotEstimable
        As `fit_model`; or nothing shows scatter, so that no term has a p.
    ValueError
        When `limit` is no share.
    """
    if not 0.0 < limit < 1.0:
        raise ValueError(f"the limit must be between 0 and 1, got {limit!r}")
    fit = fit_model(factors, terms, observations, points=points)
    kept = [term for term in terms if term.name in fit.model.columns]
    dropped: list[Dropped] = []
    while True:
        p = {row.term: row.p for row in fit.tests()}
        if not p and kept:
            raise NotEstimable("nothing is left over to show scatter, so no term can be judged")
        free = [
            term
            for term in kept
            if term not in keep and not any(contains(other, term) for other in kept)
        ]
        worst = max(free, key=lambda term: p.get(term.name, 0.0), default=None)
        if worst is None or p.get(worst.name, 0.0) <= limit:
            return Pruned(tuple(kept), tuple(dropped), limit)
        kept.remove(worst)
        dropped.append(Dropped(worst, p[worst.name]))
        fit = fit_model(factors, kept, observations, points=points)
