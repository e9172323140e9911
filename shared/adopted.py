"""Trials adopted from somebody's data: the question from ``[adopted]``, the rest from the file."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

from weldtrial.shared.adopted_checks import (
    FILE,
    column_problems,
    factor_cell_problems,
    shape_problems,
)
from weldtrial.shared.adopted_kinds import cell_problems, counted_problems, kind_of
from weldtrial.shared.columns import (
    constant_within,
    factor_of,
    level_name,
    number_blocks,
    number_setups,
)
from weldtrial.shared.data_file import MISSING, DataFile, read_data
from weldtrial.shared.factors import Factor
from weldtrial.shared.plan import Plan, Run
from weldtrial.shared.problems import Problem
from weldtrial.shared.readings import parse_reading
from weldtrial.shared.record import Coupon, Reading, Record
from weldtrial.shared.responses import Ask, Better, Margin, Response
from weldtrial.shared.terms import parse_term
from weldtrial.shared.trial import Adopted, Design, Model, Trial
from weldtrial.shared.units import UnknownUnit, canonical

_SECTION = re.compile(rb"^[ \t]*\[[ \t]*adopted[ \t]*\][ \t]*(#.*)?\r?$", re.MULTILINE)


def is_adopted(data: bytes) -> bool:
    """Whether a trial file is that of an adopted folder."""
    return _SECTION.search(data) is not None


def read_adopted(path: Path, data: bytes) -> tuple[Trial | None, tuple[Problem, ...]]:
    """Return the trial of an adopted folder and every problem, as `read_trial` does.

    Parameters
    ----------
    path
        The ``trial.toml``; the data file lies beside it.
    data
        Its bytes.
    """
    try:
        parsed = tomllib.loads(data.decode("utf-8-sig"))
    except ValueError as error:
        return None, (Problem(f"cannot be read as TOML: {error}.", file=FILE),)
    table = parsed.get("adopted")
    problems = shape_problems(parsed, table)
    if problems or not isinstance(table, dict):
        return None, tuple(problems)
    try:
        raw = (path.parent / table["file"]).read_bytes()
    except OSError:
        words = f"the data file {table['file']} is missing. Put it back beside trial.toml."
        return None, (Problem(words, file=FILE, column="adopted.file"),)
    found = read_data(raw, table["file"], table.get("decimal", "."))
    trial, problems = make_trial(parsed, found)
    changed = hashlib.sha256(raw).hexdigest() != table["sha256"]
    if changed and trial is not None:
        words = "was changed since it was adopted; what is analysed is the file as it is now."
        problems.append(Problem(words, file=table["file"], warning=True))
    return (None if any(not p.warning for p in problems) else trial), tuple(problems)


def make_trial(parsed: Mapping[str, Any], data: DataFile) -> tuple[Trial | None, list[Problem]]:
    """Return the trial that ``[adopted]`` and its data describe, and every problem.

    Parameters
    ----------
    parsed
        A trial file as plain values.
    data
        The cells of the data file.
    """
    table = parsed["adopted"]
    problems = [*data.problems, *column_problems(table, data)]
    if problems:
        return None, problems
    factors = _factors(table, data, problems)
    responses = _responses(table, data, problems)
    terms = tuple(table.get("terms", ()))
    for term in terms:
        try:
            parse_term(term, factors)
        except ValueError as error:
            problems.append(Problem(f"{error}.", column="--term", value=term))
    model = table.get("model", "two-factor")
    if model not in get_args(Model):
        problems.append(Problem(f"'{model}' is not a model: {', '.join(get_args(Model))}."))
    if problems:
        return None, problems
    head = parsed.get("trial", {})
    trial = Trial(
        title=str(head.get("title", data.name)),
        question=str(head.get("question", "")),
        owner=str(head.get("owner", "")),
        factors=factors,
        responses=responses,
        design=Design(model=model, terms=terms),
        adopted=Adopted(
            file=table["file"],
            sha256=table["sha256"],
            rows=len(data.rows),
            setup=table.get("setup", ""),
            block=table.get("block", ""),
            coupon=table.get("coupon", ""),
            decimal="," if table.get("decimal") == "," else ".",
            coded=table.get("coded", False),
        ),
        source=dict(parsed),
    )
    return trial, problems


def _values(name: str, table: Mapping[str, Any], data: DataFile) -> list[str | float]:
    cells = [row[name] for row in data.rows]
    numbers = [data.number(cell) for cell in cells]
    if any(number is None for number in numbers):
        return list(cells)
    return [number for number in numbers if number is not None]


def _factors(
    table: Mapping[str, Any], data: DataFile, problems: list[Problem]
) -> tuple[Factor, ...]:
    values = {name: _values(name, table, data) for name in table["factors"]}
    levels = {name: [level_name(v) for v in column] for name, column in values.items()}
    hard = constant_within(levels, setups_of(table, data))
    factors = []
    for name, column in values.items():
        category = name in table.get("categories", ())
        control = table.get("reference", {}).get(name)
        if control is not None and not category and not isinstance(column[0], str):
            words = f"{name} is numbers, and a reference is one of several names. To compare its"
            words += f" levels as names, say  --category {name}  instead of --factor."
            problems.append(Problem(words, column="--reference", value=str(control)))
        wrong = factor_cell_problems(name, data, category=category)
        problems += wrong
        if wrong:
            continue
        if len(set(levels[name])) < 2:
            words = f"has one level, {levels[name][0]}, so there is nothing to compare."
            problems.append(Problem(words, file=data.name, column=name))
            continue
        try:
            factors.append(
                factor_of(
                    name,
                    column,
                    category=category,
                    as_is=table.get("coded", False),
                    hard=name in hard,
                    control=control,
                    unit=_unit(name, table, problems),
                )
            )
        except ValueError as error:
            problems.append(Problem(f"{error}.", column="--reference"))
    return tuple(factors)


def _responses(
    table: Mapping[str, Any], data: DataFile, problems: list[Problem]
) -> tuple[Response, ...]:
    found = []
    for rank, name in enumerate(table["responses"], 1):
        unit = _unit(name, table, problems)
        kind, scale = kind_of(name, table, problems)
        better, ask = table.get("better", {}).get(name, "higher"), table.get("ask", {}).get(name)
        for key, value, allowed in (("better", better, Better), ("ask", ask, Ask)):
            if value is not None and value not in get_args(allowed):
                words = f"'{value}' is not one of {', '.join(get_args(allowed))}."
                problems.append(Problem(words, column=f"--{key}", value=str(value)))
        given = table.get("margin", {}).get(name)
        margin = _margin(given, problems)
        if ask in ("no-worse", "equal-enough") and given is None and kind != "graded":
            words = f"{ask} needs the change that would matter:  --margin {name}=VALUE"
            problems.append(Problem(words, column="--ask", value=ask))
        one = Response(
            name, unit, kind=kind, scale=scale, better=better, rank=rank, margin=margin,
            ask=ask or "difference",
        )  # fmt: skip
        problems += counted_problems(one)
        problems += cell_problems(one, data)
        found.append(one)
    return tuple(found)


def _unit(name: str, table: Mapping[str, Any], problems: list[Problem]) -> str:
    unit = str(table.get("unit", {}).get(name, "1"))
    try:
        return "1" if unit == "1" else canonical(unit)
    except UnknownUnit as error:
        problems.append(Problem(str(error), column="--unit", value=unit))
        return "1"


def _margin(given: object, problems: list[Problem]) -> Margin | None:
    if given is None:
        return None
    text = str(given).strip()
    try:
        value = float(text.rstrip("% "))
    except ValueError:
        value = 0.0
    if not 0 < value < 1e300:
        words = f"'{text}' is not a margin. Write a number above 0, or a share such as 5 %."
        problems.append(Problem(words, column="--margin", value=text))
        return None
    return Margin(value / 100, percent=True) if text.endswith("%") else Margin(value)


def setups_of(table: Mapping[str, Any], data: DataFile) -> list[int | None]:
    """Return the set-up number of every row."""
    blocks = [row[table["block"]] for row in data.rows] if table.get("block") else None
    setups = [row[table["setup"]] for row in data.rows] if table.get("setup") else None
    return number_setups(setups, blocks, len(data.rows))


def read_adopted_record(folder: Path, trial: Trial) -> Record:
    """Return the record of an adopted folder: one coupon a row, or a name.

    Raises
    ------
    OSError
        When the data file cannot be read.
    """
    adopted = trial.adopted
    assert adopted is not None
    data = read_data((folder / adopted.file).read_bytes(), adopted.file, adopted.decimal)
    return record_of(trial, data)


def record_of(trial: Trial, data: DataFile) -> Record:
    """Return the record of an adopted trial from the cells of its data file."""
    adopted = trial.adopted
    assert adopted is not None
    table = trial.source["adopted"]
    rounds = number_blocks(
        [row[adopted.block] for row in data.rows] if adopted.block else None, len(data.rows)
    )
    setups = setups_of(table, data)
    levels = {f.name: [level_name(v) for v in _values(f.name, table, data)] for f in trial.factors}
    coupons: dict[str, Coupon] = {}
    problems: list[Problem] = []
    for place, row in enumerate(data.rows):
        stamp = row[adopted.coupon] if adopted.coupon else f"R{place + 1}"
        readings = {
            r.name: (_reading(r, row[r.name], data, data.places[place]),) for r in trial.responses
        }
        mine = {name: column[place] for name, column in levels.items()}
        before = coupons.get(stamp)
        if before is None:
            coupons[stamp] = Coupon(
                stamp, "count", place + 1, rounds[place], setups[place], mine,
                {f.name: _setting(f, mine[f.name]) for f in trial.factors},
                welded=True, readings=readings,
            )  # fmt: skip
        elif (dict(before.levels), before.setup, before.round) != (
            mine,
            setups[place],
            rounds[place],
        ):
            words = f"coupon {stamp} has other levels, set-up or block here than in its first row."
            problems.append(
                Problem(words, file=data.name, row=data.places[place], column=adopted.coupon)
            )
        else:
            coupons[stamp] = _with(before, readings)
    return Record(
        tuple(coupons.values()), len(coupons), adopted=True, problems=(*data.problems, *problems)
    )


def _with(coupon: Coupon, more: Mapping[str, Sequence[Reading]]) -> Coupon:
    joined = {name: (*coupon.readings[name], *found) for name, found in more.items()}
    return replace(coupon, readings=joined)


def _reading(response: Response, cell: str, data: DataFile, row: int) -> Reading:
    if response.kind != "number" and cell not in MISSING:
        found = parse_reading(cell, response)
        if isinstance(found, Reading) and found.kind != "lost":
            return replace(found, row=row)
        return Reading("lost", text=cell, note="no reading in the file", row=row)
    number = None if cell in MISSING else data.number(cell)
    if number is None:
        return Reading("lost", text=cell, note="no reading in the file", row=row)
    return Reading("number", value=number, text=cell, row=row)


def _setting(factor: Factor, level: str) -> float | str:
    return level if factor.kind == "category" else factor.setting(level)


def adopted_plan(record: Record) -> Plan:
    """Return the coupons as a plan, for pages that show one; nothing was drawn."""
    return Plan(
        tuple(
            Run(c.run, c.round, c.setup, None, c.stamp, "count", c.levels, c.settings)
            for c in record.coupons
        )
    )
