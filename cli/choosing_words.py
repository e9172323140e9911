"""What ``weldtrial plan --choose`` says: the rule, the choice, and what it means."""

from __future__ import annotations

from math import floor
from typing import TYPE_CHECKING

from weldtrial.cli.choosing import Choice
from weldtrial.cli.counted_plan import loss_words, method_words, unit_of
from weldtrial.cli.plan_figures import margin_words
from weldtrial.shared.rounding import brief

if TYPE_CHECKING:
    from weldtrial.analysis.frontier import Plan

AFTERNOON = 5
"""Bench hours up to which a day is called an afternoon."""


def percent(chance: float | None, target: float | None = None) -> str:
    """Return a chance in whole percent, finer where rounding would say a target is met."""
    if chance is None:
        return "–"
    if target is not None and chance < target - 1e-6 and target <= round(chance, 2):
        return f"{floor(1000 * chance) / 10:.1f} %"
    return "over 99 %" if 0.995 <= chance < 1 else f"{100 * chance:.0f} %"


def gap_unit(choice: Choice) -> str:
    """Return the unit at the head of the column of gaps."""
    counted, known = choice.figures.counted, choice.figures.assumed
    if counted is not None:
        return unit_of(counted.response) or "odds ÷"
    return known.unit if known else ""


def json_unit(choice: Choice) -> str | None:
    """Return the unit of gaps in JSON, None without figures."""
    counted, known = choice.figures.counted, choice.figures.assumed
    if counted is not None:
        return unit_of(counted.response) or "log odds"
    return known.unit if known else None


def gap_words(choice: Choice, gap: float | None, *, unit: bool = False) -> str:
    """Return a gap as a cell, or with its unit."""
    counted = choice.figures.counted
    if gap is None:
        return "never"
    if counted is not None:
        found = loss_words(counted.response, gap)
        return found if unit else found.removesuffix(" points").removeprefix("odds ÷ ")
    return f"{brief(gap, 2)} {gap_unit(choice)}".rstrip() if unit else brief(gap, 2)


def limits_words(choice: Choice) -> str:
    """Return the limits in words."""
    wanted, said = choice.wanted, []
    if wanted.hours is not None:
        said.append(f"{brief(wanted.hours)} h at the bench")
    if wanted.cost is not None:
        said.append(f"{brief(wanted.cost)} {choice.figures.trial.budget.currency}")
    if wanted.coupons is not None:
        said.append(f"{wanted.coupons} coupons, spares and warm-ups included")
    if wanted.changes is not None:
        said.append(f"{wanted.changes} set-ups")
    return f"at most {', '.join(said)}" if said else "none said"


def rule_words(choice: Choice) -> str:
    """Return the rule by which one plan is chosen."""
    what = "money" if choice.by_money else "bench hours"
    return (
        f"the cheapest plan, in {what}, with a chance of {percent(choice.wanted.chance)} "
        f"{aim_words(choice)}; without one, the most certain (but for 1 in 100)"
    )


def aim_words(choice: Choice) -> str:
    """Return what a chance is a chance of."""
    aim, known, counted = choice.figures.aim, choice.figures.assumed, choice.figures.counted
    unit = known.unit if known else ""
    if counted is not None:
        unit = unit_of(counted.response)
    if counted is not None and counted.graded:
        return f"to show a true loss of {loss_words(counted.response, counted.loss)}"
    if aim.margin is None:
        gap = choice.found.own.row.gap
        return f"to show a true gap of {brief(gap, 2)} {unit}".rstrip() if gap else "of any gap"
    margin = margin_words(aim, unit)
    if aim.ask == "no-worse":
        return f'to show "no worse by {margin}" if equal'
    if aim.ask == "equal-enough":
        return f'to show "equal within {margin}" if equal'
    return f"to show a true gap of {margin}"


def footnotes(choice: Choice) -> list[str]:
    """Return what the columns mean, and what was left out."""
    found = choice.found
    words = [
        '"gap seen" = true difference found 8 times in 10. Spares and warm-ups are counted in; '
        'reading time is not. "least p" = the smallest a shuffle test can reach.'
    ]
    hidden = len(found.plans) - sum(one in found.plans for one in choice.rows)
    if hidden > 0:
        words.append(
            f"{found.looked_at} plans looked at; {len(found.plans)} are beaten by no cheaper one, "
            f"{hidden} of these left out here (--json has them)."
        )
    if choice.averaged:
        words.append(
            '"averaged" = over what is left open of the scatter (weldtrial plan says why).'
        )
    counted = choice.figures.counted
    if counted is not None:
        words.append(method_words(counted, choice.figures.shape))
    if any(one.row.remark == "weak" for one in choice.rows):
        words.append(
            '"weak" = with fewer than four set-ups of each, a verdict can only begin with '
            '"Suggests".'
        )
    return words


def sentences(choice: Choice) -> list[str]:
    """Return what to choose and what it means, in coupons and in afternoons."""
    found = choice.found
    if found.chosen is None:
        return [
            "No plan within these limits can answer at all. Allow more, or say less must be seen: "
            "a larger margin."
        ]
    words = [_chosen_words(choice, found.chosen)]
    if choice.steady is not None:
        words.append(
            'Its verdict can only begin with "Suggests". One that may begin with "Shown": '
            f"{plan_words(choice, choice.steady)}, {percent(choice.steady.row.chance)}"
            f"{_cost_words(choice, choice.steady)}."
        )
    if contrast := contrast_words(choice):
        words.append(contrast)
    return [*words, meaning_words(choice, found.chosen), *_own_words(choice, found.chosen)]


def _chosen_words(choice: Choice, chosen: Plan) -> str:
    target = percent(choice.wanted.chance)
    chance = percent(chosen.row.chance, choice.wanted.chance)
    plan = f"{plan_words(choice, chosen)}, {chosen.row.total} in all"
    cost = _cost_words(choice, chosen)
    if choice.found.reached:
        return f"Chosen: {plan}: the cheapest that reaches {target} ({chance}){cost}."
    words = (
        f"No plan within these limits reaches {target}. The most certain one sees {chance}: "
        f"{plan}{cost}."
    )
    ceiling = choice.found.ceiling
    if ceiling is not None and ceiling < choice.wanted.chance:
        words += (
            f" On {choice.wanted.changes} set-ups not even endless coupons would: "
            f"{percent(ceiling, choice.wanted.chance)} at most."
        )
    return words


def plan_words(choice: Choice, plan: Plan) -> str:
    """Return a plan in words: ``8 rounds, 16 set-ups of 2 coupons``."""
    row = plan.row
    if row.set_ups is None:
        return f"{row.coupons} coupons to compare"
    each = "coupon" if row.per_setup == 1 else "coupons"
    rounds = "" if choice.figures.shape.free else f"{row.rounds} rounds, "
    return f"{rounds}{row.set_ups} set-ups of {row.per_setup} {each}"


def _cost_words(choice: Choice, plan: Plan) -> str:
    said = [] if plan.row.hours is None else [f"{plan.row.hours:.1f} h"]
    if plan.cost is not None:
        said.append(f"{plan.cost:.0f} {choice.figures.trial.budget.currency}")
    return f", {' and '.join(said)}" if said else ""


def contrast_words(choice: Choice) -> str:
    """Return what few changes of many coupons would see for the same hours."""
    few, chosen = choice.found.few, choice.found.chosen
    if few is None or chosen is None or few.row.set_ups is None:
        return ""
    limit = choice.wanted.cost if choice.by_money else choice.wanted.hours
    most = chosen.spent if limit is None or choice.found.reached else limit
    spent = (
        f"For {most:.0f} {choice.figures.trial.budget.currency}"
        if choice.by_money
        else f"In {brief(most, 3)} h"
    )

    def sees(plan: Plan) -> str:
        if plan.row.gap is None:
            return f"can never tell the {_levels(choice)} apart"
        return f"would probably see {gap_words(choice, plan.row.gap, unit=True)}"

    return (
        f"{spent}: {chosen.row.set_ups} changes of {chosen.row.per_setup} "
        f"{'coupon' if chosen.row.per_setup == 1 else 'coupons'} {sees(chosen)}; "
        f"{few.row.set_ups} changes of {few.row.per_setup} {sees(few)}."
    )


def _levels(choice: Choice) -> str:
    from weldtrial.doe.refusals import levels_word

    return levels_word(choice.figures.compared)


def meaning_words(choice: Choice, plan: Plan) -> str:
    """Return what a chance means in trials, coupons and afternoons."""
    aim = choice.figures.aim
    of = round(100 * (plan.row.chance or 0.0))
    truth = (
        f"are truly equal, {of} of 100 such trials would say so"
        if aim.margin is not None and aim.ask != "difference"
        else f"truly differ by that much, {of} of 100 such trials would show it"
    )
    words = (
        f"That means {plan.row.total} coupons{_days_words(choice, plan)}. If the "
        f"{_levels(choice)} {truth}, and {100 - of} would end without that answer."
    )
    minutes = choice.figures.trial.budget.minutes_reading
    if minutes is not None:
        readings = sum(one.sections for one in choice.figures.trial.responses) * plan.row.coupons
        words += f" Reading takes another {readings * minutes / 60:.1f} h."
    return words


def _days_words(choice: Choice, plan: Plan) -> str:
    per_day = choice.figures.trial.budget.hours_per_day
    if plan.days is None or per_day is None:
        return ""
    name = "afternoon" if per_day <= AFTERNOON else "day"
    return f" and {plan.days} {name}{'' if plan.days == 1 else 's'} of {brief(per_day)} h"


def _own_words(choice: Choice, chosen: Plan) -> list[str]:
    own, found = choice.found.own, choice.found
    if own.shape == chosen.shape:
        return ["It is what your file asks for already."]
    words = (
        f"Your file's plan: {plan_words(choice, own)}, {own.row.total} in all, "
        f"{percent(own.row.chance, found.target)}{_cost_words(choice, own)}"
    )
    if not found.own_within:
        return [f"{words}; over the limits."]
    if found.beaten_by is not None:
        better = found.beaten_by
        return [
            f"{words}; {plan_words(choice, better)} see no less for less "
            f"({percent(better.row.chance)}{_cost_words(choice, better)})."
        ]
    return [f"{words}."]
