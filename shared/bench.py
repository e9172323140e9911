"""From a trial folder to a record: plan, weld log, readings, corrections and journal joined.

Every problem of every file is collected; nothing is dropped in silence and nothing filled in.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from weldtrial.shared.chain import read_chain
from weldtrial.shared.folder import Folder
from weldtrial.shared.guesses import guess_asked
from weldtrial.shared.journal import codes_opened, read_journal
from weldtrial.shared.log_line import LogLine
from weldtrial.shared.plan import Plan, Run
from weldtrial.shared.problems import Problem, SealBroken
from weldtrial.shared.reading_sheet import Sheet, file_of, parse_day, read_sheet
from weldtrial.shared.record import Correction, Coupon, Reading, Record
from weldtrial.shared.responses import Response
from weldtrial.shared.sealfile import SealFile, read_seal
from weldtrial.shared.spares import replaced
from weldtrial.shared.trial import Trial
from weldtrial.shared.weld_log import FILE as LOG_FILE
from weldtrial.shared.weld_log import WeldLog, read_log
from weldtrial.shared.welded_order import parse_started
from weldtrial.shared.worked_out import work_out


@dataclass(frozen=True, slots=True)
class Bench:
    """Everything people typed, file by file, before it is joined."""

    log: WeldLog
    sheets: Mapping[str, Sheet]
    corrections: tuple[Correction, ...] = ()
    problems: tuple[Problem, ...] = ()


def read_bench(folder: Path, trial: Trial, plan: Plan, *, late_corrections: bool = True) -> Bench:
    """Read the weld log, all readings files and the corrections of a trial folder.

    Without `late_corrections` those made after the codes were opened are left out.
    """
    files = Folder(folder)
    corrections, problems = read_corrections(folder)
    if not late_corrections:
        corrections = tuple(line for line in corrections if not line.codes_open)
    log = read_log(files.weld_log, trial, plan, corrections)
    sheets = {
        response.name: read_sheet(
            files.readings(response.name),
            response,
            plan,
            corrections,
            blind=response.name in trial.blind.who,
            guess=guess_asked(trial, response.name),
        )
        for response in trial.to_read
    }
    strangers = _strangers(files, trial, corrections)
    return Bench(log, sheets, corrections, (*problems, *strangers))


def read_corrections(folder: Path) -> tuple[tuple[Correction, ...], tuple[Problem, ...]]:
    """Return the corrections in the order they were made, and breaks of their chain."""
    rows, problems = read_chain(Folder(folder).corrections)
    corrections = []
    for row in rows:
        cells = {name: text for name, text in row.items() if name != "codes_open"}
        corrections.append(Correction(codes_open=row["codes_open"] == "yes", **cells))
    return tuple(corrections), problems


def read_record(folder: Path, trial: Trial, plan: Plan) -> Record:
    """Join plan, weld log, readings, corrections and journal into a record with all problems.

    Parameters
    ----------
    folder
        A trial folder in which at least the plan was drawn; files that are missing or broken
        are problems of the record, never errors.
    """
    return join(folder, trial, plan, read_bench(folder, trial, plan))


def join(folder: Path, trial: Trial, plan: Plan, bench: Bench) -> Record:
    """Join what was read from the files of a folder, as `read_record` does."""
    journal, journal_problems = read_journal(folder)
    sealed, seal_problems = _seal(folder)
    coupons = work_out(trial, _coupons(plan, trial, bench))
    problems = (
        *seal_problems,
        *bench.problems,
        *journal_problems,
        *bench.log.problems,
        *(problem for sheet in bench.sheets.values() for problem in sheet.problems),
        *_against_each_other(coupons, plan, bench),
    )
    return Record(
        coupons=coupons,
        planned=len(plan.of_role("count")) + len(plan.of_role("confirm")),
        sealed=sealed.state if sealed else "none",
        seal=sealed.code if sealed else "",
        corrections=bench.corrections,
        journal=journal,
        problems=tuple(dict.fromkeys(problems)),
        codes_open=not trial.blind.codes or codes_opened(journal),
    )


def _seal(folder: Path) -> tuple[SealFile | None, tuple[Problem, ...]]:
    try:
        return read_seal(folder), ()
    except SealBroken as error:
        return None, (Problem(error.words),)


def _strangers(
    files: Folder, trial: Trial, corrections: Iterable[Correction]
) -> tuple[Problem, ...]:
    """Find readings files, and corrections, of something that the trial does not measure."""
    known = {file_of(response.name) for response in trial.to_read}
    derived = {file_of(one.name): one for one in trial.responses if one.worked_out is not None}
    names = [files.name_of(path) for path in sorted(files.readings_folder.glob("*.csv"))]
    problems = [
        Problem(_worked_out(derived[name]) if name in derived else _STRANGER, file=name)
        for name in names
        if name not in known
    ]
    problems += [
        Problem(
            f"it corrects '{one.file}', which is not a file of this trial. Nothing uses it.",
            file="corrections.csv",
            row=row,
            column="file",
            value=one.file,
        )
        for row, one in enumerate(corrections, start=2)
        if one.file not in known and one.file != LOG_FILE
    ]
    return tuple(problems)


_STRANGER = "is the file of no response in trial.toml. Rename it, or move it out of the folder."


def _worked_out(response: Response) -> str:
    how = response.worked_out
    assert how is not None
    source = f"{how.of} and weld_log.csv" if how.of else "weld_log.csv"
    return (
        f"is typed by hand, but {response.name} is worked out from {source}. Nothing uses the "
        "file: move it out of the folder."
    )


# ------------------------------------------------------------------ coupons


def _coupons(plan: Plan, trial: Trial, bench: Bench) -> tuple[Coupon, ...]:
    """Return counting coupons and used spares in welding order."""
    lines = bench.log.lines
    runs = plan.by_stamp()
    stand_ins = replaced(lines, plan)
    gone = {lost: spare for spare, lost in stand_ins.items()}
    coupons = []
    for run in plan.runs:
        line = lines.get(run.stamp)
        readings = _readings_of(run.stamp, trial, bench)
        if run.role == "spare" and run.stamp in stand_ins:
            coupons.append(_stand_in(run, runs[stand_ins[run.stamp]], line, readings))
        elif run.role in ("count", "confirm"):
            coupons.append(_coupon(run, line, readings, gone.get(run.stamp, "")))
    order = {id(one): place for place, one in enumerate(coupons)}
    return tuple(sorted(coupons, key=lambda one: (*_welded_at(one, runs), order[id(one)])))


def _welded_at(coupon: Coupon, runs: Mapping[str, Run]) -> tuple[float, ...]:
    """Place a spare by its own run number, or else at the end of its set-up."""
    if coupon.run is not None:
        return (coupon.run,)
    mates = [run.run for run in runs.values() if run.run and run.setup == coupon.setup]
    return (max(mates, default=len(runs)) + 0.5,)


def _readings_of(stamp: str, trial: Trial, bench: Bench) -> dict[str, tuple[Reading, ...]]:
    return {
        response.name: bench.sheets[response.name].readings.get(stamp, ())
        for response in trial.to_read
    }


def _coupon(
    run: Run, line: LogLine | None, readings: Mapping[str, tuple[Reading, ...]], spare: str
) -> Coupon:
    found = Coupon(
        run.stamp, run.role, run.run, run.round, run.setup, run.levels, run.settings,
        readings=readings,
    )  # fmt: skip
    if line is not None:
        found = replace(
            found,
            started=line.started,
            as_run=line.as_run,
            measured=line.measured,
            went_wrong=line.went_wrong,
            replaces=line.replaces,
        )
    welded = (line is not None and line.welded) or any(readings.values())
    return replace(found, welded=welded, lost=_why_lost(line, readings, spare))


def _stand_in(
    run: Run, lost: Run, line: LogLine | None, readings: Mapping[str, tuple[Reading, ...]]
) -> Coupon:
    """Return a spare with the place and settings of the coupon it replaces.

    In place of a coupon that confirms it confirms too, and is no part of any comparison.
    """
    own = replace(
        run,
        role="confirm" if lost.role == "confirm" else run.role,
        run=line.run if line else None,
        round=lost.round,
        setup=lost.setup,
        levels=lost.levels,
        settings=lost.settings,
    )
    return _coupon(own, line, readings, "")


def _why_lost(line: LogLine | None, readings: Mapping[str, tuple[Reading, ...]], spare: str) -> str:
    if spare:
        reason = f": {line.went_wrong}" if line is not None and line.went_wrong else ""
        return f"replaced by spare {spare}{reason}"
    if line is not None and line.lost:
        return line.lost
    typed = [one for found in readings.values() for one in found]
    everywhere = readings and all(readings.values())
    if everywhere and all(one.kind == "lost" for one in typed):
        return next((one.note for one in typed if one.note), "lost, no reason given")
    return ""


# ------------------------------------------------------------------ one file against another


def unreadable_stamps(plan: Plan, trial: Trial, bench: Bench) -> dict[str, str]:
    """Return why a coupon cannot have a reading, for each that cannot, by stamp."""
    return _unreadable(_coupons(plan, trial, bench), plan)


def _unreadable(coupons: Sequence[Coupon], plan: Plan) -> dict[str, str]:
    used = {one.stamp for one in coupons}
    words = {
        run.stamp: (
            f"{run.stamp} is a spare, and the weld log does not say which coupon it replaces. "
            "Write that stamp in 'replaces' of weld_log.csv."
        )
        for run in plan.of_role("spare")
        if run.stamp not in used
    }
    for one in coupons:
        if one.lost:
            words[one.stamp] = (
                f"{one.stamp} is lost ({one.lost}), and here is a reading of it. Look at the "
                "plate: correct the reading to  lost, or the weld log."
            )
    return words


def _against_each_other(coupons: Sequence[Coupon], plan: Plan, bench: Bench) -> tuple[Problem, ...]:
    """Find readings of coupons that are lost, and of spares that stand in for nothing."""
    words = _unreadable(coupons, plan)
    problems = []
    for name, sheet in bench.sheets.items():
        for stamp in sheet.readings.keys() & words.keys():
            real = [one for one in sheet.readings[stamp] if one.kind != "lost"]
            problems += [
                Problem(words[stamp], file_of(name), None, one.row, "reading", one.text)
                for one in real[:1]
            ]
    problems += [*_read_too_soon(coupons, bench), *_not_in_log(coupons, bench)]
    return tuple(sorted(problems, key=lambda one: (one.file or "", one.row or 0)))


def _read_too_soon(coupons: Sequence[Coupon], bench: Bench) -> list[Problem]:
    """Find readings dated before the coupon was welded."""
    problems = []
    for coupon in coupons:
        started = parse_started(coupon.started)
        if started is None or started.day is None:
            continue
        for name in bench.sheets:
            readings = coupon.readings.get(name, ())
            early = [one for one in readings if one.row and one.read_on]
            early = [one for one in early if (parse_day(one.read_on) or started.day) < started.day]
            problems += [
                Problem(
                    f"{coupon.stamp} was read on {one.read_on} and welded on {started.day}. Mend "
                    "the one that is wrong.",
                    file_of(name), None, one.row, "read_on", one.read_on, warning=True,
                )
                for one in early
            ]  # fmt: skip
    return problems


def _not_in_log(coupons: Sequence[Coupon], bench: Bench) -> list[Problem]:
    """Say once which coupons have no row in the weld log any more."""
    log = bench.log
    gone = [one.stamp for one in coupons if one.stamp not in log.lines]
    if not gone or not log.lines or any(not one.warning for one in log.problems):
        return []
    rows = "row of its own" if len(gone) == 1 else "rows of their own"
    words = (
        f"{', '.join(gone)}: no {rows}. Put back what was taken out; plan.csv has run and set-up."
    )
    return [Problem(words, file=LOG_FILE, column="stamp", warning=True)]
