"""Importing readings or a weld log from a file: shown first, then written whole or not at all."""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from weldtrial.cli.bench_folder import LOG, OpenTrial, reading_words, singular
from weldtrial.cli.options import Common
from weldtrial.shared.bench import Bench, unreadable_stamps
from weldtrial.shared.csvtable import Decimal, Table, parse_table, plain_header
from weldtrial.shared.entry import EntryPlan, edited_text, plan_readings
from weldtrial.shared.folder import atomic_write, locked
from weldtrial.shared.guesses import guess_asked
from weldtrial.shared.problems import ExitCode, Problem, ProblemsFound, WrongUsage
from weldtrial.shared.reading_sheet import Sheet, check_sheet, sheet_shape
from weldtrial.shared.responses import Response

NOTHING = "Nothing was written."


@dataclass(frozen=True, slots=True)
class Source:
    """A file to import: its bytes, the name for messages, and where it is (None for stdin)."""

    data: bytes
    name: str
    path: Path | None


def import_file(common: Common, opened: OpenTrial, where: str | None, said: dict[str, Any]) -> int:
    """Import, or with ``--twice`` compare, the file that ``--from`` names."""
    source = _read(said["source"])
    decimal: Decimal | None = said["decimal"]
    place = where or _guess_place(opened, source)
    with locked(opened.folder.path):
        bench = opened.bench()
        if place == LOG:
            from weldtrial.cli.log_import import import_log, save_log_again

            if said["twice"]:
                raise WrongUsage("--twice compares readings; the weld log has no second entry.")
            if _same_file(source.path, opened.folder.weld_log):
                return save_log_again(common, opened, source, decimal)
            return import_log(common, opened, bench, source, decimal, bool(said["yes"]))
        response = opened.trial.response(place)
        if _same_file(source.path, opened.folder.readings(place)):
            return _save_again(common, opened, source, response, decimal)
        incoming = _incoming(opened, bench, source, response, decimal)
        if said["twice"]:
            from weldtrial.cli.second_look import look_twice

            return look_twice(common, opened, bench.sheets[place], incoming)
        return _import_readings(common, opened, bench, incoming, said)


def _read(name: str) -> Source:
    if name == "-":
        stream = getattr(sys.stdin, "buffer", None)
        data = stream.read() if stream is not None else sys.stdin.read().encode()
        return Source(data, "standard input", None)
    path = Path(name)
    try:
        return Source(path.read_bytes(), name, path)
    except FileNotFoundError:
        raise WrongUsage(f"There is no file {name}.") from None
    except OSError as error:
        raise WrongUsage(f"{name} cannot be read ({error.strerror or error}).") from None


def _same_file(path: Path | None, target: Path) -> bool:
    return path is not None and target.exists() and path.samefile(target)


def _guess_place(opened: OpenTrial, source: Source) -> str:
    """Tell from header or file name which response a file holds."""
    from weldtrial.shared.weld_log import log_shape

    trial = opened.trial
    log = parse_table(source.data, source.name, log_shape(trial))
    if len(set(log.headers) - {"run", "stamp", "setup", "went_wrong"}) >= 1:
        return LOG
    fits = []
    for response in trial.to_read:
        table = parse_table(source.data, source.name, sheet_shape(response))
        header = plain_header(table.headers.get("reading", ""))
        if header.startswith(response.name.casefold()):
            fits.append(response.name)
    if source.path is not None and source.path.stem in {one.name for one in trial.to_read}:
        fits = fits or [source.path.stem]
    if len(trial.to_read) == 1:
        fits = fits or [trial.to_read[0].name]
    if len(fits) == 1:
        return fits[0]
    names = ", ".join([*(response.name for response in trial.to_read), LOG])
    raise WrongUsage(
        f"{source.name} does not say which response it holds ({names}). Name it:  "
        f"weldtrial record {trial.to_read[0].name} --from {source.name}"
    )


def _incoming(
    opened: OpenTrial, bench: Bench, source: Source, response: Response, decimal: Decimal | None
) -> Sheet:
    table = parse_table(source.data, source.name, sheet_shape(response), decimal)
    known = bench.sheets[response.name].numbers
    return check_sheet(table, response, opened.plan, complete=False, known=known,
                       guess=guess_asked(opened.trial, response.name))  # fmt: skip


def structural(sheet: Sheet) -> list[Problem]:
    """Return what is wrong with a folder's file as a table: it must be mended first."""
    return [problem for problem in sheet.table.problems if not problem.warning]


def _import_readings(
    common: Common, opened: OpenTrial, bench: Bench, incoming: Sheet, said: dict[str, Any]
) -> int:
    response = incoming.response
    sheet = bench.sheets[response.name]
    if structural(sheet):
        raise ProblemsFound(structural(sheet), hint=NOTHING)
    beside = {"reader": said["reader"] or "", "read_on": said["read_on"] or ""}
    entry = plan_readings(sheet, incoming, beside)
    problems = [one for one in incoming.problems if not one.warning]
    told = {(one.row, one.column) for one in problems}  # once is enough for one cell
    problems += [one for one in entry.problems if (one.row, one.column) not in told]
    problems += _unreadable(opened, bench, incoming, {stamp for stamp, _ in entry.filled})
    slips = _new_slips(incoming, entry)
    asks = common.console.may_ask and not said["yes"]
    if slips and not said["yes"] and not asks:
        problems += slips
    if problems:
        hint = f"{NOTHING} Mend the file"
        offered = bool(slips) and not said["yes"]
        hint += ", or take odd readings as they are with  --yes" if offered else ""
        raise ProblemsFound(problems, hint=f"{hint}, then run the same line again.")
    common.console.problems(
        one for one in incoming.problems if one.warning and (one not in incoming.slips or slips)
    )
    file = f"readings/{response.name}.csv"
    _preview(common, response, entry)
    if entry.edits and asks and not common.console.confirm(_question(entry, file), True):
        common.console.line(NOTHING)
        return int(ExitCode.FINE)
    if entry.edits:
        path = opened.folder.readings(response.name)
        atomic_write(path, edited_text(sheet.table, entry.edits))
    _tell(common, opened, response, entry, file)
    return int(ExitCode.FINE)


def _question(entry: EntryPlan, file: str) -> str:
    return f"Write {singular(len(entry.filled), 'new reading')} to {file}?"


def _unreadable(opened: OpenTrial, bench: Bench, incoming: Sheet, fresh: set[str]) -> list[Problem]:
    """Refuse readings of coupons that are lost, and of spares that stand in for nothing."""
    words = unreadable_stamps(opened.plan, opened.trial, bench)
    return [
        Problem(words[stamp], incoming.table.name, None, one.row, "reading", one.text)
        for stamp, readings in incoming.readings.items()
        for one in readings
        if stamp in words and stamp in fresh and one.kind != "lost"
    ]


def _new_slips(incoming: Sheet, entry: EntryPlan) -> list[Problem]:
    """Return the doubts about readings that are not in the folder yet."""
    fresh = {stamp for stamp, _ in entry.filled}
    rows = {row.number for stamp in fresh for row in incoming.rows.get(stamp, ())}
    return [one for one in incoming.slips if one.row in rows]


def _preview(common: Common, response: Response, entry: EntryPlan) -> None:
    """Show what was understood, before anything is written."""
    if common.quiet or not entry.filled:
        return
    rows = [
        (stamp, reading.text, reading_words(reading, response), reading.failed_at)
        for stamp, reading in entry.filled
        if reading is not None
    ]
    common.console.line(f"Understood, {response.title}:")
    common.console.table(
        ("stamp", "as typed", "understood as", "broke at"), rows, ("left", "right", "left", "left")
    )


def _tell(
    common: Common, opened: OpenTrial, response: Response, entry: EntryPlan, file: str
) -> None:
    sheet = opened.bench().sheets[response.name]
    total = len(opened.plan.of_role("count", "confirm")) * response.sections
    read = sum(len(readings) for readings in sheet.readings.values())
    if common.json:
        common.console.json(
            {
                "file": file,
                "written": len(entry.filled),
                "already": entry.already,
                "read": read,
                "planned": total,
                "readings": [
                    {
                        "stamp": stamp,
                        "reading": reading.text,
                        "kind": reading.kind,
                        "value": reading.value,
                        "low": reading.low,
                        "high": reading.high,
                    }
                    for stamp, reading in entry.filled
                    if reading is not None
                ],
            }
        )
        return
    if not entry.edits and not entry.already:
        common.console.line(f"The file holds no readings. Nothing was changed in {file}.")
    elif not entry.edits:
        words = f"Nothing new: {singular(entry.already, 'reading')} in {file} already."
        common.console.line(f"{words} Nothing was changed.")
    else:
        already = f" ({entry.already} were there already)" if entry.already else ""
        words = f"Saved {singular(len(entry.filled), 'reading')} to {file}{already}."
        common.console.line(f"{words} {read} of {total} read.")
    common.console.next("check")


def _save_again(
    common: Common,
    opened: OpenTrial,
    source: Source,
    response: Response,
    decimal: Decimal | None,
) -> int:
    """Mend the folder's own file, its decimal commas put together again."""
    file = f"readings/{response.name}.csv"
    table = parse_table(source.data, file, sheet_shape(response), decimal)
    checked = check_sheet(table, response, opened.plan, complete=False)
    if any(not problem.warning for problem in checked.problems):
        raise ProblemsFound(checked.problems, hint=NOTHING)
    read = sum(len(readings) for readings in checked.readings.values())
    path = opened.folder.readings(response.name)
    return save_again(common, table, source, path, singular(read, "reading"))


def save_again(common: Common, table: Table, source: Source, path: Path, count: str) -> int:
    """Save a file of the folder as it was understood, with semicolons where it has commas."""
    shown = replace(table, delimiter=";") if table.decimal == "," else table
    text = edited_text(shown, ())
    if text.encode() == source.data:
        common.console.line(f"{table.name} reads well as it is. Nothing was changed.")
        return int(ExitCode.FINE)
    question = f"{count} understood. Save {table.name} again with semicolons?"
    if common.console.may_ask and not common.console.confirm(question, True):
        common.console.line(NOTHING)
        return int(ExitCode.FINE)
    atomic_write(path, text)
    common.console.line(f"Saved {table.name} again with semicolons: {count}, none changed.")
    common.console.next("check")
    return int(ExitCode.FINE)
