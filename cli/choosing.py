"""``weldtrial plan --choose``: the plans a budget can buy, the one to choose, and how to get it."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from weldtrial.cli.plan_figures import PlanFigures
from weldtrial.shared.orders import usual_limit
from weldtrial.shared.problems import NotEnough, NotYet, PlanRefused, WrongUsage
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.frontier import Costing, Frontier, Plan
    from weldtrial.analysis.shape import Shape
    from weldtrial.doe.bench import Prices

SHOWN = 12
"""Rows of the table on a screen."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What ``--choose`` was asked.

    Attributes
    ----------
    by
        ``hours``, ``money`` or None: hours where they are known.
    """

    chance: float
    by: str | None
    hours: float | None = None
    cost: float | None = None
    coupons: int | None = None
    changes: int | None = None


@dataclass(frozen=True, slots=True)
class Lines:
    """What to put in ``trial.toml`` so that it asks for a plan.

    Attributes
    ----------
    put
        Keys and values, by section: ``design``, ``budget``, ``order``.
    take_out
        Dotted keys to take out, since they would contradict.
    """

    put: Mapping[str, Mapping[str, int]]
    take_out: tuple[str, ...] = ()

    def text(self) -> list[str]:
        """Return the lines as they stand in the file."""
        found = []
        for section, values in self.put.items():
            found += [f"[{section}]", *(f"{key} = {value}" for key, value in values.items())]
        return found


@dataclass(frozen=True, slots=True)
class Choice:
    """Everything that ``--choose`` shows.

    Attributes
    ----------
    rows
        The plans to show, from the cheapest, the file's own and the chosen among them.
    averaged
        The averaged chance of each row; empty where nothing is left open of the scatter.
    by_money
        Whether plans are ordered by money.
    lines
        For the chosen plan; None where there is none.
    steady
        Where the chosen plan is weak, the cheapest that is not and reaches the target.
    """

    figures: PlanFigures
    wanted: Wanted
    found: Frontier
    rows: tuple[Plan, ...]
    averaged: tuple[float | None, ...]
    by_money: bool
    lines: Lines | None
    steady: Plan | None


def choice_of(figures: PlanFigures, wanted: Wanted) -> Choice:
    """Work out the plans worth choosing between, and the chosen one.

    Raises
    ------
    NotYet, WrongUsage, NotEnough
        When there is nothing to choose by: a pilot, scatter or prices that are not known.
    """
    from weldtrial.analysis.frontier import Limits, frontier

    trial = figures.trial
    _refuse(figures, wanted)
    costing = _costing(figures, wanted)
    limits = Limits(wanted.hours, wanted.cost, wanted.coupons, wanted.changes)
    judged = _judged(figures)
    found = frontier(figures.shape, judged, costing, limits, wanted.chance)
    found, lines = _honoured(trial, found)
    rows = _rows(found)
    return Choice(
        figures=figures,
        wanted=wanted,
        found=found,
        rows=rows,
        averaged=_averaged(figures, rows),
        by_money=costing.by_money,
        lines=lines,
        steady=_steady(found),
    )


def _judged(figures: PlanFigures) -> Any:
    from weldtrial.cli.plan_figures import judged_by

    return judged_by(figures.trial, figures.assumed)


def _refuse(figures: PlanFigures, wanted: Wanted) -> None:
    if figures.trial.purpose == "pilot":
        raise NotYet(
            "A pilot gives spreads and no verdict, so there is no chance to choose by. See what it "
            "takes with  weldtrial plan"
        )
    if figures.assumed is None and figures.counted is None:
        raise NotEnough(f"No plan can be chosen. {figures.missing}")
    if figures.shape.df < 1 and not figures.shape.by_setups and figures.shape.combos > 2:
        raise NotYet(
            "Nothing in this plan is welded twice, and its effects are judged by their sizes "
            "(Lenth); such plans are not weighed against a budget in this version. Meanwhile add  "
            "design.replicates = 2  with  --if."
        )
    if figures.assessment.layout.listed:
        raise NotYet(
            "This design lists its coupons, which cannot be shared out otherwise; only factorials "
            "and fractions are weighed against a budget. Lay other numbers beside it:  weldtrial "
            "plan --compare budget.coupons=48"
        )
    budget = figures.trial.budget
    if wanted.cost is not None and not budget.currency:
        raise WrongUsage(
            "weldtrial plan: --cost limits money, and trial.toml says no price. Add to [budget]  "
            'cost_coupon = …  and  currency = "EUR".'
        )


def _costing(figures: PlanFigures, wanted: Wanted) -> Costing:
    from weldtrial.analysis.frontier import Costing
    from weldtrial.doe.bench import prices_of

    trial = figures.trial
    prices = prices_of(trial, figures.assessment.layout.hard_factors)
    hours = figures.assessment.bench.hours
    priced = prices.coupon is not None
    by_money = wanted.by == "money" or (wanted.by is None and hours.value is None and priced)
    if (by_money or wanted.cost is not None) and not priced:
        needs = " and ".join(prices.needs)
        asked = "--by money" if wanted.by == "money" else "--cost"
        raise WrongUsage(
            f"weldtrial plan: {asked} needs {needs}, which trial.toml does not say. "
            "Choose by hours, or add it."
        )
    if hours.value is None and (not by_money or wanted.hours is not None):
        raise WrongUsage(
            "weldtrial plan: --choose weighs what a plan sees against the hours it takes, and "
            f"needs {' and '.join(hours.needs)}, which trial.toml does not say."
        )
    if not any(_pair(trial, prices, by_money)):
        what = "costs nothing" if by_money else "takes no time"
        raise WrongUsage(
            f"weldtrial plan: --choose has nothing to weigh: by [budget] welding {what}. Say what "
            "a coupon and a set-up really take."
        )
    money = prices.of if priced else None
    return Costing(money, trial.budget.hours_per_day, by_money)


def _pair(trial: Trial, prices: Prices, by_money: bool) -> tuple[float, float]:
    """Return what a coupon and a set-up add to what is weighed."""
    if by_money:
        return prices.coupon or 0.0, prices.setup or 0.0
    return trial.budget.minutes_coupon or 0.0, trial.budget.minutes_setup or 0.0


def _rows(found: Frontier) -> tuple[Plan, ...]:
    """Return about a dozen plans, the file's own and the chosen one among them."""
    plans = list(found.plans)
    keep = {found.plans.index(found.chosen)} if found.chosen in plans else set()
    if len(plans) > SHOWN - 1:
        step = (len(plans) - 1) / (SHOWN - 2)
        keep |= {round(step * number) for number in range(SHOWN - 1)}
        plans = [one for place, one in enumerate(plans) if place in keep]
    own = found.own
    same = [place for place, one in enumerate(plans) if one.shape == own.shape]
    if same:
        plans[same[0]] = own
    else:
        plans.append(own)
    return tuple(sorted(plans, key=lambda one: (one.spent, one.row.chance or 0.0)))


def _averaged(figures: PlanFigures, rows: tuple[Plan, ...]) -> tuple[float | None, ...]:
    from weldtrial.analysis.assumed import left_open
    from weldtrial.analysis.assurance import averaged_chance

    known = left_open(figures.trial.deciding)
    if known is None or known.known or figures.aim.margin is None:
        return ()
    return tuple(averaged_chance(one.shape, known, figures.aim) for one in rows)


def _steady(found: Frontier) -> Plan | None:
    """Return the cheapest plan in reach whose verdict may begin with "Shown", if another."""
    from weldtrial.analysis.frontier import reaches

    chosen = found.chosen
    if chosen is None or chosen.row.remark != "weak":
        return None
    good = [one for one in found.plans if not one.row.remark]
    reached = [one for one in good if reaches(one, found.target)]
    return reached[0] if reached else good[-1] if good else None


# ---------------------------------------------------------------------- lines for the file


def lines_for(trial: Trial, shape: Shape) -> Lines:
    """Return what to put in a trial's file so that it asks for a plan."""
    design: dict[str, int] = {}
    order: dict[str, int] = {}
    out = []
    if shape.by_setups:
        if not shape.free:
            design["rounds"] = shape.rounds
        if trial.design.set_ups is not None or shape.free or shape.per_round > 1:
            design["set_ups"] = shape.setups or 0
        if shape.parts == 1:
            design["replicates"] = shape.replicates
        elif trial.design.replicates is not None:
            out.append("design.replicates")
        if trial.order.first_at_most is not None and not shape.free:
            limit = usual_limit(shape.rounds)
            if limit is None:
                out.append("order.first_at_most")
            else:
                order["first_at_most"] = limit
    else:
        design["replicates"] = shape.replicates * shape.rounds // shape.parts
    put = {"design": design, "budget": {"coupons": shape.coupons + shape.extra}}
    return Lines(put | ({"order": order} if order else {}), tuple(out))


def pasted(trial: Trial, lines: Lines) -> Trial:
    """Return the trial as its file would read with the lines in it.

    Raises
    ------
    PlanRefused
        When such a file has problems.
    """
    from weldtrial.shared.trialfile import reread_trial

    source: dict[str, Any] = deepcopy(dict(trial.source))
    for section, values in lines.put.items():
        source.setdefault(section, {}).update(values)
    for dotted in lines.take_out:
        section, key = dotted.split(".")
        source.get(section, {}).pop(key, None)
    found, problems = reread_trial(source, trial.lines)
    if found is None:
        raise PlanRefused("; ".join(one.words for one in problems if not one.warning))
    return found


def _honoured(trial: Trial, found: Frontier) -> tuple[Frontier, Lines | None]:
    """Return the frontier without plans that cannot be laid out, and the lines of the chosen."""
    from weldtrial.analysis.frontier import reaches

    while found.chosen is not None:
        lines = lines_for(trial, found.chosen.shape)
        if _laid_out_as(trial, lines, found.chosen.shape):
            return found, lines
        plans = tuple(one for one in found.plans if one is not found.chosen)
        good = [one for one in plans if reaches(one, found.target)]
        chosen = good[0] if good else plans[-1] if plans else None
        found = replace(found, plans=plans, chosen=chosen, reached=bool(good))
    return found, None


def _laid_out_as(trial: Trial, lines: Lines, shape: Shape) -> bool:
    from weldtrial.cli.plan_figures import shape_of
    from weldtrial.doe.layout import make_layout

    try:
        made = shape_of(trial, make_layout(pasted(trial, lines)))
    except (PlanRefused, NotYet):
        return False
    same = ("setups", "rounds", "per_setup", "coupons", "extra", "df")
    return all(getattr(made, name) == getattr(shape, name) for name in same)
