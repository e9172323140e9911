"""``plan.csv``: the drawn plan as a file, the same to the byte on any machine.

One row a coupon in welding order, spares last; UTF-8, commas, lines ended by LF, numbers in
their shortest decimal form.  The settings are those of the machine.  `Plan.draws` and
`Plan.restriction` are not kept in the file: drawing again from the seal gives them back.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import get_args

from weldtrial.shared.canonical import number_text
from weldtrial.shared.factors import CENTRE, Factor
from weldtrial.shared.plan import Plan, Role, Run
from weldtrial.shared.problems import Problem, ProblemsFound
from weldtrial.shared.trial import Trial
from weldtrial.shared.units import slug

FILE = "plan.csv"
FIXED_COLUMNS = ("run", "round", "setup", "place", "stamp", "role")
ROLES: tuple[Role, ...] = get_args(Role)


def factor_column(factor: Factor) -> str:
    """Return a factor's column: ``gas`` for a category, ``voltage_V`` for a numeric factor."""
    ending = slug(factor.unit) if factor.unit else ""
    return f"{factor.name}_{ending}" if ending else factor.name


def plan_columns(trial: Trial) -> tuple[str, ...]:
    """Return the header of ``plan.csv``."""
    return (*FIXED_COLUMNS, *(factor_column(factor) for factor in trial.factors))


def plan_to_csv(plan: Plan, trial: Trial) -> str:
    """Return the text of ``plan.csv``, line ends LF."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(plan_columns(trial))
    for run in plan.runs:
        fixed = (_count(run.run), _count(run.round), _count(run.setup), _count(run.place))
        settings = (_setting(run.settings.get(factor.name, "")) for factor in trial.factors)
        writer.writerow([*fixed, run.stamp, run.role, *settings])
    return out.getvalue()


def plan_rows(text: str) -> tuple[tuple[str, ...], ...]:
    """Return the cells of a ``plan.csv``, header included, for comparing two of them.

    A byte order mark, semicolons or tabs between cells, other line ends and blank lines, which
    a spreadsheet may have left, are read as if they were not there.

    Raises
    ------
    ProblemsFound
        When a quote is not closed.
    """
    text = text.removeprefix("\ufeff")
    header = text.partition("\n")[0]
    delimiter = max(",;\t", key=header.count)
    lines = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    rows: list[tuple[str, ...]] = []
    try:
        rows.extend(tuple(cell.strip() for cell in cells) for cells in lines if any(cells))
    except csv.Error as error:
        words = f"cannot be read as a table ({error}). {_PUT_BACK}"
        raise ProblemsFound([Problem(words, file=FILE, row=len(rows) + 1)]) from error
    return tuple(rows)


def plan_text(path: Path) -> str:
    """Return the text of a ``plan.csv`` with its line ends as they are.

    Raises
    ------
    ProblemsFound
        When it is missing, cannot be opened or is not UTF-8 text.
    """
    try:
        return path.read_bytes().decode("utf-8")
    except FileNotFoundError:
        words = "is missing. If the trial is sealed,  weldtrial seal  draws it again."
    except UnicodeDecodeError:
        words = f"is not UTF-8 text. {_PUT_BACK}"
    except OSError as error:
        words = f"cannot be read ({error.strerror or error}). See who may open it."
    raise ProblemsFound([Problem(words, file=FILE)])


def read_plan(path: Path, trial: Trial) -> Plan:
    """Read ``plan.csv``.

    Raises
    ------
    ProblemsFound
        With every cell that does not fit the trial, by row and column.
    """
    rows = plan_rows(plan_text(path))
    columns = plan_columns(trial)
    if not rows or rows[0] != columns:
        words = f"the header must read  {','.join(columns)}  for this trial. {_PUT_BACK}"
        raise ProblemsFound([Problem(words, file=FILE, row=1)])
    reader = _Reader(trial)
    runs = [reader.run(number, cells) for number, cells in enumerate(rows[1:], start=2)]
    if not runs:
        reader.say(1, None, "", f"there is no coupon below the header. {_PUT_BACK}")
    if reader.problems:
        raise ProblemsFound(reader.problems)
    return Plan(tuple(run for run in runs if run is not None))


_PUT_BACK = "plan.csv is never edited: delete it and  weldtrial seal  draws it again."


def _count(number: int | None) -> str:
    return "" if number is None else str(number)


def _setting(value: float | str) -> str:
    return value if isinstance(value, str) else number_text(value)


class _Reader:
    """Turns rows into runs, collecting what is wrong."""

    def __init__(self, trial: Trial) -> None:
        self.trial = trial
        self.problems: list[Problem] = []
        self.seen: dict[tuple[str, str], int] = {}

    def say(self, row: int, column: str | None, value: str, words: str) -> None:
        self.problems.append(Problem(words, file=FILE, row=row, column=column, value=value))

    def run(self, row: int, cells: Sequence[str]) -> Run | None:
        columns = plan_columns(self.trial)
        if len(cells) != len(columns):
            words = f"has {len(cells)} cells, the header has {len(columns)}. {_PUT_BACK}"
            self.say(row, None, "", words)
            return None
        named = dict(zip(columns, cells, strict=True))
        before = len(self.problems)
        role = self._role(row, named["role"])
        self._only_once(row, named)
        numbers = {name: self._whole(row, name, named[name], role) for name in FIXED_COLUMNS[:4]}
        settings = self._settings(row, named, role)
        levels = {name: self._level(row, name, settings) for name in settings}
        if role is None or len(self.problems) > before:
            return None
        return Run(stamp=named["stamp"], role=role, levels=levels, settings=settings, **numbers)

    def _role(self, row: int, text: str) -> Role | None:
        for role in ROLES:
            if text == role:
                return role
        self.say(row, "role", text, f"{text!r} is not one of {', '.join(ROLES)}. {_PUT_BACK}")
        return None

    def _only_once(self, row: int, named: Mapping[str, str]) -> None:
        if not named["stamp"]:
            self.say(row, "stamp", "", f"the stamp is missing. {_PUT_BACK}")
        for column in ("stamp", "run"):
            value = named[column]
            first = self.seen.setdefault((column, value), row) if value else row
            if first != row:
                words = f"{column} {value} stands on row {first} already. {_PUT_BACK}"
                self.say(row, column, value, words)

    def _whole(self, row: int, column: str, text: str, role: Role | None) -> int | None:
        if not text:
            if column == "run" and role != "spare":
                self.say(row, column, text, f"only a spare has no run. {_PUT_BACK}")
            return None
        if text.isascii() and text.isdigit() and 0 < len(text) < 7 and int(text) > 0:
            return int(text)
        self.say(row, column, text, f"{text!r} is not a whole number from 1. {_PUT_BACK}")
        return None

    def _settings(
        self, row: int, named: Mapping[str, str], role: Role | None
    ) -> dict[str, float | str]:
        found: dict[str, float | str] = {}
        for factor in self.trial.factors:
            column = factor_column(factor)
            text = named[column]
            if not text:
                if role in ("count", "confirm"):
                    self.say(row, column, text, f"the setting is missing. {_PUT_BACK}")
            elif factor.kind == "category":
                found[factor.name] = text
            else:
                number = _number(text)
                if number is None:
                    self.say(row, column, text, f"{text!r} is not a number. {_PUT_BACK}")
                else:
                    found[factor.name] = number
        return found

    def _level(self, row: int, name: str, settings: Mapping[str, float | str]) -> str:
        factor = self.trial.factor(name)
        value = settings[name]
        owner = str(settings.get(factor.slides_with or "", ""))
        if isinstance(value, str):
            planned: list[str] = list(factor.levels)
            level = next((level for level in factor.levels if level == value), None)
        else:
            known = owner if factor.slides_with else ""
            numbers = factor.settings.get(known, ())
            planned = [number_text(number) for number in numbers]
            level = factor.level_of(value, known) if numbers else None
            design = self.trial.design
            if level == CENTRE and level not in factor.levels and not design.free:
                level = CENTRE if design.centre_points else None
                planned += [number_text(factor.centre(known))] * bool(design.centre_points)
            elif level not in (*factor.levels, CENTRE) and not design.free:
                level = None
        if level is None:
            under = f" under {owner}" if owner else ""
            words = (
                f"{_setting(value)} is not a planned setting of {name}{under} "
                f"({', '.join(planned) or 'none'}). {_PUT_BACK}"
            )
            self.say(row, factor_column(factor), _setting(value), words)
        return level or ""


def _number(text: str) -> float | None:
    try:
        number = float(text)
    except ValueError:
        return None
    return number if math.isfinite(number) and "_" not in text else None
