"""``weldtrial check``: what is wrong, what is left to do; writes nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import click

from weldtrial.cli.check_screen import show_standing, show_unsealed, to_do
from weldtrial.cli.options import Common, common_options
from weldtrial.shared.bench import join, read_bench
from weldtrial.shared.folder import Folder, find_folder
from weldtrial.shared.plancsv import read_plan
from weldtrial.shared.problems import ExitCode, Problem, ProblemsFound
from weldtrial.shared.record import Record
from weldtrial.shared.seal import check_seal
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
    problems: tuple[Problem, ...] = field(default=())

    def code(self, strict: bool) -> ExitCode:
        """Return how the command ends."""
        if any(not one.warning for one in self.broken):
            return ExitCode.SEAL_BROKEN
        wrong = [one for one in self.problems if strict or not one.warning]
        return ExitCode.FIX_FILE if wrong else ExitCode.FINE


@click.command(short_help="Say what is wrong and what is left to do.")
@click.option("--strict", is_flag=True, help="End with exit code 3 on a warning too.")
@common_options
def command(common: Common, strict: bool) -> int:
    """Look through the whole folder: seal, weld log, readings, corrections.

    Everything wrong is named at once by file, row and column, with what to do.  Ends with 3 when
    a file needs mending, with 4 when the folder does not match its seal.  Writes nothing.
    """
    found = look_through(Folder(find_folder(common.folder)))
    code = found.code(strict)
    if common.json:
        common.console.json(_as_json(found, code))
    elif found.standing is not None and found.trial is not None and found.record is not None:
        show_standing(common, found.trial, found.record, found.standing, found.sealed, code)
    else:
        show_unsealed(common, found.trial, found.sealed, code)
    common.console.problems(_marked(found.problems))
    return int(code)


def look_through(folder: Folder) -> Checked:
    """Read everything in a trial folder and collect what is wrong with it."""
    from weldtrial.shared.trialfile import read_trial

    trial, problems = read_trial(folder.trial_file)
    if trial is None or any(not one.warning for one in problems):
        return Checked(trial=None, problems=problems)
    sealed, broken = _seal(folder, trial)
    if sealed is None and not folder.plan.exists():
        return Checked(trial, None, broken, problems=_once(problems, broken))
    try:
        plan = read_plan(folder.plan, trial)
    except ProblemsFound as error:
        found = _once(problems, broken, error.problems)
        return Checked(trial, sealed, broken, problems=found)
    bench = read_bench(folder.path, trial, plan)
    record = join(folder.path, trial, plan, bench)
    stands = standing(trial, plan, record, bench)
    found = _once(problems, broken, record.problems)
    return Checked(trial, sealed, broken, record, stands, found)


def _seal(folder: Folder, trial: Trial) -> tuple[SealFile | None, tuple[Problem, ...]]:
    from weldtrial.cli.sealing import redraw

    return check_seal(folder.path, trial, redraw)


def _once(*groups: Sequence[Problem]) -> tuple[Problem, ...]:
    return tuple(dict.fromkeys(one for group in groups for one in group))


def _marked(problems: Sequence[Problem]) -> list[Problem]:
    """Put what must be mended before what need only be known."""
    return sorted(problems, key=lambda one: one.warning)


def _as_json(found: Checked, code: ExitCode) -> dict[str, object]:
    stands, sealed = found.standing, found.sealed
    return {
        "exit": int(code),
        "trial": found.trial.title if found.trial else None,
        "sealed": found.record.sealed if found.record else "none",
        "seal": sealed.code if sealed else None,
        "seal_matches": None if sealed is None else all(one.warning for one in found.broken),
        "codes_open": found.record.codes_open if found.record else None,
        "welded": stands.welded if stands else None,
        "read": {
            one.response.name: {
                "read": one.read,
                "wanted": one.wanted,
                "unread": one.unread,
                "half_read": one.half_read,
                "lost": one.lost,
            }
            for one in (stands.read if stands else ())
        },
        "held": {
            one.held.name: {
                "within": one.within,
                "seen": one.seen,
                "outside": [
                    {"stamp": coupon.stamp, "run": coupon.run, "value": value}
                    for coupon, value in one.outside
                ],
            }
            for one in (stands.held if stands else ())
        },
        "order_notes": stands.order_notes if stands else (),
        "to_do": to_do(found.trial, found.record, stands, found.sealed, code),
        "problems": _marked(found.problems),
    }
