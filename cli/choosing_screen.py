"""What ``weldtrial plan --choose`` shows: the table, what to choose, and what that means."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from weldtrial.cli.choosing import Choice
from weldtrial.cli.choosing_words import (
    footnotes,
    gap_unit,
    gap_words,
    json_unit,
    limits_words,
    percent,
    rule_words,
    sentences,
)
from weldtrial.cli.plan_parts import p_cell
from weldtrial.cli.plan_tables import asks

if TYPE_CHECKING:
    from weldtrial.analysis.frontier import Plan
    from weldtrial.cli.console import Align, Console


def show_choice(console: Console, choice: Choice) -> None:
    """Show the plans worth choosing between and the chosen one."""
    trial = choice.figures.trial
    console.line(trial.title, style="bold")
    console.line(f"  decides  {trial.deciding.title} – {asks(choice.figures)}", hang=9)
    console.line(f"  limits   {limits_words(choice)}", hang=9)
    console.line(f"  choice   {rule_words(choice)}", hang=9)
    console.line()
    _table(console, choice)
    for words in footnotes(choice):
        console.note(f"  {words}", hang=2)
    console.line()
    for words in sentences(choice):
        console.line(words, hang=2)
    _lines(console, choice)


# ---------------------------------------------------------------------- the table


def _table(console: Console, choice: Choice) -> None:
    headers = _headers(choice)
    if console.plain:
        # A hyphen at a line's end stays in "set-ups" and goes from "averaged".
        joined = [one.replace("aver-\n", "aver").replace("-\n", "-") for one in headers]
        headers = [" ".join(one.split()) for one in joined]
    rows = [_row(choice, place) for place in range(len(choice.rows))]
    align: list[Align] = ["left", *["right"] * (len(headers) - 2), "left"]  # type: ignore[list-item]
    console.table(headers, rows, align)


def _headers(choice: Choice) -> list[str]:
    figures = choice.figures
    units = ["rounds", "set-\nups", "per\nset-up"] if figures.shape.by_setups else []
    unit = gap_unit(choice)
    currency = figures.trial.budget.currency
    return [
        "",
        *units,
        "coupons\nin all",
        *(["bench\nhours"] if _hours(choice) else []),
        *(["days"] if _days(choice) else []),
        *([f"cost,\n{currency}"] if _money(choice) else []),
        f"gap\nseen,\n{unit}",
        "chance",
        *(["aver-\naged"] if choice.averaged else []),
        "least\np",
        "",
    ]


def _hours(choice: Choice) -> bool:
    return choice.found.own.row.hours is not None


def _days(choice: Choice) -> bool:
    return choice.found.own.days is not None


def _money(choice: Choice) -> bool:
    return choice.found.own.cost is not None


def _row(choice: Choice, place: int) -> list[str]:
    plan, found = choice.rows[place], choice.found
    row = plan.row
    own = plan is found.own
    chosen = is_chosen(choice, plan)
    cells = ["▸" if own else "→" if chosen else ""]
    if choice.figures.shape.by_setups:
        cells += [str(row.rounds), str(row.set_ups), str(row.per_setup)]
    cells.append(str(row.total))
    if _hours(choice):
        cells.append(f"{row.hours:.1f}")
    if _days(choice):
        cells.append(str(plan.days))
    if _money(choice):
        cells.append(f"{plan.cost:.0f}")
    cells += [gap_words(choice, row.gap), percent(row.chance, found.target)]
    if choice.averaged:
        cells.append(percent(choice.averaged[place]))
    return [*cells, p_cell(row.smallest_p), _remark(choice, plan)]


def is_chosen(choice: Choice, plan: Plan) -> bool:
    """Whether a plan is the chosen one."""
    chosen = choice.found.chosen
    return chosen is not None and plan.shape == chosen.shape


def _remark(choice: Choice, plan: Plan) -> str:
    found = choice.found
    said = [plan.row.remark] if plan.row.remark else []
    marks = []
    if plan is found.own:
        marks.append("your file")
        if not found.own_within:
            said.append("over")
    if is_chosen(choice, plan):
        marks.append("chosen")
    return " ".join([", ".join(said), f"← {', '.join(marks)}" if marks else ""]).strip()


def _lines(console: Console, choice: Choice) -> None:
    if choice.lines is None or choice.found.own.shape == getattr(choice.found.chosen, "shape", 0):
        return
    console.heading("To choose it, put in trial.toml (in place of the lines of those names)")
    for line in choice.lines.text():
        console.line(f"  {line}")
    for key in choice.lines.take_out:
        section, name = key.split(".")
        console.line(f"  and take out  {name}  under [{section}]: it does not fit this plan.")


# ---------------------------------------------------------------------- JSON


def choice_json(choice: Choice) -> dict[str, Any]:
    """Return the choice as plain values; the keys are documented in ``weldtrial help json``."""
    found, figures = choice.found, choice.figures
    averaged = dict(zip(map(id, choice.rows), choice.averaged, strict=False))

    def plain(plan: Plan | None) -> dict[str, Any] | None:
        if plan is None:
            return None
        row = asdict(plan.row)
        row.pop("tried")
        return {
            **row,
            "replicates": plan.shape.replicates,
            "cost": plan.cost,
            "days": plan.days,
            "averaged": averaged.get(id(plan)),
        }

    return {
        "trial": figures.trial.title,
        "choose": {
            "limits": {
                "hours": choice.wanted.hours,
                "cost": choice.wanted.cost,
                "coupons": choice.wanted.coupons,
                "changes": choice.wanted.changes,
            },
            "by": "money" if choice.by_money else "hours",
            "wanted": found.target,
            "currency": figures.trial.budget.currency or None,
            "unit": json_unit(choice),
            "plans": [plain(one) for one in found.plans],
            "own": plain(found.own),
            "own_within": found.own_within,
            "beaten_by": plain(found.beaten_by),
            "chosen": plain(found.chosen),
            "reached": found.reached,
            "few": plain(found.few),
            "ceiling": found.ceiling,
            "looked_at": found.looked_at,
            "put": None if choice.lines is None else choice.lines.put,
            "take_out": None if choice.lines is None else choice.lines.take_out,
            "words": sentences(choice),
        },
    }
