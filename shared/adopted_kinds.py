"""Columns of adopted data that are no numbers: pass or fail, and grades."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, get_args

from weldtrial.shared.data_file import MISSING, DataFile
from weldtrial.shared.problems import Problem
from weldtrial.shared.readings import parse_reading
from weldtrial.shared.responses import Response, ResponseKind

KINDS: Mapping[str, ResponseKind] = {kind: kind for kind in get_args(ResponseKind)}


def kind_of(
    name: str, table: Mapping[str, Any], problems: list[Problem]
) -> tuple[ResponseKind, tuple[str, ...]]:
    """Return what the cells of a column are, and its grades: a scale makes it graded."""
    said = table.get("scale", {}).get(name, "")
    scale = tuple(one.strip() for one in str(said).split(",") if one.strip())
    kind = str(table.get("kind", {}).get(name, "graded" if scale else "number"))
    if kind not in KINDS:
        words = f"'{kind}' is not one of {', '.join(KINDS)}."
        problems.append(Problem(words, column="--kind", value=kind))
        return "number", ()
    return KINDS[kind], scale


def counted_problems(response: Response) -> Iterator[Problem]:
    """Give what does not fit a column of passes or of grades."""
    name, margin = response.name, response.margin
    if response.kind == "graded" and len(set(response.scale)) < 3:
        words = f"{name} is graded and needs three grades or more, worst first, such as  "
        yield Problem(f"{words}--scale {name}=bad,fair,good", column="--scale")
    if response.kind != "graded" and response.scale:
        words = f"{name} is {response.kind}, so it has no scale."
        yield Problem(words, column="--scale", value=",".join(response.scale))
    if response.kind == "graded" and margin is not None:
        words = f"{name} is graded: it has no margin. Leave  --margin {name}=…  out."
        yield Problem(words, column="--margin")
    if response.kind == "graded" and (response.better == "lower" or response.ask != "difference"):
        words = f"{name} is graded, worst grade first: leave  --better  and  --ask  out for it."
        yield Problem(words, column="--better" if response.better == "lower" else "--ask")
    if response.kind == "pass-fail" and margin is not None and not margin.percent:
        words = (
            f'the margin of {name} is in points of the share that passes:  --margin "{name}=10 %"'
        )
        yield Problem(words, column="--margin")


def cell_problems(response: Response, data: DataFile) -> Iterator[Problem]:
    """Give the cells of a response that are no reading of its kind."""
    name = response.name
    for number, row in zip(data.places, data.rows, strict=True):
        cell = row[name]
        if cell in MISSING:
            continue
        if response.kind != "number":
            found = parse_reading(cell, response)
            if isinstance(found, Problem):
                yield Problem(found.words, file=data.name, row=number, column=name)
        elif data.number(cell) is None:
            words = f"'{cell}' is not a number. Mend it, or leave the cell empty."
            if cell.casefold() in ("pass", "fail"):
                words = f"'{cell}' is not a number. Say  --kind {name}=pass-fail"
            yield Problem(words, file=data.name, row=number, column=name)
