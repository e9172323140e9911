"""What a plan can and cannot tell, before anything is welded."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from weldtrial.doe.bench import Bench, bench_of
from weldtrial.doe.layout import Layout, make_layout
from weldtrial.doe.nuisances import Nuisance, nuisances_of
from weldtrial.doe.refusals import levels_word
from weldtrial.doe.windows import outside_the_windows
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term, model_terms
from weldtrial.shared.trial import Trial

Stratum = Literal["set-ups", "coupons"]

FEW_DF = 4
"""Fewer degrees of freedom than this leave little to judge the spread from."""


@dataclass(frozen=True, slots=True)
class Told:
    """One term of the model that the plan can tell.

    Attributes
    ----------
    term
        Name of the term.
    words
        The same for eyes.
    judged_by
        What it is judged by: the scatter between set-ups, or between coupons (of one set-up
        where there are set-ups).
    error_df
        Degrees of freedom of that scatter.
    """

    term: str
    words: str
    judged_by: Stratum
    error_df: int


@dataclass(frozen=True, slots=True)
class Assessment:
    """What a plan can and cannot tell, and what it asks of the bench.

    Attributes
    ----------
    told
        Terms with error degrees of freedom of their own.
    not_told
        What the plan cannot tell, in sentences without a full stop.
    blocks
        What is taken out of the comparisons, and what is left mixed up with it, in a sentence.
    nuisances
        The usual ones and the file's own; those with `handling` None are flagged.
    windows
        Settings outside the trade's usual windows, in sentences.
    """

    layout: Layout
    told: tuple[Told, ...]
    not_told: tuple[str, ...]
    blocks: str
    nuisances: tuple[Nuisance, ...]
    windows: tuple[str, ...]
    bench: Bench

    @property
    def flagged(self) -> tuple[Nuisance, ...]:
        """Nuisances neither held, measured, blocked nor shuffled."""
        return tuple(one for one in self.nuisances if one.handling is None)


def assess(trial: Trial) -> Assessment:
    """Lay a trial out and say what it can and cannot tell.

    Raises
    ------
    NotYet, PlanRefused, CannotShareOut
        As `weldtrial.doe.layout.make_layout`.
    """
    layout = make_layout(trial)
    terms = model_terms(trial.factors, trial.design.model)
    rows = [_told(trial, layout, term) for term in terms]
    return Assessment(
        layout=layout,
        told=tuple(row for row in rows if row.error_df > 0),
        not_told=(
            *(_untold_term(layout, row) for row in rows if row.error_df < 1),
            *_not_told(trial, layout, terms),
        ),
        blocks=_blocks(trial, layout),
        nuisances=nuisances_of(trial),
        windows=outside_the_windows(trial, layout),
        bench=bench_of(trial, layout),
    )


def _title(factor: Factor) -> str:
    return f"{factor.title[:1].lower()}{factor.title[1:]}"


def _sides(factor: Factor) -> str:
    return " and ".join(factor.levels)


def _words(trial: Trial, term: Term) -> str:
    return " × ".join(_title(trial.factor(name)) for name, _ in term.powers)


def _told(trial: Trial, layout: Layout, term: Term) -> Told:
    between = layout.hard is not None and term.factors == {layout.hard}
    df = layout.error_df if between or layout.hard is None else layout.error_df_within or 0
    return Told(term.name, _words(trial, term), "set-ups" if between else "coupons", max(0, df))


def _untold_term(layout: Layout, row: Told) -> str:
    if row.judged_by == "set-ups":
        return (
            f"{row.words}: each level is set up once, so it cannot be told apart from its set-up, "
            "and no verdict will be given"
        )
    return f"{row.words}: no coupon is left over to judge it by"


def _not_told(trial: Trial, layout: Layout, terms: tuple[Term, ...]) -> Iterator[str]:
    if layout.hard and 0 < layout.error_df < FEW_DF:
        yield (
            f"much about {_title(trial.factor(layout.hard))} by itself: {layout.set_ups} set-ups "
            f"leave {layout.error_df} to judge the spread from"
        )
    for factor in trial.factors:
        if factor.slides_with and not factor.varied:
            owner = trial.factor(factor.slides_with)
            yield (
                f"{_sides(owner)} at one and the same {_title(factor)}: each has its own, so the "
                f"gap is of {_title(owner)} and setting together"
            )
        elif factor.slides_with:
            owner = trial.factor(factor.slides_with)
            yield (
                f"{_title(factor)} in numbers shared by all {levels_word(owner)}: its effect is "
                f"around each {_title(owner)}'s own centre"
            )
    if layout.hard and layout.rounds > 1 and layout.per_round == 1:
        yield (
            f"whether the gap between {_sides(trial.factor(layout.hard))} changes from round to "
            "round: that is what chance is judged by"
        )
    varied = trial.varied
    if len(varied) > 1 and not any(len(term.factors) > 1 for term in terms):
        yield "whether factors work together: the model holds main effects only"
    elif len(varied) > 2:
        names = ", ".join(_title(factor) for factor in varied)
        yield f"how three or more of {names} work together: left out of the model"
    for factor in varied:
        if factor.kind == "numeric":
            yield f"a bend in {_title(factor)}: two levels draw a straight line"
    yield "anything beyond this joint, these settings, this welder and this machine"


def _blocks(trial: Trial, layout: Layout) -> str:
    name = "round" if layout.hard or trial.order.block in (None, "round") else trial.order.block
    if layout.rounds == 1:
        if layout.hard is None:
            return "Coupons are shuffled over the whole trial; drift is spread, not taken out."
        if layout.error_df < 1:
            return "One set-up of each level: drift and set-up are mixed up with the comparison."
        return "Set-ups are shuffled over the whole trial; drift is spread, not taken out."
    every = "every level once" if layout.per_round == 1 else f"every level {layout.per_round} times"
    if layout.hard is None:
        every = "every combination equally often"
    return (
        f"Every {name} holds {every}, so drift from {name} to {name} is taken out of the "
        "comparisons and mixed up with none of them."
    )
