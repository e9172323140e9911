"""The files that people fill in: laid out once, and never over something that was typed."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from weldtrial.shared.folder import Folder, atomic_write
from weldtrial.shared.plan import Plan
from weldtrial.shared.trial import Trial
from weldtrial.shared.units import slug

READING_COLUMNS = ("stamp", "reading", "failed_at", "reader", "read_on", "note")
GUESS = "guess"
LAID_OUT = ("run", "stamp", "setup")
"""Columns of the weld log that are filled in beforehand."""
_BEYOND = "beyond the header "
MEASURED_COLUMNS = ("amps", "arc_s", "bead_mm", "throat_mm", "plate_temp_C")


@dataclass(frozen=True, slots=True)
class FilledIn:
    """How much people have filled in already.

    Attributes
    ----------
    readings
        Rows of the readings files that hold a reading.
    welded
        Rows of the weld log that hold anything a welder wrote.
    """

    readings: int = 0
    welded: int = 0

    @property
    def anything(self) -> bool:
        """Whether there is a result of any kind."""
        return self.readings > 0 or self.welded > 0


def seen_columns(trial: Trial) -> tuple[str, ...]:
    """Return the weld log's columns of settings as seen, such as ``voltage_seen_V``.

    One for every numeric factor and every held setting, in the order of the trial file.
    """
    numeric = [(one.name, one.unit) for one in trial.factors if one.kind == "numeric"]
    held = [(one.name, one.unit) for one in trial.held]
    columns = []
    for name, unit in numeric + held:
        ending = slug(unit) if unit else ""
        columns.append(f"{name}_seen_{ending}" if ending else f"{name}_seen")
    return tuple(dict.fromkeys(columns))


def weld_log_columns(trial: Trial) -> tuple[str, ...]:
    """Return the header of ``weld_log.csv``."""
    filled = (*LAID_OUT, "started", *seen_columns(trial), *MEASURED_COLUMNS)
    return (*filled, "welder", "replaces", "went_wrong")


def blank_weld_log(trial: Trial, plan: Plan) -> str:
    """Return the weld log before the first arc: run, stamp and set-up; a spare has its stamp."""
    rows = (
        {
            "run": "" if run.run is None else str(run.run),
            "stamp": run.stamp,
            "setup": "" if run.setup is None else str(run.setup),
        }
        for run in plan.runs
    )
    return _text(weld_log_columns(trial), rows)


def blank_readings(sections: int, plan: Plan, *, guess: bool = False) -> str:
    """Return a readings file before the first reading.

    `sections` rows for each stamp, sorted by stamp so that the order tells nothing of the
    gas; warm-ups are never read.  `guess` adds the column in which a blind reader says what it
    might be.
    """
    columns = (*READING_COLUMNS, GUESS) if guess else READING_COLUMNS
    stamps = sorted(run.stamp for run in plan.runs if run.role != "warm-up")
    return _text(columns, ({"stamp": one} for one in stamps for _ in range(sections)))


def lay_out(
    folder: Path, trial: Trial, plan: Plan, *, only_missing: bool = False
) -> tuple[Path, ...]:
    """Write ``weld_log.csv`` and ``readings/*.csv`` where they hold nothing typed.

    Parameters
    ----------
    only_missing
        Leave every file that exists, blank or not.

    Returns
    -------
    tuple of Path
        The files that were written: those missing, and those without a single entry whose
        layout is not the one wanted now.

    Raises
    ------
    WeldtrialError
        When a file cannot be written.
    """
    files = Folder(folder)
    wanted = {files.weld_log: blank_weld_log(trial, plan)}
    for response in trial.to_read:
        wanted[files.readings(response.name)] = blank_readings(
            response.sections, plan, guess=trial.blind.guess and response.name in trial.blind.who
        )
    written = []
    for path, text in wanted.items():
        if only_missing and path.exists():
            continue
        if _may_write(path, text, ignore=LAID_OUT if path == files.weld_log else ("stamp",)):
            atomic_write(path, text)
            written.append(path)
    return tuple(written)


def filled_in(folder: Path) -> FilledIn:
    """Count what people have filled in; a file that cannot be made out counts by its rows."""
    files = Folder(folder)
    readings = 0
    for path in sorted(files.readings_folder.glob("*.csv")):
        rows = list(_rows(path))
        if any(_is_reading(name) for row in rows for name in row):
            others = {name for row in rows for name in row if not _is_reading(name)}
            readings += _entries(rows, ignore=tuple(name.strip().casefold() for name in others))
        else:
            readings += _entries(rows, ignore=("stamp",))
    return FilledIn(readings, _entries(_rows(files.weld_log), ignore=LAID_OUT))


def _is_reading(name: str) -> bool:
    """Tell whether a column holds readings; one beyond the header may be a shifted reading."""
    return name.strip().casefold().startswith(("reading", _BEYOND))


def _entries(rows: Iterable[Mapping[str, str]], ignore: tuple[str, ...]) -> int:
    """Count the rows with something in a column other than those laid out."""
    return sum(
        any(cell.strip() for name, cell in row.items() if name.strip().casefold() not in ignore)
        for row in rows
    )


def _may_write(path: Path, text: str, ignore: tuple[str, ...]) -> bool:
    if not path.exists():
        return True
    if _entries(_rows(path), ignore):
        return False
    return path.read_bytes() != text.encode("utf-8")


def _rows(path: Path) -> Iterator[dict[str, str]]:
    """Yield rows by column, however a spreadsheet saved them; never fails on their content."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return
    wide = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    text = data.decode("utf-16" if wide else "utf-8-sig", errors="replace").replace("\0", " ")
    header = text.partition("\n")[0]
    if text.strip() and "stamp" not in header.casefold():
        # Not a file of ours, so nobody knows what it holds: it counts as filled in.
        yield {"": header or "?"}
        return
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=header.count))
    try:
        names = [
            f"{name} {at}" if name in found[:at] else name
            for found in [next(lines)]
            for at, name in enumerate(found)
        ]
        for cells in lines:
            extra = [f"{_BEYOND}{number}" for number in range(len(names), len(cells))]
            filled = cells + [""] * (len(names) - len(cells))
            yield dict(zip([*names, *extra], filled, strict=True))
    except StopIteration:
        return
    except csv.Error:
        # Something is there that cannot be taken apart; it must not be written over.
        yield {"": "?"}


def _text(columns: tuple[str, ...], rows: Iterable[Mapping[str, str]]) -> str:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
