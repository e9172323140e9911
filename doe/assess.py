"""What a plan can and cannot tell, before anything is welded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from weldtrial.doe.assess_words import (
    aliases,
    confounded,
    left_out,
    never_welded,
    not_told,
    slider_words,
)
from weldtrial.doe.bench import Bench, bench_of
from weldtrial.doe.fair_promises import fair_warnings
from weldtrial.doe.fairness import Fairness, fairness
from weldtrial.doe.laid_out import Layout
from weldtrial.doe.layout import make_layout
from weldtrial.doe.nuisances import Nuisance, nuisances_of
from weldtrial.doe.unanswerable import judged_by_each_other, term_words, units
from weldtrial.doe.windows import outside_the_windows
from weldtrial.shared.terms import Term
from weldtrial.shared.trial import Trial

Stratum = Literal["set-ups", "coupons", "effects"]


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
        where there are set-ups), or the size of the other effects where nothing is repeated.
    error_df
        Degrees of freedom of that scatter; a third of the effects where these judge.
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
    aliases
        Effects of one and two easy factors that travel together in a fraction, likewise.
    confounded
        What cannot be told from blocks, or only between set-ups, likewise.
    left_out
        Terms of the model that are left out, and why, likewise.
    never_welded
        What combinations are never welded, in a sentence; empty when all are.
    blocks
        What is taken out of the comparisons, and what is left mixed up with it, in a sentence.
    nuisances
        The usual ones and the file's own; those with `handling` None are flagged.
    windows
        Settings outside the trade's usual windows, in sentences.
    fair
        What the rule of fairness makes equal between gases and what then differs; None without
        one.
    fair_warnings
        Promises of that rule which the settings do not keep, and likely changes of transfer, in
        sentences.
    """

    layout: Layout
    told: tuple[Told, ...]
    not_told: tuple[str, ...]
    aliases: tuple[str, ...]
    confounded: tuple[str, ...]
    left_out: tuple[str, ...]
    never_welded: str
    blocks: str
    nuisances: tuple[Nuisance, ...]
    windows: tuple[str, ...]
    bench: Bench
    fair: Fairness | None
    fair_warnings: tuple[str, ...]

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
    rows = [_told(trial, layout, term) for term in layout.strata.told]
    return Assessment(
        layout=layout,
        told=tuple(row for row in rows if row.error_df > 0),
        not_told=(
            *(_untold_term(layout, row) for row in rows if row.error_df < 1),
            *not_told(trial, layout),
        ),
        aliases=aliases(trial, layout),
        confounded=confounded(trial, layout),
        left_out=left_out(trial, layout),
        never_welded=never_welded(trial, layout),
        blocks=_blocks(trial, layout),
        nuisances=nuisances_of(trial),
        windows=outside_the_windows(trial, layout),
        bench=bench_of(trial, layout),
        fair=fairness(trial, layout),
        fair_warnings=fair_warnings(trial, layout),
    )


def _told(trial: Trial, layout: Layout, term: Term) -> Told:
    words = slider_words(trial, term) or term_words(trial, term)
    also = [
        term_words(trial, left.term)
        for left in layout.strata.left_out
        if term.name in left.runs_with and not slider_words(trial, term)
    ]
    if also:
        words += f" (or {' or '.join(also)})"
    if judged_by_each_other(layout):
        return Told(term.name, words, "effects", layout.strata.columns // 3)
    between = term in layout.strata.between
    df = layout.strata.between_df if between else layout.strata.within_df
    return Told(term.name, words, "set-ups" if between else "coupons", max(0, df))


def _untold_term(layout: Layout, row: Told) -> str:
    if row.judged_by != "set-ups":
        return f"{row.words}: no coupon is left over to judge it by"
    if layout.set_ups_per_level > 1:
        return f"{row.words}: no set-up is left over to judge it by, and no verdict will be given"
    return (
        f"{row.words}: each level is set up once, so it cannot be told apart from its set-up, "
        "and no verdict will be given"
    )


def _blocks(trial: Trial, layout: Layout) -> str:
    name = units(trial)
    if not layout.hard_factors and layout.cut is None and trial.order.block in (None, "round"):
        name = "round"
    if layout.rounds == 1:
        if not layout.hard_factors:
            return "Coupons are shuffled over the whole trial; drift is spread, not taken out."
        if layout.error_df < 1:
            return "One set-up of each level: drift and set-up are mixed up with the comparison."
        return "Set-ups are shuffled over the whole trial; drift is spread, not taken out."
    if layout.listed and not layout.hard_factors:
        return (
            f"Differences from {name} to {name} are taken out of the comparisons; not every {name} "
            "holds the same settings."
        )
    if layout.listed and not layout.in_rounds:
        return "Set-ups are shuffled over the whole trial; drift is spread, not taken out."
    every = "every level" if len(layout.hard_factors) == 1 else "every combination of levels"
    every += " once" if layout.per_round == 1 else f" {layout.per_round} times"
    if not layout.hard_factors:
        every = "every combination equally often"
    if layout.cut is not None and layout.parts_by == "round":
        each = "set-up" if layout.hard_factors else name
        same = f", the same for a whole {name}" if layout.hard_factors else ""
        return (
            f"Every {each} holds {_share(len(layout.parts))} of the combinations{same}: drift from "
            f"{name} to {name} is taken out of the comparisons, with what is named below."
        )
    return (
        f"Every {name} holds {every}, so drift from {name} to {name} is taken out of the "
        "comparisons and mixed up with none of them."
    )


def _share(parts: int) -> str:
    return {2: "half", 4: "a quarter", 8: "an eighth"}.get(parts, f"1 part in {parts}")
