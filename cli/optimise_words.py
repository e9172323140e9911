"""The words of ``weldtrial optimise``: shares, limits, edges, what each step costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import floor
from typing import TYPE_CHECKING

from weldtrial.shared.factors import Factor
from weldtrial.shared.goal import COST
from weldtrial.shared.rounding import (
    by_uncertainty,
    decimals_for,
    fixed,
    give_or_take,
    interval,
    plain,
    spaced,
)
from weldtrial.shared.said_settings import said_number, said_setting, said_settings
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.joint import Held, Limit
    from weldtrial.analysis.optimum_asked import Asked, Duel, Optimum, Shown, Tolerance
    from weldtrial.analysis.window import Choice, Edge, Expected
    from weldtrial.shared.weld_cost import WeldCost

BEYOND = "BEYOND what was welded"
HARDLY = 0.005
"""A chance below this is no chance worth naming a setting for."""
PER_SETUP = 4
"""Coupons of each fresh set-up that is to settle a gap (`weldtrial.analysis.own_best`)."""
CHANCE_MEANS = (
    "'chance' = share of future single coupons, each in a fresh set-up, expected to meet every "
    "limit at once"
)
NO_SETUPS = (
    "'chance' = share of future single coupons, welded as these were, expected to meet every limit "
    "at once. How much another set-up (day, bottle, spool) changes was not seen, so it is not in it"
)


def share_words(share: float) -> str:
    """Return a share as coupons: ``8 in 10``, or per cent where it is no whole number of ten."""
    tenths = share * 10
    return f"{round(tenths)} in 10" if abs(tenths - round(tenths)) < 1e-9 else percent(share)


def percent(share: float) -> str:
    """Return a share in whole per cent, never rounded to certainty: ``82 %``, ``>99 %``."""
    if share > 0.995:
        return ">99 %"
    return "<1 %" if share < HARDLY else f"{100 * share:.0f} %"


def reached(chance: float) -> str:
    """Return the chance to meet every limit, never rounded up to a share that may be asked for.

    As `percent`, but 79.6 % stays ``79.6 %``: it is not yet 8 in 10 (so at every fifth per cent).
    """
    whole = round(100 * chance)
    if 0 < whole < 100 and whole % 5 == 0 and 100 * chance < whole - 1e-9:
        return f"{floor(1000 * chance + 1e-9) / 10:.1f} %"
    return percent(chance)


def limit_words(limit: Limit, unit: str) -> str:
    """Return what a limit asks: ``at least 80 kN``."""
    ends = []
    if limit.at_least is not None:
        ends.append(f"at least {plain(limit.at_least)}")
    if limit.at_most is not None:
        ends.append(f"at most {plain(limit.at_most)}")
    return f"{' and '.join(ends)}{spaced(unit)}"


def limits_line(trial: Trial, found: Optimum) -> str:
    """Return every limit in a line, those that are not in the sealed question marked."""
    said = []
    for limit in found.fitted.limits:
        mark = " (not in the sealed question)" if limit.response in found.fitted.afterwards else ""
        response = trial.response(limit.response)
        said.append(f"{response.title} {limit_words(limit, response.unit)}{mark}")
    said += [f"{trial.response(one.response).title} passes" for one in found.fitted.joint.passing]
    return " · ".join(said)


def likeliest_words(trial: Trial, choice: Choice, *, several: bool) -> str:
    """Say how near the limits the likeliest setting comes, where none reaches what was asked.

    Where hardly any weld would pass anywhere, no setting is the likeliest, and none is named.
    """
    weak = f"; the weak link is {title_of(trial, choice.weakest)}" if several else ""
    if choice.chance < HARDLY:
        return f"Nowhere do as many as 1 in 100 pass{weak}."
    return (
        f"The likeliest, {setting_words(trial, choice.settings)}, reaches "
        f"{reached(choice.chance)}{weak}."
    )


def instead_words(found: Optimum) -> str:
    """Say what may be done where no setting reaches what was asked."""
    top = max(one.likeliest.choice.chance for one in found.picks)
    if top < HARDLY:
        return "Ease a limit, or weld where the surfaces climb: no setting tried comes near."
    tenth = floor(10 * top + 1e-9)
    less = f", or ask for less:  --keep 0.{tenth}" if tenth else ""
    ease = "ease a limit" if less else "or ease a limit"
    return f"Weld more set-ups where the chance is highest, {ease}{less}"


def goal_words(trial: Trial, found: Optimum) -> str:
    """Return what is pushed which way, and what must be kept."""
    aim = found.window.aim
    way = "as high as may be" if aim.toward == "higher" else "as low as may be"
    kept = f"while {share_words(found.window.keep)} coupons meet every limit"
    return f"{title_of(trial, aim.best)} {way}, {kept}"


def title_of(trial: Trial, name: str) -> str:
    """Return the title of a factor or a response."""
    titles = {one.name: one.title for one in trial.factors}
    titles |= {one.name: one.title for one in trial.responses}
    titles = {COST: "Cost of a metre"} | titles
    return titles.get(name, name)


def goal_value(trial: Trial, found: Optimum, choice: Choice) -> str:
    """Return the goal's value at a choice, with its unit."""
    best = found.window.aim.best
    factor = next((one for one in trial.varied if one.name == best), None)
    if factor is not None:
        return said_setting(factor, choice.value)
    if best not in {one.response for one in found.fitted.surfaces}:
        return f"{choice.value:.2f} {trial.prices.currency}/m" if trial.prices else ""
    surface = found.fitted.surface(best)
    se = float(surface.se_mean([choice.point])[0])
    return f"{by_uncertainty(choice.value, 2 * se)}{spaced(surface.unit)}"


def levels_words(levels: Mapping[str, str]) -> str:
    """Return a combination of categories for a heading; all settings without any."""
    return " ".join(levels.values()) or "all"


def setting_cells(trial: Trial, choice: Choice) -> list[str]:
    """Return the numbers of a setting, one cell a numeric factor."""
    return [said_number(one, float(choice.settings[one.name])) for one in numeric_of(trial)]


def numeric_of(trial: Trial) -> list[Factor]:
    """Return the varied numeric factors."""
    return [one for one in trial.varied if one.kind == "numeric"]


def factor_head(factor: Factor) -> str:
    """Return a column's heading: ``voltage, V``."""
    return f"{factor.title}{',' if factor.unit not in (None, '1') else ''}{spaced(factor.unit)}"


def edge_words(trial: Trial, edge: Edge, outside: Sequence[str] = ()) -> str:
    """Shout that a best lies at the end of what was tried, or past it."""
    factor = trial.factor(edge.factor)
    owner = f"{edge.owner} " if edge.owner else ""
    if edge.factor in outside:
        past = "higher" if edge.side == "highest" else "lower"
        return (
            f"! {said_setting(factor, edge.setting)} is {past} than any {owner}"
            f"{factor.title.lower()} you tried. Nothing was seen there."
        )
    return (
        f"! {said_setting(factor, edge.setting)} is the {edge.side} {owner}"
        f"{factor.title.lower()} you tried. The best may lie beyond; this trial cannot see there."
    )


def edge_lines(trial: Trial, shown: Shown) -> list[str]:
    """Shout everything about the edge of what was tried."""
    said = [edge_words(trial, edge, shown.outside) for edge in shown.choice.edges]
    if shown.on_edge and not said and not shown.beyond:
        said.append(
            "! These settings together lie on the edge of what was welded. The best may lie "
            "beyond; this trial cannot see there."
        )
    if shown.strays and not shown.beyond:
        names = " and ".join(trial.factor(name).title for name in shown.strays)
        said.append(
            f"! Held as loosely as that, {names} stray{'s' * (len(shown.strays) == 1)} past what "
            "was welded; for those welds the map is only carried on."
        )
    return said


def setting_words(trial: Trial, settings: Mapping[str, str | float]) -> str:
    """Return a setting in words."""
    return said_settings(trial.varied, settings)


def weak_link(choice: Choice) -> str:
    """Return the limit least likely to be met; nothing where there is only one."""
    return choice.weakest if len(choice.own) > 1 else ""


def expected_words(trial: Trial, one: Expected, weakest: str) -> str:
    """Return what the next coupon should read, what it needs, and its own chance."""
    places = decimals_for((one.high - one.low) / 2)
    low, high = (fixed(end, places) for end in (one.low, one.high))
    said = (
        f"{trial.response(one.response).title} {fixed(one.mean, places)}{spaced(one.unit)} "
        f"({low} to {high}"
    )
    if one.limit is None:
        return f"{said})"
    needs = limit_words(one.limit, "")
    chance = "" if one.chance is None else f", {percent(one.chance)}"
    link = f" ← the weak link{chance}" if one.response == weakest else f"{chance}"
    return f"{said}; needs {needs}){link}"


def passing_words(trial: Trial, shown: Shown) -> list[str]:
    """Return the shares of responses that pass or fail."""
    numbers = {one.response for one in shown.expected}
    weak = weak_link(shown.choice)
    return [
        f"{trial.response(name).title} passes in {percent(chance)} of all "
        f"{_whose(trial, shown)}coupons, taken as the same at every setting"
        + (" ← the weak link" if name == weak else "")
        for name, chance in shown.choice.own.items()
        if name not in numbers
    ]


def _whose(trial: Trial, shown: Shown) -> str:
    """Return the gas (or other categories) of a setting, a space behind it; empty without."""
    groups = [one.name for one in trial.varied if one.kind == "category"]
    levels = [str(shown.choice.settings[name]) for name in groups[:1]]
    return "".join(f"{one} " for one in levels)


def tolerance_words(trial: Trial, one: Tolerance) -> str:
    """Return how far one setting may move."""
    factor = trial.factor(one.factor)
    low, high = said_number(factor, one.low), said_number(factor, one.high)
    if low == high:
        if one.low_open and one.high_open:
            why = ": nothing on either side was welded with the others like that"
        elif one.low_open or one.high_open:
            fails, untried = ("above", "below") if one.low_open else ("below", "above")
            why = f": fewer pass {fails} it; {untried} was not tried with the others like that"
        else:
            why = " and no other"
        return f"{factor.title} {low}{spaced(one.unit)}{why}"
    ends = []
    if one.low_open:
        ends.append("below")
    if one.high_open:
        ends.append("above")
    opened = (
        f"; {' and '.join(ends)} {'were' if len(ends) > 1 else 'was'} not tried" if ends else ""
    )
    return f"{factor.title} {low} to {high}{spaced(one.unit)}{opened}"


def held_lines(trial: Trial, asked: Asked, held: Sequence[Held]) -> list[str]:
    """Say how well settings are held, and who said so: the trial file or the command line."""
    typed = {one.factor for one in asked.held}
    said = [
        f"{trial.factor(one.factor).title} ± {plain(one.within)}"
        f"{spaced(trial.factor(one.factor).unit)} of what is asked, 95 coupons in 100 "
        f"({'--hold' if one.factor in typed else 'tolerance in trial.toml'})"
        for one in held
    ]
    return said + [
        f"{trial.factor(name).title} exactly as asked (--hold)" + _instead(trial.factor(name))
        for name in asked.exactly
    ]


def _instead(factor: Factor) -> str:
    if factor.tolerance is None:
        return ""
    return f"; trial.toml says{give_or_take(factor.tolerance, factor.unit)}"


def held_words(shown: Shown, exactly: float) -> str:
    """Say what loosely held settings cost at one place."""
    return (
        f"Held as loosely as that, {reached(shown.choice.chance)} pass; held exactly, "
        f"{reached(exactly)}."
    )


def steps_words(trial: Trial, found: Optimum) -> str:
    """Say in a line how far the goal can be pushed at each share: what certainty costs."""
    aim = found.window.aim
    top = "Highest" if aim.toward == "higher" else "Lowest"
    shares = [f"{round(10 * one.chance)}" for one in found.steps]
    unit = unit_of(trial, aim.best)
    parts = []
    for pick in found.picks:
        values = [
            "none"
            if one.choice is None
            else goal_value(trial, found, one.choice).removesuffix(spaced(unit))
            for one in pick.steps
        ]
        name = f"{levels_words(pick.levels)} " if pick.levels else ""
        parts.append(f"{name}{', '.join(values)}")
    counted = f"{title_of(trial, aim.best).lower()}{',' if spaced(unit) else ''}{spaced(unit)}"
    return (
        f"{top} {counted}{',' if spaced(unit) else ''} if {', '.join(shares[:-1])} or {shares[-1]} "
        f"in 10 must pass: {'; '.join(parts)}."
    )


def unit_of(trial: Trial, name: str) -> str:
    """Return the unit of a factor or a response."""
    units = {one.name: one.unit for one in trial.responses}
    units |= {one.name: one.unit or "" for one in trial.factors}
    return units.get(name, "")


def duel_words(trial: Trial, duel: Duel) -> tuple[str, ...]:
    """Say how two levels compare, each at its own best, and what would settle it."""
    gap = duel.gap
    response = trial.response(gap.response)
    half = (gap.high - gap.low) / 2
    first = (
        f"{response.title}: {gap.level.level} − {gap.reference.level} = "
        f"{by_uncertainty(gap.estimate, half, signed=True)}{spaced(gap.unit)}, "
        f"{100 * gap.confidence:.0f} % interval {interval(gap.low, gap.high, signed=True)}"
        f"{spaced(gap.unit)} ({gap.price:.1f} times as wide as for settings fixed beforehand)."
    )
    if duel.margin is None:
        return (first,)
    if gap.low > 0 or gap.high < 0:
        return (first,)
    margin = f"{plain(float(f'{duel.margin:.3g}'))}{spaced(gap.unit)}"
    units = "set-ups" if duel.by_setups else "coupons"
    if duel.settling is None:
        return (first, f"Twelve fresh {units} of each would not tell {margin}.")
    each = f", {PER_SETUP} coupons in each," if duel.by_setups else ""
    return (
        first,
        f"To tell {margin}: {duel.settling.set_ups} fresh {units} of each{each} at these settings.",
    )


def cost_words(cost: WeldCost) -> tuple[str, ...]:
    """Say what a metre costs and what is not in it."""
    said = []
    if cost.total is not None:
        parts = ", ".join(f"{one.name} {one.cost:.2f}" for one in cost.parts)
        said.append(f"{cost.total:.2f} {cost.unit}: {parts}.")
    if cost.missing:
        said.append(f"Not counted: {'; '.join(cost.missing)}.")
    said += [f"{note[0].upper()}{note[1:]}." for note in cost.notes]
    return tuple(said)
