"""What must fit together across a trial file: names, rounds, who reads, what contradicts."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from weldtrial.shared.goal import is_cost, is_pair, share_in
from weldtrial.shared.limit_rules import words_of
from weldtrial.shared.problems import nearest
from weldtrial.shared.trial import Goal, Trial
from weldtrial.shared.trialfile.designs import check_design
from weldtrial.shared.trialfile.fair import check_fair
from weldtrial.shared.trialfile.faults import Faults, as_number, as_written, shortened
from weldtrial.shared.trialfile.follows import check_follows
from weldtrial.shared.trialfile.limits import check_left, rule_fault
from weldtrial.shared.trialfile.looks import check_looks
from weldtrial.shared.trialfile.worked_out import check_worked_out
from weldtrial.shared.units import slug
from weldtrial.shared.weld_log import MEASURED_UNITS


@dataclass(frozen=True, slots=True)
class Parts:
    """What could be read of a trial.

    Attributes
    ----------
    trial
        Put together from the parts that could be read.
    raw
        The good values, by section.
    complete
        Whether every factor and response could be read: only then is an unknown name the fault
        of the part that uses it.
    """

    trial: Trial
    raw: dict[str, object]
    complete: bool


def check_together(parts: Parts, faults: Faults) -> None:
    """Report every contradiction between the parts of a trial."""
    _names(parts, faults)
    _columns(parts, faults)
    if parts.complete:
        _something_varied(parts.trial, faults)
        _layout(parts.trial, faults)
        check_design(parts.trial, faults)
        _order(parts.trial, faults)
        _blind(parts.trial, faults)
        check_worked_out(parts.trial, faults)
        _adjust_for(parts.trial, faults)
        check_fair(parts.trial, faults)
        _limits(parts.trial, faults)
        _goal(parts.trial, faults)
        check_looks(parts.trial, faults)
        check_follows(parts.trial, faults)
    _nuisance(parts.trial, faults)


def _named(parts: Parts) -> Iterator[tuple[str, str, str]]:
    whats = {"factor": "a factor", "held": "a held setting", "response": "a response"}
    for section, what in whats.items():
        raws = parts.raw.get(section)
        assert isinstance(raws, list)
        for place, raw in enumerate(raws):
            if "name" in raw:
                yield f"{section}.{place}.name", what, raw["name"]


def _names(parts: Parts, faults: Faults) -> None:
    seen: dict[str, str] = {}
    for path, what, name in _named(parts):
        if name in seen:
            again = "two of them" if seen[name] == what else f"{seen[name]} and {what}"
            if seen[name] == what:
                words = f"the name '{name}' stands for {what} twice. Rename one."
            else:
                words = f"the name '{name}' stands for {again}. Rename one, or keep only one."
            faults.wrong(path, words, name)
        seen.setdefault(name, what)


def _columns(parts: Parts, faults: Faults) -> None:
    seen: dict[str, str] = {}
    for place, factor in enumerate(parts.trial.factors):
        ending = f"_{slug(factor.unit)}" if factor.unit and slug(factor.unit) else ""
        column = (factor.name + ending).casefold()
        other = seen.setdefault(column, factor.name)
        if other != factor.name:
            faults.wrong(
                f"factor.{place}.name",
                f"factors '{other}' and '{factor.name}' would share the column "
                f"{factor.name}{ending} of plan.csv. Rename one.",
            )


def _something_varied(trial: Trial, faults: Faults) -> None:
    if trial.factors and not trial.varied:
        faults.wrong(
            "factor", "no factor has two levels, so there is nothing to compare. Add a level."
        )


def _layout(trial: Trial, faults: Faults) -> None:
    rounds, set_ups, hard = trial.design.rounds, trial.design.set_ups, trial.hard
    for place, factor in enumerate(trial.factors):
        if factor.hard_to_change and not factor.varied:
            faults.warn(
                f"factor.{place}.hard_to_change",
                f"factor '{factor.name}' is hard_to_change but has one role, so nothing is ever "
                "changed. Take hard_to_change out.",
            )
    if set_ups is None:
        return
    if not hard:
        faults.wrong(
            "design.set_ups",
            f"set_ups = {set_ups}, but nothing is hard to change, so every coupon is its own "
            "set-up. Take it out, or add  hard_to_change = true  to the factor that needs set-ups.",
        )
        return
    if len(hard) > 1 or trial.design.free:
        return
    levels = len(hard[0].levels)
    each = (rounds or 1) * levels
    if set_ups % each or set_ups < each:
        fits = max(each, set_ups // each * each)
        in_rounds = (
            f"{rounds} rounds of {levels} levels of {hard[0].name} make {each} set-ups"
            if rounds
            else f"{hard[0].name} has {levels} levels"
        )
        faults.wrong(
            "design.set_ups",
            f"{set_ups} set-ups do not fit: {in_rounds}. Write  set_ups = {fits}"
            f"{f'  or {fits + each}' if fits < set_ups else ''}, or leave out one of the two.",
        )


def _order(trial: Trial, faults: Faults) -> None:
    limit, hard = trial.order.first_at_most, trial.hard
    if limit is not None and len(hard) == 1:
        levels = len(hard[0].levels)
        rounds = trial.design.rounds or (trial.design.set_ups or 0) // levels
        least = -(-rounds // levels)
        if rounds and limit < least:
            faults.wrong(
                "order.first_at_most",
                f"first_at_most = {limit}, but one of {levels} levels goes first in at least "
                f"{least} of {rounds} rounds. Write  first_at_most = {least}  or more.",
            )
        elif rounds and limit >= rounds:
            faults.warn(
                "order.first_at_most",
                f"first_at_most = {limit} restricts nothing in {rounds} "
                f"round{'s' if rounds != 1 else ''}. Lower it or take it out.",
            )
    elif limit is not None and not hard:
        faults.wrong(
            "order.first_at_most",
            "first_at_most is about rounds of a hard-to-change factor, and there is none. Take it "
            "out.",
        )
    watch = trial.order.drift_watch
    known = [level for factor in trial.varied for level in factor.levels]
    if watch is not None and watch != "control" and watch not in known:
        close = nearest(watch, [*known, "control"])
        hint = f'Did you mean "{close}"?' if close else 'Write "control", or a level.'
        faults.wrong("order.drift_watch", f"{as_written(watch)} is not a level. {hint}", watch)
    if trial.order.block is not None and not trial.order.block.strip():
        faults.wrong("order.block", 'block is empty. Write  block = "round"  or take it out.')


def _blind(trial: Trial, faults: Faults) -> None:
    known = [response.name for response in trial.responses]
    for place, name in enumerate(trial.blind.who):
        if name not in known:
            close = nearest(name, known)
            hint = f"Did you mean '{close}'?" if close else f"The responses are {', '.join(known)}."
            faults.wrong(
                f"blind.who.{place}", f"{as_written(name)} is not a response. {hint}", name
            )

    if trial.blind.guess and not trial.blind.who:
        faults.wrong(
            "blind.guess",
            "guess = true, but nobody reads blind. Name the responses in who, or take it out.",
        )
    elif trial.blind.guess and not any(one.kind == "category" for one in trial.varied):
        faults.wrong(
            "blind.guess",
            "guess = true, but nothing with names is compared, so there is nothing to guess. Take "
            "it out.",
        )


def _adjust_for(trial: Trial, faults: Faults) -> None:
    known = [*MEASURED_UNITS, "started", *(held.name for held in trial.held)]
    for place, name in enumerate(trial.rules.adjust_for):
        if name in known:
            continue
        close = nearest(name, known)
        hint = f"Did you mean '{close}'?" if close else f"Choose from {', '.join(known)}."
        if any(name == factor.name for factor in trial.factors):
            hint = "It is set on purpose; settings as run are looked at anyway."
        faults.wrong(
            f"rules.adjust_for.{place}",
            f"{as_written(name)} is nothing that the weld log measures. {hint}",
            name,
        )


def _limits(trial: Trial, faults: Faults) -> None:
    words = words_of(trial)
    found = {place: rule_fault(limit.rule, words) for place, limit in enumerate(trial.limits)}
    for place, fault in found.items():
        if fault:
            faults.wrong(f"limit_on_settings.{place}.rule", fault, trial.limits[place].rule)
    if trial.limits and not any(found.values()):
        check_left(trial, faults)


def _goal(trial: Trial, faults: Faults) -> None:
    goal = trial.goal
    if goal is None:
        return
    factors = [factor.name for factor in trial.varied]
    known = [*factors, *(response.name for response in trial.responses)]
    if is_cost(trial, goal.best):
        _cost_goal(trial, goal, faults)
    elif goal.best not in known:
        close = nearest(goal.best, known)
        hint = f"Did you mean '{close}'?" if close else f"Choose one of {', '.join(known)}."
        faults.wrong("goal.best", f"best is '{goal.best}', which is not in this trial. {hint}")
    for place, pair in enumerate(goal.pairs):
        if not is_pair(pair, trial.varied):
            faults.wrong(
                f"goal.pairs.{place}",
                f'"{shortened(pair)}" is not a pair of factors. Write two names with a colon, such '
                f'as "{":".join(factors[:2])}".',
                pair,
            )
    if goal.keep and share_in(goal.keep) is None:
        faults.wrong(
            "goal.keep",
            'keep must read like "every must_be met by at least 8 coupons in 10"; it says '
            f"{as_written(goal.keep)}.",
            goal.keep,
        )
    if goal.keep and all(r.at_least is None and r.at_most is None for r in trial.responses):
        faults.wrong("goal.keep", "keep speaks of must_be, and no response has one. Add it.")
    _curves(trial, goal, faults)


def _cost_goal(trial: Trial, goal: Goal, faults: Faults) -> None:
    if trial.prices is None:
        faults.wrong(
            "goal.best",
            'best = "cost" needs prices, and there is no price of our own. Add  [prices]  '
            "(weldtrial help window).",
        )
    if goal.toward != "lower":
        faults.wrong("goal.toward", 'best = "cost" goes  toward = "lower".')


def _curves(trial: Trial, goal: Goal, faults: Faults) -> None:
    """Report curves asked for where every factor is welded at two settings only."""
    if not goal.curves or trial.design.free or "model" in trial.source.get("design", {}):
        return
    numeric = [one for one in trial.varied if one.kind == "numeric"]
    flat = [one.name for one in numeric if len(one.levels) < 3]
    if not numeric:
        faults.wrong(
            "goal.curves", "curves is about numeric factors, and none is varied. Take it out."
        )
    elif flat:
        faults.wrong(
            "goal.curves",
            f"curves asks for a bend in {' and '.join(flat)}, and this design welds two settings "
            'of it, which draw a straight line. Write  kind = "optimal"  in [design], which also '
            "welds in between; or give three levels.",
        )


def _nuisance(trial: Trial, faults: Faults) -> None:
    factors = [factor.name for factor in trial.factors]
    held = {one.name: one for one in trial.held}
    for name, handling in trial.nuisance.items():
        path = f"nuisance.{name}"
        if name in factors:
            faults.wrong(
                path,
                f"'{name}' is a factor, set on purpose, so it is no nuisance. Take it out here.",
            )
        elif name in held and handling not in ("held", "measured"):
            target = f"{as_number(held[name].target)} {held[name].unit}"
            faults.wrong(
                path,
                f"'{name}' is held at {target} under [[held]], but {handling} here. Keep one.",
            )
