"""``weldtrial seal``: fix question, order and analysis before the first result."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from weldtrial.cli import sealing
from weldtrial.cli.adopted_folder import refuse_adopted
from weldtrial.cli.gauge_folder import refuse_gauge
from weldtrial.cli.options import Common, common_options
from weldtrial.cli.seal_screens import (
    show_amendment,
    show_read,
    show_sealed,
    show_unhandled,
    show_verified,
    show_witness,
)
from weldtrial.shared.blank_files import FilledIn, filled_in
from weldtrial.shared.folder import Folder, find_folder
from weldtrial.shared.problems import ExitCode, ProblemsFound, WrongUsage
from weldtrial.shared.seal import broken, inspect, read_seal, seal_taken_away
from weldtrial.shared.sealfile import SealFile
from weldtrial.shared.trial import Trial

_ASK = "ask"


@click.command(short_help="Fix question and order before the first result.")
@click.option(
    "--dice",
    is_flag=False,
    flag_value=_ASK,
    metavar="4,2,6",
    help="Dice thrown where someone can see them; without numbers, asks for them.",
)
@click.option("--no-dice", is_flag=True, help="Go without dice and do not ask.")
@click.option("--witness", metavar="TEXT", help="Where the seal was shown to others, and when.")
@click.option("--verify", is_flag=True, help="Draw everything again and compare; writes nothing.")
@click.option("--amend", metavar="WHY", help="Log a change of trial.toml after sealing.")
@click.option("--yes", is_flag=True, help="Seal late without asking.")
@common_options
def command(common: Common, **said: Any) -> int:
    """Seal the trial: fix the question, draw order and stamps, lay out the files to fill in.

    A sealed folder can be verified, witnessed and amended; sealing it again changes nothing.
    """
    _one_thing_at_a_time(said)
    folder = find_folder(common.folder)
    refuse_adopted(folder, "a seal now would show nothing")
    refuse_gauge(
        folder,
        "it is not sealed, as nothing is compared; its order is drawn from [gauge]",
        "weldtrial sheets",
    )
    trial = _read(common, folder)
    sealed = read_seal(folder)
    if said["verify"]:
        return _verify(common, folder, trial, _must_be_sealed(sealed, "--verify", folder))
    if said["amend"] is not None:
        _amend(common, folder, trial, _must_be_sealed(sealed, "--amend", folder), said["amend"])
    elif sealed is None:
        _seal(common, folder, trial, said)
    else:
        _sealed_already(common, folder, trial, sealed, said)
    return int(ExitCode.FINE)


def _one_thing_at_a_time(said: dict[str, Any]) -> None:
    clashes = (
        ("dice", "no_dice"),
        ("verify", "amend"),
        ("verify", "witness"),
        ("verify", "dice"),
        ("amend", "dice"),
        ("amend", "witness"),
    )
    for first, second in clashes:
        if said[first] not in (None, False) and said[second] not in (None, False):
            one, other = (f"--{name.replace('_', '-')}" for name in (first, second))
            raise WrongUsage(f"weldtrial seal: {one} and {other} do not go together.")
    for name in ("amend", "witness"):
        if said[name] is not None and not said[name].strip():
            raise WrongUsage(f"weldtrial seal: --{name} needs words; they are kept for good.")


def _read(common: Common, folder: Path) -> Trial:
    from weldtrial.shared.trialfile import read_trial

    trial, problems = read_trial(Folder(folder).trial_file)
    if trial is None or any(not problem.warning for problem in problems):
        raise ProblemsFound(problems)
    if problems:
        common.console.problems(problems)
    return trial


def _must_be_sealed(sealed: SealFile | None, option: str, folder: Path) -> SealFile:
    if sealed is None:
        gone = seal_taken_away(folder)
        if gone:
            raise broken(gone)
        raise WrongUsage(
            f"This trial is not sealed yet, so {option} has nothing to go by. "
            "Until then trial.toml may simply be changed.",
            hint="Seal it:  weldtrial seal",
        )
    return sealed


def _verify(common: Common, folder: Path, trial: Trial, sealed: SealFile) -> int:
    checks = inspect(folder, trial, sealed, sealing.redraw)
    show_verified(common, sealed, checks)
    holds = all(check.holds for check in checks)
    return int(ExitCode.FINE if holds else ExitCode.SEAL_BROKEN)


def _amend(common: Common, folder: Path, trial: Trial, sealed: SealFile, why: str) -> None:
    after, amendment = sealing.amend(folder, trial, why.strip())
    show_amendment(common, after, amendment)


def _sealed_already(
    common: Common, folder: Path, trial: Trial, sealed: SealFile, said: dict[str, Any]
) -> None:
    dice = said["dice"]
    if dice is not None and (dice == _ASK or _dice(dice) != sealed.dice):
        thrown = ",".join(map(str, sealed.dice)) or "no dice"
        raise WrongUsage(
            f"This trial is sealed already ({sealed.code}, {thrown}); dice are thrown once."
        )
    written = sealing.restore(folder, trial, sealed)
    problems = [
        one for check in inspect(folder, trial, sealed, sealing.redraw) for one in check.problems
    ]
    common.console.problems(one for one in problems if one.warning)
    if any(not one.warning for one in problems):
        raise broken(problems)
    if said["witness"]:
        show_witness(common, sealing.add_witness(folder, trial, said["witness"].strip()))
    else:
        names = [Folder(folder).name_of(path) for path in written]
        show_sealed(common, sealed, trial, None, names, again=True)


def _seal(common: Common, folder: Path, trial: Trial, said: dict[str, Any]) -> None:
    if trial.follows is not None:
        from weldtrial.cli.next_confirm import altered

        if wrong := altered(common, folder, trial):
            raise ProblemsFound(wrong, hint="Nothing was sealed.")
    with common.console.waiting("working out the plan"):
        layout = sealing.lay(trial)
    show_read(common, layout)
    unhandled = sealing.unhandled(trial)
    show_unhandled(common, unhandled)
    found = filled_in(folder)
    if found.anything and not (said["yes"] or _go_on_late(common, found)):
        common.console.line("Nothing was sealed.")
        return
    drawn = sealing.draw(trial, layout, _thrown(common, said))
    witness = (said["witness"] or "").strip()
    sealed, written = sealing.fix(folder, trial, drawn, witness, found)
    sheets = sealing.print_sheets(folder, trial, sealed)
    files = Folder(folder)
    names = [files.name_of(path) for path in (*written, *sheets)]
    to_fill = (files.weld_log, *(files.readings(one.name) for one in trial.to_read))
    kept = [files.name_of(path) for path in to_fill if path not in written]
    show_sealed(common, sealed, trial, drawn, names, unhandled=unhandled, kept=kept)


def _go_on_late(common: Common, found: FilledIn) -> bool:
    holds = []
    if found.readings:
        holds.append(f"readings/ already holds {_count(found.readings, 'reading')}")
    if found.welded:
        already = "" if found.readings else "already "
        holds.append(f"weld_log.csv {already}holds {_count(found.welded, 'welded coupon')}")
    mark = f"{_count(found.readings, 'reading')} in"
    if not found.readings:
        mark = f"{_count(found.welded, 'coupon')} welded"
    return common.console.confirm(
        f"{' and '.join(holds)}. A seal now would not show the plan came first, so it will be "
        f'marked "sealed late, {mark}". Go on?',
        flag="--yes",
    )


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _thrown(common: Common, said: dict[str, Any]) -> tuple[int, ...]:
    given = said["dice"]
    if given not in (None, _ASK):
        return _dice(given)
    if said["no_dice"] or (given is None and not common.console.may_ask):
        return ()
    common.console.line(
        "Throw some dice where someone can see them. Their numbers stir the order, so nobody – "
        "including you – could have chosen it by editing the file until it looked nice."
    )
    prompt = "  dice (e.g. 4 2 6 1 5), or Enter to go without:"
    while True:
        try:
            return _dice(common.console.ask(prompt, default="", flag="--dice 4,2,6"))
        except WrongUsage as error:
            if not common.console.may_ask:
                raise
            common.console.warn(error.words)


def _dice(text: str) -> tuple[int, ...]:
    from weldtrial.doe.draw import parse_dice

    return parse_dice(text)
