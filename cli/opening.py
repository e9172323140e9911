"""Opening a sealed trial: question, plan, record, and a seal that still matches."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from weldtrial.cli.gauge_folder import refuse_gauge
from weldtrial.cli.options import Common
from weldtrial.cli.sealing import redraw
from weldtrial.shared.adopted import adopted_plan, read_adopted_record
from weldtrial.shared.bench import read_record
from weldtrial.shared.earlier import with_earlier
from weldtrial.shared.folder import Folder, find_folder
from weldtrial.shared.plan import Plan
from weldtrial.shared.plancsv import read_plan
from weldtrial.shared.problems import NotEnough, Problem
from weldtrial.shared.record import Record
from weldtrial.shared.seal import broken, check_seal, seal_taken_away
from weldtrial.shared.sealfile import SealFile
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile import load_trial, read_trial


@dataclass(frozen=True, slots=True)
class Opened:
    """A trial folder whose seal holds.

    Attributes
    ----------
    warnings
        What the seal and the bench have to say that stops nothing.
    """

    folder: Path
    trial: Trial
    sealed: SealFile | None
    plan: Plan
    record: Record
    warnings: tuple[Problem, ...]


def open_trial(common: Common) -> Opened:
    """Read everything that results rest on.

    Raises
    ------
    ProblemsFound
        When the trial file cannot be used.
    SealBroken
        When anything no longer matches the seal; every difference is named.
    NotEnough
        When no plan was drawn yet.
    """
    folder = find_folder(common.folder)
    refuse_gauge(folder, "it has no coupons that were compared", "weldtrial analyse")
    files = Folder(folder)
    trial = load_trial(files.trial_file)
    if trial.adopted is not None:
        return _open_adopted(folder, trial)
    sealed, problems = check_seal(folder, trial, redraw)
    if sealed is None:
        problems = (*problems, *seal_taken_away(folder))
    if any(not problem.warning for problem in problems):
        raise broken(problems)
    if sealed is None and not files.plan.exists():
        raise NotEnough(
            "Nothing was planned yet: this trial has no plan.csv.",
            hint="See what the budget can buy with  weldtrial plan , then fix it with  "
            "weldtrial seal",
        )
    plan = read_plan(files.plan, trial)
    record = with_earlier(folder, trial, read_record(folder, trial, plan), redraw)
    warnings = (*problems, *(p for p in record.problems if p.warning))
    return Opened(folder, trial, sealed, plan, record, warnings)


def _open_adopted(folder: Path, trial: Trial) -> Opened:
    _, problems = read_trial(Folder(folder).trial_file)
    record = read_adopted_record(folder, trial)
    warnings = (*problems, *(p for p in record.problems if p.warning))
    return Opened(folder, trial, None, adopted_plan(record), record, warnings)
