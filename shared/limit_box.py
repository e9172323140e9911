"""What rules about settings leave of the settings that a trial allows, lowest to highest.

A sum in a rule is monotone in a name that stands there once, so where no name stands twice (and
nothing is divided by a sum, which may pass through nothing) the corners of the box decide;
elsewhere a grid with the levels of the file in it is looked at.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from weldtrial.shared.factors import Factor
from weldtrial.shared.limit_rules import (
    Compared,
    Condition,
    Every,
    Joined,
    Not,
    Number,
    Rule,
    Some,
    Sum,
    names_in,
    words_of,
)
from weldtrial.shared.limit_text import parse_rule
from weldtrial.shared.trial import Trial

MOST = 4000
"""Settings looked at for one rule, about."""

Settings = dict[str, float | str]


@dataclass(frozen=True, slots=True)
class Extreme:
    """The smallest or largest that one side of a rule can be, and where.

    Attributes
    ----------
    value
        In the units of the file.
    settings
        The settings that the rule names, and the level they stand under where they slide.
    """

    value: float
    settings: Mapping[str, float | str]


def rules_of(trial: Trial) -> tuple[Rule, ...]:
    """Return the rules of a trial that has been checked, in the order of the file."""
    words = words_of(trial)
    return tuple(parse_rule(limit.rule, words) for limit in trial.limits)


def keeps(rules: Sequence[Rule], settings: Mapping[str, float | str]) -> bool:
    """Tell whether settings keep every rule."""
    return all(rule.holds(settings) for rule in rules)


def box(trial: Trial, rules: Sequence[Rule]) -> Iterator[Settings]:
    """Yield settings that stand for all those a trial allows, as far as the rules can tell.

    Only factors that the rules name are in them, and the categories these slide with.
    """
    named = [name for rule in rules for name in _names(rule)]
    numeric = [one for one in trial.factors if one.kind == "numeric" and one.name in named]
    owners = {one.slides_with for one in numeric}
    categories = [
        one
        for one in trial.factors
        if one.kind == "category" and (one.name in named or one.name in owners)
    ]
    again = any(named.count(one.name) > 1 for one in numeric) or any(map(_divides, rules))
    for levels in product(*(one.levels for one in categories)):
        under = dict(zip((one.name for one in categories), levels, strict=True))
        rows = [_row(one, under, _many(len(numeric)) if again else 2) for one in numeric]
        for values in product(*rows):
            yield {**under, **dict(zip((one.name for one in numeric), values, strict=True))}


def _names(rule: Rule) -> Iterator[str]:
    yield from names_in(rule.asks)
    if rule.when is not None:
        yield from names_in(rule.when)


def _divides(rule: Rule) -> bool:
    """Tell whether a rule divides by more than one name or number."""
    return any(_by_a_sum(part) for part in (rule.asks, rule.when) if part is not None)


def _by_a_sum(part: Sum | Condition) -> bool:
    if isinstance(part, Joined):
        here = part.sign == "/" and isinstance(part.right, Joined)
        return here or _by_a_sum(part.left) or _by_a_sum(part.right)
    if isinstance(part, Compared):
        return _by_a_sum(part.left) or _by_a_sum(part.right)
    if isinstance(part, Not):
        return _by_a_sum(part.part)
    return isinstance(part, Every | Some) and any(_by_a_sum(one) for one in part.parts)


def _many(factors: int) -> int:
    """Return how many settings of each of so many factors are looked at."""
    return max(2, min(41, int(MOST ** (1 / max(1, factors)))))


def _row(factor: Factor, under: Mapping[str, str], many: int) -> list[float]:
    row = factor.settings[under[factor.slides_with] if factor.slides_with else ""]
    low, high = min(row), max(row)
    if many == 2:
        return sorted({low, high})
    steps = {low + (high - low) * step / (many - 1) for step in range(1, many - 1)}
    return sorted({low, high, *row, *steps})


def extreme(
    trial: Trial,
    rule: Rule,
    side: Sum,
    *,
    largest: bool = False,
    where: Callable[[Settings], bool] = lambda _: True,
) -> Extreme | None:
    """Return the smallest value of a sum over all settings allowed, or the largest.

    Only settings to which the rule applies (its ``when``) and for which `where` holds count.
    None where there are none, or where the sum cannot be worked out.
    """
    found: Extreme | None = None
    for settings in box(trial, (rule,)):
        try:
            value = rule.value(side, settings)
            if not applies(rule, settings) or not where(settings):
                continue
        except ZeroDivisionError:
            continue
        if found is None or (value > found.value if largest else value < found.value):
            found = Extreme(value, settings)
    return found


def applies(rule: Rule, settings: Mapping[str, float | str]) -> bool:
    """Tell whether a rule asks anything at settings."""
    return rule.when is None or Rule(rule.text, rule.when, None, rule.held).holds(settings)


@dataclass(frozen=True, slots=True)
class Held:
    """A sum held below a number, or above it."""

    side: Sum
    above: bool
    number: float


def against_a_number(rule: Rule) -> Held | None:
    """Return the sum and the number that a rule compares, None where it does anything else."""
    asks = rule.asks
    if not isinstance(asks, Compared):
        return None
    below = asks.sign in ("<=", "<")
    if isinstance(asks.right, Number):
        return Held(asks.left, not below, asks.right.value)
    return Held(asks.right, below, asks.left.value) if isinstance(asks.left, Number) else None


def never_kept(
    trial: Trial, rules: Sequence[Rule], where: Callable[[Settings], bool] = lambda _: True
) -> bool:
    """Tell whether no setting of the box for which `where` holds keeps the rules."""
    return not any(keeps(rules, one) for one in box(trial, rules) if where(one))


def always_kept(trial: Trial, rule: Rule) -> bool:
    """Tell whether a rule forbids nothing that the trial allows."""
    return all(rule.holds(settings) for settings in box(trial, (rule,)))
