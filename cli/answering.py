"""Findings of an opened trial, with what its design runs together said beside them."""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from math import prod
from typing import TYPE_CHECKING

from weldtrial.shared.sealfile import seal_code
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.findings import Findings
    from weldtrial.cli.opening import Opened

RUNS_TOGETHER = "runs_together"
"""Code of the notes that say what the design cannot tell apart."""


FOLLOWS = "follows"
"""Code of the note that says which trial this one adds to."""


def follows_words(trial: Trial) -> str:
    """Return what is to be said wherever a trial that adds to another shows results."""
    assert trial.follows is not None
    seal = seal_code(trial.follows.seal)
    if trial.follows.adds == "confirm":
        return (
            f"This trial confirms one setting of the one sealed as {seal}. The "
            f"{len(trial.earlier)} coupons of that are compared; those that confirm are no part of "
            "any comparison."
        )
    return (
        f"This trial adds to the one sealed as {seal}; {len(trial.earlier)} coupons of that count. "
        "It was planned after those were seen: where it was added because an answer was nearly "
        "there, false alarms are likelier than 5 in 100."
    )


def answer(opened: Opened, *, codes_open: bool, peek: bool = False) -> Findings:
    """Analyse a trial and note what its design runs together and what was never welded.

    Raises
    ------
    WeldtrialError
        As `weldtrial.analysis.analyse.analyse`.
    """
    from weldtrial.analysis.analyse import analyse
    from weldtrial.analysis.findings import Note

    findings = analyse(opened.trial, opened.record, codes_open=codes_open, peek=peek)
    if not codes_open:
        return findings
    words = _of_data(opened) if opened.record.adopted else _of_design(opened)
    notes = tuple(Note(RUNS_TOGETHER, f"{one[:1].upper()}{one[1:].rstrip('.')}.") for one in words)
    if opened.trial.follows is not None:
        notes = (Note(FOLLOWS, follows_words(opened.trial)), *notes)
    return replace(findings, notes=(*findings.notes, *notes))


def _of_design(opened: Opened) -> list[str]:
    from weldtrial.doe.assess import assess

    found = assess(opened.trial)
    never = [found.never_welded] if found.never_welded else []
    return [*found.aliases, *found.confounded, *never]


def _of_data(opened: Opened) -> list[str]:
    """Say which combinations of levels the data do not hold, by name where they are few."""
    factors = opened.trial.varied
    total = prod(len(factor.levels) for factor in factors)
    welded = {tuple(c.levels[f.name] for f in factors) for c in opened.record.coupons}
    if len(welded) == total:
        return []
    words = f"{total - len(welded)} of the {total} combinations of levels were never welded"
    if total > 1000:
        return [words]
    missing = [cell for cell in product(*(f.levels for f in factors)) if cell not in welded]
    named = "; ".join(", ".join(cell) for cell in missing[:4])
    return [f"{words}: {named}{' and more' if len(missing) > 4 else ''}"]
