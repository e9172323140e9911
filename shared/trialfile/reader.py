"""From the bytes of ``trial.toml`` to a `Trial` and every problem in it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from copy import deepcopy
from dataclasses import replace
from pathlib import Path
from typing import Any

from weldtrial.shared.adopted import is_adopted, read_adopted
from weldtrial.shared.earlier import following
from weldtrial.shared.problems import Problem, ProblemsFound, SealBroken
from weldtrial.shared.sealfile import read_seal
from weldtrial.shared.toml_lines import key_lines
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile.checks import Parts, check_together
from weldtrial.shared.trialfile.claims import read_claims
from weldtrial.shared.trialfile.factors import read_factors
from weldtrial.shared.trialfile.faults import Faults
from weldtrial.shared.trialfile.follows import read_follows
from weldtrial.shared.trialfile.gauge import (
    check_gauge,
    check_no_gauge,
    is_gauge_file,
    read_gauge,
)
from weldtrial.shared.trialfile.looks import read_looks
from weldtrial.shared.trialfile.parts import (
    read_blind,
    read_budget,
    read_design,
    read_fair,
    read_goal,
    read_held,
    read_joint,
    read_limits,
    read_order,
    read_rules,
)
from weldtrial.shared.trialfile.prices import read_prices
from weldtrial.shared.trialfile.responses import read_responses
from weldtrial.shared.trialfile.shape import Plain, check_shape
from weldtrial.shared.trialfile.toml_trouble import toml_problem

LARGEST = 1_000_000
"""Largest trial file, in bytes: a real one has some five thousand."""


def load_trial(path: Path) -> Trial:
    """Return the trial in a trial file.

    Parameters
    ----------
    path
        The ``trial.toml`` itself, not its folder.

    Raises
    ------
    ProblemsFound
        With all problems, when anything in the file has to be mended.
    """
    trial, problems = read_trial(path)
    if trial is None:
        raise ProblemsFound(problem for problem in problems if not problem.warning)
    return trial


def read_trial(path: Path) -> tuple[Trial | None, tuple[Problem, ...]]:
    """Return the trial in a trial file and everything that is wrong with it.

    Parameters
    ----------
    path
        The ``trial.toml`` itself, not its folder.

    Returns
    -------
    trial
        None when anything has to be mended.
    problems
        All of them, in the order of the file; those with ``warning`` set need no mending.
    """
    try:
        if path.stat().st_size > LARGEST:
            words = f"the file is larger than {LARGEST:,} bytes. Is it a trial file?"
            return None, (Problem(words, file=path.name),)
        data = path.read_bytes()
    except OSError as error:
        reason = (error.strerror or "it cannot be opened").lower()
        return None, (Problem(f"cannot be read: {reason}.", file=path.name),)
    if is_adopted(data):
        return read_adopted(path, data)
    trial, problems = parse_trial(data, path.name)
    if trial is not None and trial.follows is not None:
        with_earlier, found = following(path.parent, trial)
        problems = (*problems, *found)
        trial = None if found else with_earlier
    if trial is not None and trial.design.free:
        trial = replace(trial, chosen=_sealed_design(path))
    return trial, problems


def _sealed_design(path: Path) -> Mapping[str, Any] | None:
    """Return the listed design that the folder was sealed with, None where there is none.

    A ``seal.json`` that cannot be read is the business of whoever compares with it.
    """
    try:
        sealed = read_seal(path.parent)
    except SealBroken:
        return None
    design = None if sealed is None else sealed.design
    return design if isinstance(design, dict) and "listed" in design else None


def parse_trial(data: bytes, file: str = "trial.toml") -> tuple[Trial | None, tuple[Problem, ...]]:
    """Return the trial in the bytes of a trial file, and its problems, as `read_trial` does."""
    text = _decoded(data, file)
    if isinstance(text, Problem):
        return None, (text,)
    try:
        parsed = tomllib.loads(text)
    except RecursionError:
        return None, (Problem("brackets are nested too deeply. Remove some.", file=file),)
    except ValueError as error:
        return None, (toml_problem(text, str(error), file),)
    faults = Faults(key_lines(text), file)
    trial = _trial(parsed, faults)
    return (None if faults.broken else trial), faults.in_order()


def reread_trial(
    parsed: Mapping[str, Any], lines: Mapping[str, int], file: str = "trial.toml"
) -> tuple[Trial | None, tuple[Problem, ...]]:
    """Return the trial in an already parsed file that was changed, and its problems.

    Parameters
    ----------
    parsed
        Such as `Trial.source` with a value changed; it is not altered.
    lines
        Line of each dotted key, such as `Trial.lines`.
    """
    faults = Faults(dict(lines), file)
    trial = _trial(deepcopy(dict(parsed)), faults)
    return (None if faults.broken else trial), faults.in_order()


def _decoded(data: bytes, file: str) -> str | Problem:
    """Return the text with line ends LF and without a byte order mark."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return Problem("the file is saved as UTF-16. Save it as UTF-8.", file=file)
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        return Problem(
            "this line holds a sign that is not UTF-8 text. Save the file as UTF-8.",
            file=file,
            line=line,
        )
    return text.replace("\r\n", "\n")


def _trial(parsed: dict[str, Any], faults: Faults) -> Trial:
    if is_gauge_file(parsed):
        faults.meant.add("factor")  # nothing is changed in a gauge study, and none is missed
    raw = check_shape(parsed, faults)
    head: Plain = raw["trial"]
    purpose, system = head.get("purpose", "compare"), head.get("units", "metric")
    factors = read_factors(raw["factor"], system, faults)
    responses = read_responses(raw["response"], purpose, system, faults)
    goal = read_goal(raw["goal"])
    complete = (len(factors), len(responses)) == (len(raw["factor"]), len(raw["response"]))
    trial = Trial(
        title=head.get("title", ""),
        question=head.get("question", ""),
        owner=head.get("owner", ""),
        welder=head.get("welder", ""),
        purpose=purpose,
        units=system,
        factors=factors,
        responses=responses,
        fair=read_fair(raw["fair"]),
        joint=read_joint(raw["joint"], faults),
        held=read_held(raw["held"], faults),
        claims=read_claims(raw["claim"], factors, responses, faults, complete=complete),
        design=read_design(raw["design"], purpose, factors, goal),
        budget=read_budget(raw["budget"], faults),
        order=read_order(raw["order"]),
        blind=read_blind(raw["blind"]),
        rules=read_rules(raw["rules"]),
        nuisance=raw["nuisance"],
        limits=read_limits(raw["limit_on_settings"]),
        goal=goal,
        looks=read_looks(raw["looks"], faults),
        gauge=read_gauge(raw["gauge"], faults),
        follows=read_follows(raw["follows"], faults),
        prices=read_prices(raw["prices"], factors, faults),
        source=parsed,
        lines=dict(faults.lines),
    )
    if purpose == "gauge":
        check_gauge(trial, raw, faults)
        return trial
    check_no_gauge(trial, raw, faults)
    check_together(Parts(trial, raw, complete), faults)
    return trial
