"""The coupons of an earlier trial that a later one keeps: found, checked and put before its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from weldtrial.shared.bench import read_record
from weldtrial.shared.factors import Factor
from weldtrial.shared.folder import TRIAL_FILE, Folder
from weldtrial.shared.plan import Run
from weldtrial.shared.plancsv import read_plan
from weldtrial.shared.problems import Problem, ProblemsFound, SealBroken
from weldtrial.shared.record import Coupon, Record
from weldtrial.shared.seal import Redraw, check_seal
from weldtrial.shared.sealfile import read_seal
from weldtrial.shared.trial import Trial

T = TypeVar("T", Run, Coupon)


def following(folder: Path, trial: Trial) -> tuple[Trial, tuple[Problem, ...]]:
    """Return a trial with the coupons of the one it follows, and what is wrong with that.

    Parameters
    ----------
    folder
        The later trial's folder.
    trial
        The later trial; it follows one.

    Returns
    -------
    trial
        Its `earlier` in welding order, those of trials still earlier first; rounds and set-ups
        numbered on, and a trial without rounds counted as one.
    """
    assert trial.follows is not None
    place = folder / trial.follows.folder
    try:
        before, problems = _earlier_trial(place, trial)
        if before is None:
            return trial, problems
        plan = read_plan(Folder(place).plan, before)
    except (ProblemsFound, SealBroken) as error:
        return trial, (_broken(trial, error.words),)
    runs = numbered_on(before.earlier, plan.of_role("count"))
    stamps = before.stamps_taken | {run.stamp for run in plan.runs}
    return replace(trial, earlier=runs, stamps_taken=frozenset(stamps)), ()


def _earlier_trial(place: Path, trial: Trial) -> tuple[Trial | None, tuple[Problem, ...]]:
    from weldtrial.shared.trialfile import read_trial

    assert trial.follows is not None
    if not (place / TRIAL_FILE).is_file():
        words = f"'{trial.follows.folder}' holds no earlier trial. Put the copy back."
        return None, (_broken(trial, words),)
    sealed = read_seal(place)
    if sealed is None or sealed.seal != trial.follows.seal:
        found = "has none" if sealed is None else f"has seal {sealed.code}"
        words = (
            f"the trial in '{trial.follows.folder}' {found}, and not the one this trial follows "
            f"({trial.follows.seal[:12].upper()}). Put the copy back as it was."
        )
        return None, (_broken(trial, words),)
    before, problems = read_trial(place / TRIAL_FILE)
    if before is None:
        return None, (_broken(trial, "; ".join(str(one) for one in problems)),)
    changed = [one.name for one in trial.factors if not _same(one, before)]
    if changed or len(trial.factors) != len(before.factors):
        words = (
            f"the factors are not those of the earlier trial ({', '.join(changed) or 'fewer'}). "
            "Coupons of both can only be read together where they are: put them back."
        )
        return None, (_broken(trial, words),)
    return before, ()


def _same(factor: Factor, before: Trial) -> bool:
    known = next((one for one in before.factors if one.name == factor.name), None)
    return known is not None and (
        (known.kind, known.levels, known.settings, known.slides_with, known.hard_to_change)
        == (factor.kind, factor.levels, factor.settings, factor.slides_with, factor.hard_to_change)
    )


def _broken(trial: Trial, words: str) -> Problem:
    return Problem(words, file=TRIAL_FILE, line=trial.lines.get("follows"), column="follows")


def numbered_on(before: Sequence[Run], runs: Sequence[Run]) -> tuple[Run, ...]:
    """Return both, the rounds, set-ups and run numbers of the later ones counted on."""
    return (*before, *_shifted(before, runs))


def _shifted(before: Sequence[T], later: Sequence[T]) -> tuple[T, ...]:
    rounds = max((one.round or 1 for one in before), default=0)
    setups = max((one.setup or 0 for one in before), default=0)
    runs = max((one.run or 0 for one in before), default=0)
    return tuple(
        replace(
            one,
            round=rounds + (one.round or 1),
            setup=None if one.setup is None else setups + one.setup,
            run=None if one.run is None else runs + one.run,
        )
        for one in later
    )


def with_earlier(folder: Path, trial: Trial, record: Record, redraw: Redraw) -> Record:
    """Return a record with the coupons of the trials it follows before its own.

    Coupons that confirm a setting are no part of either.

    Parameters
    ----------
    redraw
        Draws a plan from its seal: the earlier trials are checked against theirs.

    Raises
    ------
    SealBroken
        When an earlier trial no longer matches its seal.
    ProblemsFound
        When it cannot be read.
    """
    if trial.follows is None:
        return record
    place = folder / trial.follows.folder
    before, problems = _earlier_trial(place, trial)
    if before is None:
        raise ProblemsFound(problems)
    _, broken = check_seal(place, before, redraw)
    wrong = [one for one in broken if not one.warning]
    if wrong:
        words = "\n".join(f"{trial.follows.folder}/{one}" for one in wrong)
        raise SealBroken(f"The earlier trial no longer matches its seal.\n{words}")
    own = read_record(place, before, read_plan(Folder(place).plan, before))
    kept = with_earlier(place, before, own, redraw)
    old = tuple(one for one in kept.coupons if one.role != "confirm")
    first = _shifted((), old) if before.follows is None else old
    return replace(
        record,
        coupons=(*first, *_shifted(first, record.coupons)),
        planned=kept.planned + record.planned,
        corrections=(*kept.corrections, *record.corrections),
        problems=(*(one for one in kept.problems if not one.warning), *record.problems),
    )
