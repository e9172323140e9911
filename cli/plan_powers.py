"""What a plan shows of each of its terms, for the tables of ``weldtrial plan``."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.assumed import Assumed
    from weldtrial.analysis.budget import BudgetRow
    from weldtrial.analysis.power import Aim
    from weldtrial.analysis.shape import Shape
    from weldtrial.analysis.term_power import TermPower
    from weldtrial.doe.layout import Layout


def powers_of(
    trial: Trial, layout: Layout, known: Assumed, aim: Aim | None = None
) -> dict[str, TermPower]:
    """Return what a plan would show of each of its terms, by name, and the chances for a margin.

    The gap of a factor whose levels are compared together is that of F, not of its intervals.
    """
    from weldtrial.analysis.term_power import AskedTerm, term_powers
    from weldtrial.doe.matrix import planned_matrix
    from weldtrial.shared.coding import unit_effects

    planned = planned_matrix(trial, layout)
    terms = [
        AskedTerm(term.name, columns, unit_effects(trial.varied, term))
        for term, columns in zip(planned.terms, planned.columns, strict=True)
    ]
    margin = None if aim is None else aim.margin
    found = term_powers(planned.matrix, planned.setup, known.spread, terms, margin=margin)
    return {one.term: one for one in found}


def by_effects(
    trial: Trial, layout: Layout, shape: Shape, name: str, row: BudgetRow, known: Assumed | None
) -> BudgetRow:
    """Return a row of the budget, with what Lenth's method shows where nothing is welded twice.

    Such a plan has no degrees of freedom, and its effects judge each other: `name` is the factor
    compared.  Any other row comes back as it is.
    """
    from weldtrial.analysis.needs import needs
    from weldtrial.analysis.term_power import judged_by_effects

    if known is None or row.df > 0:
        return row
    aim = known.aim(trial.deciding)
    powers = powers_of(trial, layout, known, aim)
    own = powers.get(name)
    if own is None or own.judged_by != "effects":
        return row
    found = judged_by_effects(needs(shape, known.spread, aim), own, len(powers), aim)
    by_ask = {"no-worse": found.no_worse, "equal-enough": found.equal_enough}
    return replace(row, gap=found.detectable, chance=by_ask.get(aim.ask, found.power), remark="")
