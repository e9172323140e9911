"""Corrections and losses: added beside what was typed, never over it."""

from __future__ import annotations

from typing import Any

from weldtrial.cli.bench_folder import LOG, OpenTrial
from weldtrial.cli.options import Common
from weldtrial.shared.correcting import Wanted, append_corrections, plan_correction
from weldtrial.shared.entry import edited_text
from weldtrial.shared.folder import atomic_write, locked
from weldtrial.shared.losing import LostPlan, plan_lost
from weldtrial.shared.problems import ExitCode, ProblemsFound, WrongUsage
from weldtrial.shared.reading_sheet import check_sheet, file_of
from weldtrial.shared.record import Correction


def correct(common: Common, opened: OpenTrial, where: str | None, said: dict[str, Any]) -> int:
    """Add a correction to ``corrections.csv``."""
    wanted = _wanted(common, opened, where, said)
    with locked(opened.folder.path):
        bench = opened.bench()
        corrections = plan_correction(wanted, bench, opened.trial, opened.plan, opened.codes_open)
        _doubt(common, opened, corrections, bool(said["yes"]))
        append_corrections(opened.folder, corrections)
    _tell(common, opened, corrections)
    return int(ExitCode.FINE)


def _wanted(common: Common, opened: OpenTrial, where: str | None, said: dict[str, Any]) -> Wanted:
    """Return what was said on the command line, and ask for what was not."""
    stamp = said["correct"].upper()
    to, why = said["to"], said["why"]
    if (to is None or why is None) and not common.console.may_ask:
        raise WrongUsage(
            "A correction needs the right value and the reason:  weldtrial record "
            f"{where + ' ' if where else ''}--correct {stamp} --to VALUE --why WHY"
        )
    if to is None:
        _show_readings(common, opened, stamp, where)
        where = where or _which_of(common, opened, stamp)
        to = common.console.ask("The right value:", flag="--to VALUE")
    if why is None:
        why = common.console.ask("Why (kept for good):", flag="--why WHY")
    return Wanted(
        stamp=stamp,
        to=to,
        why=why,
        where=where,
        was=said["was"],
        column=said["column"],
        who=said["reader"] or "",
    )


def _which_of(common: Common, opened: OpenTrial, stamp: str) -> str | None:
    """Ask which response is meant where several have readings of the stamp."""
    names = [name for name, sheet in opened.bench().sheets.items() if sheet.readings.get(stamp)]
    while len(names) > 1:
        answer = common.console.ask(f"Which ({', '.join(names)})?", flag=f"record {names[0]}")
        names = (
            [name for name in names if name == answer]
            or [name for name in names if name.startswith(answer)]
            or names
        )
    return names[0] if names else None


def _show_readings(common: Common, opened: OpenTrial, stamp: str, where: str | None) -> None:
    for name, sheet in opened.bench().sheets.items():
        readings = sheet.readings.get(stamp, ())
        if readings and where in (None, name):
            listed = ", ".join(f"row {one.row}: {one.text}" for one in readings)
            common.console.line(f"{stamp}  {name}  {listed}")


def _doubt(
    common: Common, opened: OpenTrial, corrections: tuple[Correction, ...], yes: bool
) -> None:
    """Ask about a corrected value that looks like a slip itself; refuse where nobody is asked."""
    bench = opened.bench()
    for one in corrections:
        name = one.file.removeprefix("readings/").removesuffix(".csv")
        if yes or one.column != "reading" or name not in bench.sheets or not one.now:
            continue
        sheet = bench.sheets[name]
        every = (*bench.corrections, *corrections)
        after = check_sheet(sheet.table, sheet.response, opened.plan, every, doubt_corrected=True)
        slips = [slip for slip in after.slips if slip.value == one.now and slip not in sheet.slips]
        if not slips:
            continue
        if not common.console.may_ask:
            raise ProblemsFound(slips, hint="Nothing was written. If it is right, add  --yes")
        common.console.problems(slips)
        if not common.console.confirm("Keep it as it is?"):
            raise WrongUsage("Nothing was written.")


def _tell(common: Common, opened: OpenTrial, corrections: tuple[Correction, ...]) -> None:
    if common.json:
        common.console.json({"corrections": corrections})
        return
    if not corrections:
        common.console.line("It reads so already. Nothing was written.")
    for one in corrections:
        now = one.now or "(struck out)"
        was = one.was or "(empty)"
        common.console.line(f"{one.stamp} {one.column}: {was} → {now}   ({one.file})")
    if corrections:
        state = "open" if corrections[0].codes_open else "closed"
        common.console.line(
            f"Kept in corrections.csv with the old value, the reason, and that codes were {state}. "
            "The report lists it and gives the answer without it too."
        )
    common.console.next("check")


def mark_lost(common: Common, opened: OpenTrial, where: str | None, said: dict[str, Any]) -> int:
    """Write ``lost`` and the reason for a coupon's readings, or for those of one response."""
    stamp, why = said["lost"]
    if where == LOG:
        raise WrongUsage(f"A coupon is lost, not its log:  weldtrial record --lost {stamp} WHY")
    with locked(opened.folder.path):
        bench = opened.bench()
        beside = {"reader": said["reader"] or "", "read_on": said["read_on"] or ""}
        lost = plan_lost(stamp, why, where, bench, opened.plan, beside, opened.codes_open)
        for name, edits in lost.edits.items():
            table = bench.sheets[name].table
            atomic_write(opened.folder.readings(name), edited_text(table, edits))
        append_corrections(opened.folder, lost.corrections)
    marked = [name for name in bench.sheets if _marks(lost, name)]
    names = [file_of(name) for name in marked]
    if common.json:
        common.console.json(
            {"stamp": lost.stamp, "why": why, "files": names, "corrections": lost.corrections}
        )
        return int(ExitCode.FINE)
    if names:
        titles = " and ".join(opened.trial.response(name).title for name in marked)
        common.console.line(
            f"{lost.stamp} is lost for {titles}: {why}. It is listed, never filled in."
        )
    else:
        common.console.line(f"{lost.stamp} is marked lost already. Nothing was written.")
    common.console.next("check")
    return int(ExitCode.FINE)


def _marks(lost: LostPlan, name: str) -> bool:
    """Tell whether a response's file, or a correction of it, says that the coupon is lost."""
    return name in lost.edits or any(one.file == file_of(name) for one in lost.corrections)
