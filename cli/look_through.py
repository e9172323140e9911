"""A trial folder looked through: whatever can be read of it, and every problem."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from weldtrial.shared.bench import join, read_bench
from weldtrial.shared.folder import Folder
from weldtrial.shared.look_state import Look, look_at, to_the_end
from weldtrial.shared.plancsv import read_plan
from weldtrial.shared.problems import ExitCode, Problem, ProblemsFound
from weldtrial.shared.record import Record
from weldtrial.shared.seal import check_seal, seal_taken_away
from weldtrial.shared.sealfile import SealFile
from weldtrial.shared.standing import Standing, standing
from weldtrial.shared.trial import Trial


@dataclass(frozen=True, slots=True)
class Checked:
    """A folder looked through: whatever could be read of it, and every problem."""

    trial: Trial | None = None
    sealed: SealFile | None = None
    broken: tuple[Problem, ...] = ()
    record: Record | None = None
    standing: Standing | None = None
    look: Look | None = None
    problems: tuple[Problem, ...] = ()

    @property
    def wrong(self) -> int:
        """How many problems must be mended besides those of the seal."""
        return sum(not one.warning and one not in self.broken for one in self.problems)

    def code(self, strict: bool) -> ExitCode:
        """Return how the command ends."""
        if any(not one.warning for one in self.broken):
            return ExitCode.SEAL_BROKEN
        wrong = [one for one in self.problems if strict or not one.warning]
        return ExitCode.FIX_FILE if wrong else ExitCode.FINE


def look_through(folder: Folder) -> Checked:
    """Read everything in a trial folder and collect what is wrong with it."""
    from weldtrial.shared.trialfile import read_trial

    trial, problems = read_trial(folder.trial_file)
    if trial is None or any(not one.warning for one in problems):
        return Checked(trial=None, problems=problems)
    sealed, broken = _seal(folder, trial)
    if sealed is None and not broken:
        broken = seal_taken_away(folder.path)
    if sealed is None and not folder.plan.exists():
        return Checked(trial, None, broken, problems=_once(problems, broken))
    try:
        plan = read_plan(folder.plan, trial)
    except ProblemsFound as error:
        found = _once(problems, broken, error.problems)
        return Checked(trial, sealed, broken, problems=found)
    bench = read_bench(folder.path, trial, plan)
    record = join(folder.path, trial, plan, bench)
    look = look_at(trial, record)
    stands = standing(trial, plan, to_the_end(record, look), bench)
    found = _once(problems, broken, record.problems)
    return Checked(trial, sealed, broken, record, stands, look, found)


def _seal(folder: Folder, trial: Trial) -> tuple[SealFile | None, tuple[Problem, ...]]:
    from weldtrial.cli.sealing import redraw

    return check_seal(folder.path, trial, redraw)


def _once(*groups: Sequence[Problem]) -> tuple[Problem, ...]:
    return tuple(dict.fromkeys(one for group in groups for one in group))
