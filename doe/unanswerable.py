"""Plans that leave nothing to judge by, or whose model asks more than the coupons can tell."""

from __future__ import annotations

from weldtrial.doe.laid_out import Layout
from weldtrial.doe.refusals import kinds_word, set_up_once
from weldtrial.doe.strata import LeftOut
from weldtrial.shared.problems import PlanRefused
from weldtrial.shared.terms import Term, parse_term
from weldtrial.shared.trial import Trial

FEWEST_CONTRASTS = 7
"""Fewest effects that can judge each other where nothing is repeated (Lenth 1989)."""


def refuse_unanswerable(trial: Trial, layout: Layout) -> None:
    """Refuse a plan that could not answer its question; a pilot answers none.

    Raises
    ------
    PlanRefused
        When a term of ``design.terms`` or a bend cannot be told, when set-ups leave nothing to
        judge the hard-to-change factors by, or when coupons leave nothing and there are too few
        effects to judge them by each other.

    References
    ----------
    Lenth, R. V. (1989). Quick and easy analysis of unreplicated factorials. *Technometrics* 31,
    469-473.
    """
    _refuse_terms(trial, layout)
    if layout.error_df > 0 or trial.purpose == "pilot":
        return
    if layout.hard_factors:
        raise _set_up_too_seldom(trial, layout)
    if not judged_by_each_other(layout):
        raise _nothing_repeated(trial, layout)


def judged_by_each_other(layout: Layout) -> bool:
    """Tell whether nothing is repeated and effects are many enough to judge each other.

    Only where all factors have two levels, so that every effect is known equally well.
    """
    return (
        not layout.hard_factors
        and layout.error_df == 0
        and layout.easy.two_level
        and not layout.centre
        and layout.strata.columns >= FEWEST_CONTRASTS
    )


def term_words(trial: Trial, term: Term) -> str:
    """Return a term for eyes: ``gas × travel speed``, ``travel speed squared``."""
    return " × ".join(_power(trial, name, power) for name, power in term.powers)


def _power(trial: Trial, name: str, power: int) -> str:
    title = trial.factor(name).title
    words = f"{title[:1].lower()}{title[1:]}"
    return (
        words if power == 1 else f"{words} squared" if power == 2 else f"{words} to the {power}th"
    )


def tied_words(trial: Trial, layout: Layout, left: LeftOut) -> str:
    """Return what a term that cannot be told runs with."""
    if not left.runs_with:
        return "the average" if layout.rounds == 1 else f"the difference between {units(trial)}s"
    names = [term_words(trial, parse_term(name, trial.factors)) for name in left.runs_with]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def units(trial: Trial) -> str:
    """Return what one round or block is called: ``round``, ``day``, ``plate``, ``block``."""
    block = trial.order.block
    if trial.hard:
        return "round"
    return block if block not in (None, "round") else "block"


def _refuse_terms(trial: Trial, layout: Layout) -> None:
    asked = [parse_term(text, trial.factors) for text in trial.design.terms]
    wrong = []
    for left in layout.strata.left_out:
        words = term_words(trial, left.term)
        powers = dict(left.term.powers)
        flat = [
            trial.factor(name)
            for name, power in powers.items()
            if power > 1 and len(trial.factor(name).levels) < 3
        ]
        if flat:
            wrong.append(
                f"{words} asks for a bend, and {flat[0].title} has two levels, which draw a "
                "straight line. Give it three levels, or ask for less:  "
                'design.model = "two-factor".'
            )
        elif left.term in asked:
            wrong.append(
                f"{words} of design.terms cannot be told: in this design it runs with "
                f"{tied_words(trial, layout, left)}. Take it out, or weld more combinations."
            )
    if wrong:
        raise PlanRefused("\n".join(wrong))


def _set_up_too_seldom(trial: Trial, layout: Layout) -> PlanRefused:
    if layout.set_ups_per_level == 1 and len(trial.hard) == 1:
        return set_up_once(trial.hard[0])
    terms = [term_words(trial, term) for term in layout.strata.between]
    names = kinds_word(trial.hard)
    rounds = f"{layout.rounds} round{'s' if layout.rounds > 1 else ''}"
    needed = max(2, layout.rounds + 1)
    return PlanRefused(
        f"{layout.set_ups} set-ups in {rounds} leave nothing to judge {', '.join(terms)} by: each "
        "is set between set-ups, and what set-ups do by themselves cannot be told from it. Set "
        f"all {names} up again, in at least  rounds = {needed}  (4 recommended). To weld it anyway "
        'as a pilot:  purpose = "pilot"  – no verdict will be given.'
    )


def _nothing_repeated(trial: Trial, layout: Layout) -> PlanRefused:
    coupons, left = layout.coupons, layout.strata.left_out
    told = layout.rounds + layout.strata.columns
    design = trial.design
    simpler = "" if design.model == "main" else ', or ask for less:  design.model = "main"'
    if left:
        names = [term_words(trial, one.term) for one in left]
        opening = (
            f"The model asks for {told + len(left)} unknowns; {coupons} coupons differ enough to "
            f"tell {told}, without {', '.join(names)}, and nothing"
        )
        simpler = ""
    else:
        opening = f"The model has {told} unknowns and the plan {coupons} coupons, so nothing"
    few = layout.strata.columns
    lenth = ""
    if layout.easy.two_level and few < FEWEST_CONTRASTS and layout.error_df == 0:
        lenth = (
            f" With {few} effects there are too few to judge them by each other (that takes "
            f"{FEWEST_CONTRASTS})."
        )
    if layout.listed:
        more = layout.total + max(1, 1 - layout.strata.within_df) + 3
        return PlanRefused(
            f"{opening} is left to tell chance from effect: every gap could be the scatter between "
            f"two coupons.{lenth} Weld more coupons:  budget.coupons = {more}{simpler}. To weld it "
            'anyway as a pilot:  purpose = "pilot"  – no verdict will be given.'
        )
    rounds = design.rounds or 1
    again = 2 if rounds == 1 else 2 * rounds
    return PlanRefused(
        f"{opening} is left to tell chance from effect: every gap could be the scatter between two "
        f"coupons.{lenth} Weld each setting at least twice:  design.replicates = {again}{simpler}. "
        'To weld it anyway as a pilot:  purpose = "pilot"  – no verdict will be given.'
    )
