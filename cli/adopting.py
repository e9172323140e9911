"""Composing the folder of an adopted trial.  Nothing here prints or asks."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from weldtrial.cli.new_folder import TRIAL_FILE, make_folder
from weldtrial.shared.adopted import make_trial
from weldtrial.shared.data_file import read_data
from weldtrial.shared.folder import atomic_write
from weldtrial.shared.problems import Problem, ProblemsFound, WrongUsage
from weldtrial.shared.trial import Trial

DATA_FILE = "data.csv"


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the command line says of the data.

    Factors keep the order they are named in; where `factors` and `categories` are both used they
    take the order of the file.

    Attributes
    ----------
    tables
        For ``unit``, ``margin``, ``better``, ``ask`` and ``reference``: what was said of a column.
    """

    factors: tuple[str, ...]
    categories: tuple[str, ...]
    responses: tuple[str, ...]
    setup: str
    block: str
    coupon: str
    decimal: str
    model: str
    terms: tuple[str, ...]
    coded: bool
    tables: Mapping[str, Mapping[str, str]]


def pairs(option: str, said: Sequence[str]) -> dict[str, str]:
    """Return what ``COL=VALUE`` options say, by column.

    Raises
    ------
    WrongUsage
        When one of them has no = sign, or a column is named twice.
    """
    found: dict[str, str] = {}
    for text in said:
        name, sign, value = text.partition("=")
        if not sign or not name.strip() or not value.strip():
            raise WrongUsage(f"--{option} {text} is not of the form  COL=VALUE.")
        if name.strip() in found:
            raise WrongUsage(f"--{option} is said twice of column '{name.strip()}'.")
        found[name.strip()] = value.strip()
    return found


def adopt(source: Path, folder: Path, wishes: Wishes) -> Trial:
    """Make the folder: the data as they are, and a trial file that says what they mean.

    Raises
    ------
    ProblemsFound
        With every problem of the data and the wishes; nothing is written then.
    WrongUsage
        When the data file cannot be read or the folder cannot be made.
    """
    try:
        data = source.read_bytes()
    except OSError as error:
        reason = (error.strerror or "it cannot be opened").lower()
        raise WrongUsage(f"'{source}' cannot be read: {reason}.") from None
    cells = read_data(data, source.name, wishes.decimal)
    parsed = _parsed(source, data, wishes, cells.header)
    trial, problems = make_trial(parsed, cells)
    if trial is None:
        raise ProblemsFound(problems)
    parsed["adopted"]["rows"] = len(cells.rows)
    make_folder(folder)
    (folder / DATA_FILE).write_bytes(data)
    atomic_write(folder / TRIAL_FILE, as_toml(parsed))
    return trial


def _parsed(source: Path, data: bytes, wishes: Wishes, header: tuple[str, ...]) -> dict[str, Any]:
    factors = list(dict.fromkeys([*wishes.factors, *wishes.categories]))
    if wishes.factors and wishes.categories and set(factors) <= set(header):
        # Two options were used, so the order they were said in is lost; the file has one.
        factors.sort(key=header.index)
    chosen = {
        "file": DATA_FILE,
        "sha256": hashlib.sha256(data).hexdigest(),
        "rows": 0,
        "factors": factors,
        "categories": list(wishes.categories),
        "responses": list(wishes.responses),
        "setup": wishes.setup,
        "block": wishes.block,
        "coupon": wishes.coupon,
        "decimal": wishes.decimal,
        "coded": wishes.coded,
        "model": wishes.model,
        "terms": list(wishes.terms),
        **{name: dict(table) for name, table in wishes.tables.items()},
    }
    head = {"title": f"Data adopted from {source.name}"}
    return {"format": 1, "trial": head, "adopted": chosen}


def as_toml(parsed: Mapping[str, Any]) -> str:
    """Return the trial file of an adopted folder; every text is a TOML basic string."""
    table = parsed["adopted"]
    lines = [
        "# Data that were not planned here: no seal, and nobody knows the order of welding.",
        "# What each setting means:  weldtrial help adopt",
        f"format = {parsed['format']}",
        "",
        "[trial]",
        f"title = {_toml(parsed['trial']['title'])}",
        "",
        "[adopted]",
    ]
    lines += [f"{key} = {_toml(v)}" for key, v in table.items() if not isinstance(v, dict)]
    for key, inner in table.items():
        if isinstance(inner, dict) and inner:
            lines += ["", f"[adopted.{key}]"]
            lines += [f"{_toml(name)} = {_toml(value)}" for name, value in inner.items()]
    return "\n".join(lines) + "\n"


def _toml(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)


def no_two_of(wishes: Wishes) -> tuple[Problem, ...]:
    """Return what the wishes contradict before any data are read."""
    if not wishes.factors and not wishes.categories:
        return (Problem("No factor is named. Add  --factor COL  or  --category COL."),)
    if not wishes.responses:
        return (Problem("No response is named. Add  --response COL."),)
    return ()
