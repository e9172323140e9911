"""The unordered design: which coupon is welded at which settings, in which set-up, how often.

Everything here is fixed by the trial file; nothing is drawn.  The seal is taken from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from weldtrial.doe.by_adding import with_earlier_holdings
from weldtrial.doe.by_list import by_list
from weldtrial.doe.by_search import name_of
from weldtrial.doe.by_setups import by_set_ups
from weldtrial.doe.cells import Cell, Settings
from weldtrial.doe.laid_out import Layout
from weldtrial.doe.listed import as_sealed
from weldtrial.doe.recommend import recommended
from weldtrial.doe.served import refuse_unserved
from weldtrial.doe.shuffled import completely_shuffled
from weldtrial.doe.strata import Strata, strata
from weldtrial.doe.unanswerable import refuse_unanswerable
from weldtrial.shared.limit_box import keeps, rules_of
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.rounding import plain
from weldtrial.shared.terms import trial_terms
from weldtrial.shared.trial import Trial

SEALED_AS: Mapping[str, str] = {
    "auto": "the kind that was recommended when it was sealed",
    "added": "what was added to the trial before when it was sealed",
}
"""What a sealed design is called whose own words came from what was tried."""

__all__ = ["Cell", "Layout", "Settings", "make_layout"]


def make_layout(trial: Trial) -> Layout:
    """Lay out a trial: by set-ups in rounds, or completely shuffled where nothing is hard.

    Each set-up holds every combination of the easy factors (or of their fraction) equally often;
    or, where it holds fewer coupons than that, a part of them cut so that main effects live inside
    set-ups.  With nothing hard to change, `rounds` are blocks of whole replicates, or of parts.

    Parameters
    ----------
    trial
        Categories, and numeric factors of two levels or more.

    Raises
    ------
    NotYet
        If the trial asks for something that this version cannot lay out.
    PlanRefused
        If the plan could not answer: a hard-to-change factor has no error degrees of freedom
        of its own (allowed for a pilot), is tied to a block, or the numbers contradict each
        other.
    CannotShareOut
        If coupons and set-ups cannot be reconciled; it names the nearest numbers that can.

    References
    ----------
    Jones & Nachtsheim (2009). Split-plot designs: what, why, and how. *Journal of Quality
    Technology* 41(4):340 (citation from memory), for set-ups as whole plots.
    """
    refuse_unserved(trial)
    if not trial.varied:
        raise PlanRefused(
            "No factor has two levels, so there is nothing to compare. Give one a second level."
        )
    layout = _laid_out(trial)
    layout = replace(layout, strata=_strata(trial, layout))
    _refuse_forbidden(trial, layout)
    refuse_unanswerable(trial, layout)
    return layout


def _sealed(trial: Trial) -> Layout:
    """Return the design that was sealed, called as its kind is; nothing is searched for again."""
    assert trial.chosen is not None
    kind = trial.design.kind
    if kind in ("optimal", "auto", "added"):
        name = name_of(trial) if kind == "optimal" else SEALED_AS[kind]
        layout = as_sealed(trial, trial.chosen, name=name)
        return with_earlier_holdings(trial, layout) if trial.follows else layout
    made = by_list(trial)
    return as_sealed(trial, trial.chosen, name=made.name, notes=made.notes)


def _refuse_forbidden(trial: Trial, layout: Layout) -> None:
    """Refuse a design that welds what a rule of the file forbids."""
    rules = rules_of(trial)
    cells = {id(cell): cell for several in layout.cells.values() for cell in several}
    broken = [cell for cell in cells.values() if not keeps(rules, cell.settings)]
    if not rules or not broken:
        return
    worst = ", ".join(
        f"{name} {value}" if isinstance(value, str) else f"{name} {plain(value)}"
        for name, value in broken[0].settings.items()
    )
    raise PlanRefused(
        f"{len(broken)} of the {len(cells)} combinations of settings "
        f"break{'s' * (len(broken) == 1)} a "
        f"[[limit_on_settings]], the first at {worst}. Let the plan go round them:  design.kind = "
        '"optimal"  with  budget.coupons, or draw the levels in.'
    )


def _laid_out(trial: Trial) -> Layout:
    if trial.design.kind == "auto" and not trial.chosen:
        return recommended(trial, make_layout)
    if trial.design.free:
        return _sealed(trial) if trial.chosen else by_list(trial)
    return by_set_ups(trial) if trial.hard else completely_shuffled(trial)


def _strata(trial: Trial, layout: Layout) -> Strata:
    terms = trial_terms(trial.factors, trial.design.model, trial.design.terms)
    coupons = layout.coupons
    if layout.listed:
        coupons = sum(len(one.cells) for one in layout.holdings())
    return strata(trial.varied, terms, layout.units(), coupons, set_ups=bool(layout.hard_factors))
