"""The rule of a limit on settings: whether it can be read, and whether it leaves anything."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial

from weldtrial.shared.limit_box import (
    Extreme,
    against_a_number,
    always_kept,
    extreme,
    never_kept,
    rules_of,
)
from weldtrial.shared.limit_rules import Joined, Named, Rule, Sum, Words, names_in
from weldtrial.shared.limit_text import NotARule, UnknownName, parse_rule
from weldtrial.shared.rounding import brief, plain, spaced
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile.faults import Faults, shortened

_LONGEST = 200
_CHECK = "Check the number or the unit."
_FORM = 'Write it like  "voltage * wire_feed <= 262".'


def rule_fault(rule: object, words: Words) -> str:
    """Return why `rule` cannot be used, with a remedy; empty when it can.

    Parameters
    ----------
    rule
        Such as ``voltage * wire_feed <= 262`` or ``not (wire_feed > 8 and voltage < 21)``: see
        `weldtrial.shared.limit_rules`.
    words
        The names it may use.
    """
    if not isinstance(rule, str) or not rule.strip():
        return f"the rule must be text in quotes. {_FORM}"
    if len(rule) > _LONGEST:
        return f"the rule is over {_LONGEST} letters long. Write several shorter ones."
    try:
        parse_rule(rule, words)
    except UnknownName as error:
        return str(error)
    except NotARule as error:
        return f"the rule {error}:  {shortened(rule)}. {_FORM}"
    return ""


def check_left(trial: Trial, faults: Faults) -> None:
    """Report rules that rule out every setting, or one level altogether, or nothing at all."""
    rules = rules_of(trial)
    alone = False
    for place, rule in enumerate(rules):
        path, said = f"limit_on_settings.{place}.rule", f'"{shortened(rule.text)}"'
        level = _ruled_out(trial, (rule,))
        if level is not None:
            alone = True
            faults.wrong(path, f"limit_on_settings {said} rules out {level}: {_most(trial, rule)}")
        elif always_kept(trial, rule):
            faults.warn(path, f"limit_on_settings {said} rules out nothing: {_least(trial, rule)}")
    if len(rules) > 1 and not alone:
        level = _ruled_out(trial, rules)
        if level is not None:
            faults.wrong(
                "limit_on_settings.0.rule",
                f"the {len(rules)} limits on settings together rule out {level}: no setting "
                "looked at keeps them all. Check the numbers or the units.",
            )


def _ruled_out(trial: Trial, rules: Sequence[Rule]) -> str | None:
    """Return what rules forbid altogether: every setting, or a level; None where some is left."""
    if never_kept(trial, rules):
        return "every setting"
    named = {name for rule in rules for name in rule.names}
    owners = {one.slides_with for one in trial.factors if one.name in named}
    for factor in trial.factors:
        if factor.kind != "category" or factor.name not in named | owners:
            continue
        for level in factor.levels:
            if never_kept(trial, rules, partial(_stands, factor.name, level)):
                return f"every setting of {level}"
    return None


def _stands(name: str, level: str, settings: Mapping[str, float | str]) -> bool:
    return settings[name] == level


def _most(trial: Trial, rule: Rule) -> str:
    """Say how near the settings come to a rule that none keeps."""
    found = against_a_number(rule)
    end = None if found is None else extreme(trial, rule, found[0], largest=found[1])
    if found is None or end is None:
        return "no setting that you allow keeps it. Check the numbers or the units."
    size = "largest" if found[1] else "smallest"
    return f"the {size} {_called(found[0])} you allow is {_shown(trial, found[0], end)}. {_CHECK}"


def _least(trial: Trial, rule: Rule) -> str:
    """Say how far the settings stay from a rule that all keep."""
    found = against_a_number(rule)
    end = None if found is None else extreme(trial, rule, found[0], largest=not found[1])
    if found is None or end is None:
        return "every setting that you allow keeps it. Check the numbers or the units."
    size = "smallest" if found[1] else "largest"
    return f"the {size} {_called(found[0])} you allow is {_shown(trial, found[0], end)}. {_CHECK}"


def _called(side: Sum) -> str:
    """Return what a sum is called in a sentence."""
    if isinstance(side, Named):
        return side.name
    if isinstance(side, Joined) and _only(side, "*"):
        return "product"
    return "sum" if isinstance(side, Joined) and _only(side, "+") else "value of the left side"


def _only(side: Sum, sign: str) -> bool:
    if isinstance(side, Joined):
        return side.sign == sign and _only(side.left, sign) and _only(side.right, sign)
    return isinstance(side, Named)


def _shown(trial: Trial, side: Sum, end: Extreme) -> str:
    """Return a value with the settings where it is reached: ``182 (mix 24.3 V × 7.5 m/min)``."""
    units = {one.name: one.unit for one in trial.factors} | {
        one.name: one.unit for one in trial.held
    }
    held = {one.name: one.target for one in trial.held}
    names = list(dict.fromkeys(names_in(side)))
    sliding = {one.slides_with for one in trial.factors if one.name in names}
    under = " ".join(str(value) for name, value in end.settings.items() if name in sliding)
    values = {name: float(end.settings.get(name, held.get(name, 0.0))) for name in names}
    if isinstance(side, Named):
        return f"{brief(end.value)}{spaced(units[side.name])}{under and f' ({under})'}"
    if _called(side) in ("product", "sum"):
        sign = " × " if _called(side) == "product" else " + "
        parts = sign.join(f"{plain(values[name])}{spaced(units[name])}" for name in names)
    else:
        parts = ", ".join(f"{name} {plain(values[name])}{spaced(units[name])}" for name in names)
        under = under and f"{under},"
    return f"{brief(end.value)} ({f'{under} {parts}'.strip()})"
