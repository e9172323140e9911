"""The rule of a limit on settings: whether it can be read, and whether it leaves anything."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from weldtrial.shared.limit_box import (
    Extreme,
    Held,
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
        gone = _ruled_out(trial, (rule,))
        if gone is not None:
            alone = True
            near = _nearest(trial, rule, gone.stands, kept=False)
            faults.wrong(path, f"limit_on_settings {said} rules out {gone.words}: {near}")
        elif always_kept(trial, rule):
            near = _nearest(trial, rule, lambda _: True, kept=True)
            faults.warn(path, f"limit_on_settings {said} rules out nothing: {near}")
    if len(rules) > 1 and not alone:
        gone = _ruled_out(trial, rules)
        if gone is not None:
            faults.wrong(
                "limit_on_settings.0.rule",
                f"the {len(rules)} limits on settings together rule out {gone.words}: no setting "
                "looked at keeps them all. Check the numbers or the units.",
            )


@dataclass(frozen=True, slots=True)
class _Gone:
    """Settings that are ruled out altogether: all, or those of one level."""

    words: str
    name: str = ""
    level: str = ""

    def stands(self, settings: Mapping[str, float | str]) -> bool:
        return not self.name or settings[self.name] == self.level


def _ruled_out(trial: Trial, rules: Sequence[Rule]) -> _Gone | None:
    """Return what rules forbid altogether, None where some of everything is left."""
    if never_kept(trial, rules):
        return _Gone("every setting")
    named = {name for rule in rules for name in rule.names}
    owners = {one.slides_with for one in trial.factors if one.name in named}
    for factor in trial.factors:
        if factor.kind != "category" or factor.name not in named | owners:
            continue
        for level in factor.levels:
            gone = _Gone(f"every setting of {level}", factor.name, level)
            if never_kept(trial, rules, gone.stands):
                return gone
    return None


def _nearest(
    trial: Trial,
    rule: Rule,
    where: Callable[[Mapping[str, float | str]], bool],
    *,
    kept: bool,
) -> str:
    """Say how near the settings come to a rule that all of them keep, or none."""
    held = against_a_number(rule)
    largest = held is not None and held.above != kept
    end = None if held is None else extreme(trial, rule, held.side, largest=largest, where=where)
    if held is None or end is None:
        which = "every" if kept else "no"
        return f"{which} setting that you allow keeps it. Check the numbers or the units."
    size = "largest" if largest else "smallest"
    shown = _shown(trial, held, end)
    return f"the {size} {_called(held.side)} you allow is {shown}. Check the number or the unit."


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


def _shown(trial: Trial, held: Held, end: Extreme) -> str:
    """Return a value with the settings where it is reached: ``182 (mix 24.3 V × 7.5 m/min)``."""
    units = {one.name: one.unit for one in trial.factors} | {
        one.name: one.unit for one in trial.held
    }
    side, targets = held.side, {one.name: one.target for one in trial.held}
    names = list(dict.fromkeys(names_in(side)))
    value = _apart(end.value, held.number)
    sliding = {one.slides_with for one in trial.factors if one.name in names}
    under = " ".join(str(value) for name, value in end.settings.items() if name in sliding)
    values = {name: float(end.settings.get(name, targets.get(name, 0.0))) for name in names}
    if isinstance(side, Named):
        return f"{value}{spaced(units[side.name])}{under and f' ({under})'}"
    if _called(side) in ("product", "sum"):
        sign = " × " if _called(side) == "product" else " + "
        parts = sign.join(f"{plain(values[name])}{spaced(units[name])}" for name in names)
    else:
        parts = ", ".join(f"{name} {plain(values[name])}{spaced(units[name])}" for name in names)
        under = under and f"{under},"
    return f"{value} ({f'{under} {parts}'.strip()})"


def _apart(value: float, number: float) -> str:
    """Return a value to three figures, or to as many as tell it from the number it misses."""
    for figures in (3, 4, 5):
        shown = float(f"{value:.{figures - 1}e}")
        if shown != number and (shown > number) == (value > number):
            return brief(value, figures)
    return brief(value, 6)
