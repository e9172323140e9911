"""What to weld next, from what was found: settle, tell apart, look for a bend, confirm or stop."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from weldtrial.analysis.findings import ResponseFindings, VerdictCode

StepKind = Literal["settle", "separate", "bend", "confirm"]

OPEN: frozenset[VerdictCode] = frozenset(
    (
        "not_settled",
        "at_limit",
        "depends_on",
        "cannot_tell",
        "worse_margin_unsettled",
        "better_margin_unsettled",
    )
)
"""Verdicts that leave the question of the margin open."""
ALPHA = 0.05


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that could be welded next.

    Attributes
    ----------
    kind
        Settle what is open; separate effects that run together; find where a bend comes from;
        confirm what was found.
    why
        What was found that asks for it, a whole sentence.
    terms
        Names of the terms concerned: those to tell apart.
    """

    kind: StepKind
    why: str
    terms: tuple[str, ...] = ()


def next_steps(found: ResponseFindings, tied: Mapping[str, tuple[str, ...]]) -> tuple[Step, ...]:
    """Return what the findings of the deciding response ask for, the most pressing first.

    Parameters
    ----------
    found
        With the codes open.
    tied
        For each term of the model the terms that were left out of it because they run with it.

    Notes
    -----
    Nothing is advised from a chance worked out at the observed difference: what would settle an
    open question is worked out at the margin (Hoenig & Heisey 2001, *The American Statistician*
    55:19-24).
    """
    steps = [*_settle(found), *_separate(found, tied), *_bend(found)]
    if steps:
        return tuple(steps)
    return (
        Step(
            "confirm",
            "Nothing that this trial asked is left open. What is left is to see it again, in fresh "
            "set-ups.",
        ),
    )


def _settle(found: ResponseFindings) -> list[Step]:
    steps = []
    for one in found.comparisons:
        if one.verdict.code not in OPEN:
            continue
        how = next((line for line in one.verdict.lines if "would settle it" in line), "")
        pair = f"{one.level} against {one.reference}: "
        steps.append(Step("settle", f"{pair}{one.verdict.words} {how}".strip()))
    return steps


def _separate(found: ResponseFindings, tied: Mapping[str, tuple[str, ...]]) -> list[Step]:
    steps = []
    for effect in found.effects:
        if effect.ci_low is None or effect.ci_high is None or effect.ci_low <= 0 <= effect.ci_high:
            continue
        others = tied.get(effect.term, ())
        if others:
            steps.append(
                Step(
                    "separate",
                    f"{effect.term} stands clear of zero, and it runs together with "
                    f"{' and '.join(others)}: either could be the cause.",
                    (effect.term, *others),
                )
            )
    return steps


def _bend(found: ResponseFindings) -> list[Step]:
    bend = None if found.curvature is None else found.curvature.p
    curved = bend is not None and bend < ALPHA
    misfit = found.lack_of_fit.p is not None and found.lack_of_fit.p < ALPHA
    if not (curved or misfit):
        return []
    what = (
        "The middle does not lie on the straight line between low and high"
        if curved
        else "The coupons do not lie on the model as well as repeats agree with each other"
    )
    return [Step("bend", f"{what}: something bends, and the design cannot say what.")]
