"""What a rule of fairness makes equal, on the screen of ``plan``, in JSON and in the report."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from weldtrial.shared.fair import OWN, SAME
from weldtrial.shared.rounding import brief

if TYPE_CHECKING:
    from weldtrial.cli.console import Console
    from weldtrial.cli.plan_figures import PlanFigures
    from weldtrial.doe.assess import Assessment
    from weldtrial.doe.fairness import Pair, Welded
    from weldtrial.shared.trial import FairRule, Trial

COLUMNS = {
    "voltage": ("V", "V"),
    "wire_feed": ("wire", "m/min"),
    "travel": ("travel", "mm/min"),
    "current": ("about", "A"),
    "arc_energy": ("arc", "kJ/mm"),
    "deposit": ("bead", "mm²"),
    "leg": ("leg", "mm"),
}
NOTES = (
    "Apart: the gas beside the reference, percent. Outside: of the usual windows, so the transfer "
    "is not known. Arc energy U·I·60/(1000·v), ISO/TR 18491 (read second-hand); heat input is one "
    "factor times it for every gas. Current by the burn-off law, within about 20 %: the law knows "
    "no gas, so log what your set draws. Bead: wire feed over travel, 0.95 of it taken as laid "
    "down under every gas; CO2 usually spatters more, 1 to 6 % of the bead (from memory). Leg of "
    "an equal-leg fillet, a tenth convex. More:  weldtrial help fairness"
)


def rule_words(rule: FairRule) -> str:
    """Return a rule of fairness as it is said."""
    from weldtrial.doe import fair_words

    return fair_words.RULES[rule]


def show_fair(console: Console, figures: PlanFigures) -> None:
    """Show, in a few lines, what is equal between the gases and what is not."""
    from weldtrial.doe import fair_words

    found = figures.assessment.fair
    if found is None or figures.trial.fair.rule is None:
        return
    console.heading(f"Fair here means {fair_words.RULES[figures.trial.fair.rule]}")
    _lines(console, figures)
    if len(found.pairs) > 1:
        console.line("  Cell by cell:  weldtrial plan --fair")


def _lines(console: Console, figures: PlanFigures) -> None:
    from weldtrial.doe import fair_words

    found, trial = figures.assessment.fair, figures.trial
    if found is None or trial.fair.rule is None:
        return
    console.line(f"  It answers: {fair_words.ANSWERS[trial.fair.rule]}.", hang=4)
    console.line(
        f"  Equal: {fair_words.equal_words(found) or 'nothing that can be worked out'}.", hang=4
    )
    for words in fair_words.different_words(found):
        console.line(f"  Differs: {words}.", hang=4)
    for words in found.taken:
        console.line(f"  {words}", hang=4)
    for words in figures.assessment.fair_warnings:
        console.line(f"  ! {words}", hang=4)


def both_words(figures: PlanFigures) -> str:
    """Return how the two readings of fair are compared."""
    reference = figures.compared.reference
    control = (
        f"{reference} is welded alike in both, so its coupons count in each"
        if figures.shape.shared
        else f"{reference} is welded at both of its settings"
    )
    return (
        f"The gap is judged twice, at the own and at the same setting: {control}. Both intervals "
        "hold at once, 95 times in 100 (Dunnett 1955), and the figures, of one reading, allow for "
        "it. What survives both is only what both show."
    )


def show_fair_whole(console: Console, figures: PlanFigures) -> None:
    """Show the same with every cell: ``weldtrial plan --fair``."""
    from weldtrial.doe import fair_words

    found, rule = figures.assessment.fair, figures.trial.fair.rule
    if rule is None:
        console.line(
            "The file names no rule of fairness, so there is nothing to lay side by side. Add "
            '[fair] with  rule = "..." ; the rules:  weldtrial help fairness'
        )
        return
    if found is None:
        console.line(
            f'rule = "{rule}", but no gas is compared whose volts, wire feed or travel the file '
            "gives, so there is nothing to lay side by side."
        )
        return
    console.line(f"Fair here means {fair_words.RULES[rule]}", style="bold")
    _lines(console, figures)
    console.line()
    known = [
        name
        for name in COLUMNS
        if any(name in side.values for pair in found.pairs for side in (pair.one, pair.reference))
        or any(level_and_name[1] == name for level_and_name in found.differs)
    ]
    several = len({tuple(pair.at.items()) for pair in found.pairs}) > 1
    heads = ["cell"] if several else []
    heads += ["gas", *(_head(name, figures.trial) for name in known), "transfer"]
    rows = [
        row for pair in found.pairs for row in _rows(figures.trial, pair, known, several=several)
    ]
    console.table(heads, rows)
    console.line()
    console.note(NOTES)
    console.next("plan", "for the whole plan")


def _unit(name: str, trial: Trial) -> str:
    """Return the unit a quantity is shown in: the file's own for what is dialled."""
    if name in ("voltage", "wire_feed", "travel"):
        named = {one.name: one.unit for one in trial.factors if one.unit}
        named |= {one.name: one.unit for one in trial.held}
        key = "travel_speed" if name == "travel" and "travel" not in named else name
        return named.get(key, COLUMNS[name][1])
    us = {"kJ/mm": "kJ/in", "mm": "in", "mm²": "in²"} if trial.units == "us" else {}
    return us.get(COLUMNS[name][1], COLUMNS[name][1])


def _head(name: str, trial: Trial) -> str:
    return "V" if name == "voltage" else f"{COLUMNS[name][0]} {_unit(name, trial)}"


def _rows(trial: Trial, pair: Pair, known: list[str], *, several: bool) -> Iterator[list[str]]:
    from weldtrial.doe import fair_words

    cell = ", ".join(
        lvl if lvl in (OWN, SAME) else f"{name} {trial.factor(name).said(lvl)}"
        for name, lvl in pair.at.items()
    )
    for place, side in enumerate((pair.reference, pair.one)):
        values = [_value(trial, side, name) for name in known]
        lead = [cell if place == 0 else ""] if several else []
        yield [*lead, side.level, *values, " or ".join(side.modes) or "outside"]
    lead = [""] if several else []
    percent = [
        f"{fair_words.signed(pair.percent[n])} %" if n in pair.percent else "" for n in known
    ]
    yield [*lead, "apart", *percent, ""]


def _value(trial: Trial, side: Welded, name: str) -> str:
    from weldtrial.shared.units import convert

    if name not in side.values:
        return ""
    unit = _unit(name, trial)
    value = side.values[name]
    if unit != COLUMNS[name][1]:
        value = value / 25.4**2 if unit == "in²" else convert(value, COLUMNS[name][1], unit)
    return brief(value, 2 if name == "current" else 3)


def fair_json(assessment: Assessment) -> dict[str, Any] | None:
    """Return what is equal and what differs as plain values; None without a rule."""
    found = assessment.fair
    if found is None:
        return None
    return {
        "rule": found.rule,
        "factor": found.factor,
        "same": found.same,
        "differs": [
            {"level": level, "quantity": name, "low_percent": low, "high_percent": high}
            for (level, name), (low, high) in found.differs.items()
        ],
        "cells": [
            {
                "at": dict(pair.at),
                "gases": [
                    {"level": side.level, "iso14175": side.symbol or None, **side.values,
                     "transfer": side.modes}
                    for side in (pair.reference, pair.one)
                ],
                "percent": dict(pair.percent),
            }
            for pair in found.pairs
        ],
        "taken": found.taken,
        "warnings": assessment.fair_warnings,
    }  # fmt: skip


def fair_terms(trial: Trial) -> Iterator[tuple[str, str]]:
    """Return the rows of the report: what was equal between the gases, and what was not."""
    from weldtrial.doe import fair_words
    from weldtrial.doe.fair_promises import fair_warnings
    from weldtrial.doe.fairness import fairness
    from weldtrial.doe.layout import make_layout
    from weldtrial.shared.problems import WeldtrialError

    if trial.adopted is not None:
        return
    try:
        layout = make_layout(trial)
    except WeldtrialError:
        return
    found = fairness(trial, layout)
    if found is None:
        return
    yield "Equal by plan", fair_words.equal_words(found) or "nothing that can be worked out"
    if found.differs:
        yield "Differs by plan", ". ".join(fair_words.different_words(found))
    words = fair_warnings(trial, layout)
    if words:
        yield "Mind", " ".join(words)
