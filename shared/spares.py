"""Spare coupons: which lost coupon each replaces, and whether it may."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from weldtrial.shared.log_line import LogLine
from weldtrial.shared.plan import Plan, Run
from weldtrial.shared.problems import Problem
from weldtrial.shared.stamps_written import nearest_stamp


def check_spares(lines: Mapping[str, LogLine], plan: Plan) -> tuple[Problem, ...]:
    """Return what is wrong with the column `replaces`, and with spares welded without it."""
    runs = plan.by_stamp()
    problems = []
    taken: dict[str, str] = {}
    for line in lines.values():
        run = runs[line.stamp]
        if not line.replaces:
            if run.role == "spare" and line.welded and not line.lost:
                words = (
                    f"{line.stamp} is a spare that was welded; write in 'replaces' the stamp of "
                    "the lost coupon."
                )
                problems.append(_at(line, words))
            continue
        words = _why_not(line, run, runs, lines, taken)
        if words:
            problems.append(_at(line, words))
            continue
        taken[line.replaces] = line.stamp
        lost = lines.get(line.replaces)
        if lost is None or not lost.went_wrong:
            words = f"{line.replaces} is lost, replaced by {line.stamp}; write why in went_wrong."
            at = _at(lost or line, words)
            problems.append(replace(at, column="went_wrong", value="", warning=True))
    return tuple(problems)


def replaced(lines: Mapping[str, LogLine], plan: Plan) -> dict[str, str]:
    """Return the lost coupon of each spare in use, by the spare's stamp; faulty ones left out."""
    runs = plan.by_stamp()
    found: dict[str, str] = {}
    for line in lines.values():
        taken = {lost: spare for spare, lost in found.items()}
        if line.replaces and not _why_not(line, runs[line.stamp], runs, lines, taken):
            found[line.stamp] = line.replaces
    return found


def _at(line: LogLine, words: str) -> Problem:
    return Problem(words, row=line.row, column="replaces", value=line.replaces)


def _why_not(
    line: LogLine,
    run: Run,
    runs: Mapping[str, Run],
    lines: Mapping[str, LogLine],
    taken: Mapping[str, str],
) -> str:
    """Say why a coupon may not replace another; empty when it may."""
    lost = runs.get(line.replaces)
    if run.role != "spare":
        spares = ", ".join(one.stamp for one in runs.values() if one.role == "spare")
        return f"{line.stamp} is no spare ({spares or 'there are none'}), so it replaces nothing."
    if lost is None:
        close = nearest_stamp(line.replaces, runs)
        hint = f" Nearest {close}." if close else ""
        return f"it replaces '{line.replaces}', which is not in this trial.{hint}"
    if lost.stamp == line.stamp:
        return f"{line.stamp} cannot replace itself: write the stamp of the lost coupon."
    if lost.role not in ("count", "confirm"):
        words = f"it replaces {lost.stamp}, which is a {lost.role}."
        return f"{words} Only a lost coupon that counts is replaced: write that one's stamp."
    other = taken.get(lost.stamp)
    if other is not None and not lines[other].lost:
        return f"{lost.stamp} is replaced by {other} already. One spare for one lost coupon."
    if line.setup is not None and lost.setup is not None and line.setup != lost.setup:
        return (
            f"spare {line.stamp} was welded on set-up {line.setup}, and {lost.stamp}, which it "
            f"replaces, belongs to set-up {lost.setup}. A spare stands in on the lost coupon's "
            "own set-up only; leave 'replaces' empty and write why in went_wrong, or mend the "
            "set-up's number."
        )
    return ""
