"""Rules about settings, such as ``voltage * wire_feed <= 262``: read once, asked of any settings.

A rule says what is allowed.  Numbers are in the units of the trial file.

    rule       = choice, then perhaps  when choice      (elsewhere the rule asks nothing)
    choice     = all { or all }
    all        = part { and part }
    part       = not part | ( choice ) | comparison
    comparison = sum <= sum, and likewise >= < >, or  category = level, category != level
    sum        = products joined by + and -;  a product is joined by * and /

The machine's rounding forbids nothing: two sides closer than `ROUNDING` of what they are made of
are taken as equal.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal

from weldtrial.shared.trial import Trial

ROUNDING = 1e-9
"""Share of the numbers compared within which two sides are equal."""

Settings = Mapping[str, float | str]
"""A number for every numeric factor, in its unit, and a level for every category."""


@dataclass(frozen=True, slots=True)
class Number:
    """A number in a rule."""

    value: float


@dataclass(frozen=True, slots=True)
class Named:
    """A numeric factor or a held setting in a rule."""

    name: str


@dataclass(frozen=True, slots=True)
class Joined:
    """Two sums or products joined by a sign."""

    sign: Literal["+", "-", "*", "/"]
    left: Sum
    right: Sum


@dataclass(frozen=True, slots=True)
class Compared:
    """Two sums held against each other."""

    sign: Literal["<=", ">=", "<", ">"]
    left: Sum
    right: Sum


@dataclass(frozen=True, slots=True)
class AtLevel:
    """A category held against one of its levels; `same` is False for ``!=``."""

    name: str
    level: str
    same: bool = True


@dataclass(frozen=True, slots=True)
class Not:
    """What must not hold."""

    part: Condition


@dataclass(frozen=True, slots=True)
class Every:
    """Conditions that must all hold."""

    parts: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Some:
    """Conditions of which one must hold."""

    parts: tuple[Condition, ...]


Sum = Number | Named | Joined
Condition = Compared | AtLevel | Not | Every | Some


@dataclass(frozen=True, slots=True)
class Words:
    """The names that a rule may use.

    Attributes
    ----------
    numeric
        Numeric factors.
    held
        Held settings and their targets, in the unit they are held in.
    categories
        The levels of every category.
    """

    numeric: tuple[str, ...]
    held: Mapping[str, float] = field(default_factory=dict)
    categories: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule that was read.

    Attributes
    ----------
    text
        As written.
    asks
        What must hold.
    when
        Under which condition alone; None for everywhere.
    held
        Targets of the held settings that it may name.
    """

    text: str
    asks: Condition
    when: Condition | None = None
    held: Mapping[str, float] = field(default_factory=dict)

    def holds(self, settings: Settings) -> bool:
        """Tell whether settings keep the rule.

        Parameters
        ----------
        settings
            A number (in the unit of the trial file) or a level for every name in the rule; held
            settings may be left out.  Where the rule cannot be worked out, because it divides by
            nothing, it is not kept.

        Raises
        ------
        KeyError
            When a name of the rule is missing.
        """
        whole = {**self.held, **settings}
        try:
            if self.when is not None and not _true(self.when, whole):
                return True
            return _true(self.asks, whole)
        except ZeroDivisionError:
            return False

    @property
    def names(self) -> tuple[str, ...]:
        """Every factor or held setting it names, each once."""
        both = [*names_in(self.asks), *(names_in(self.when) if self.when else ())]
        return tuple(dict.fromkeys(both))

    def value(self, side: Sum, settings: Settings) -> float:
        """Return what one side of a comparison comes to at settings.

        Raises
        ------
        KeyError
            When a name of the rule is missing.
        ZeroDivisionError
            When it divides by nothing.
        """
        return _value(side, {**self.held, **settings})[0]


def words_of(trial: Trial) -> Words:
    """Return the names that a rule of this trial may use."""
    return Words(
        tuple(one.name for one in trial.factors if one.kind == "numeric"),
        {one.name: one.target for one in trial.held},
        {one.name: one.levels for one in trial.factors if one.kind == "category"},
    )


def names_in(part: Sum | Condition) -> Iterator[str]:
    """Yield every name in a part of a rule, as often as it stands there."""
    if isinstance(part, Named | AtLevel):
        yield part.name
    elif isinstance(part, Joined | Compared):
        yield from names_in(part.left)
        yield from names_in(part.right)
    elif isinstance(part, Not):
        yield from names_in(part.part)
    elif isinstance(part, Every | Some):
        for one in part.parts:
            yield from names_in(one)


def _true(part: Condition, settings: Settings) -> bool:
    if isinstance(part, Compared):
        return _compared(part, settings)
    if isinstance(part, AtLevel):
        return (settings[part.name] == part.level) == part.same
    if isinstance(part, Not):
        return not _true(part.part, settings)
    # Every part is worked out, so that a division by nothing is found wherever it stands.
    found = [_true(one, settings) for one in part.parts]
    return all(found) if isinstance(part, Every) else any(found)


def _compared(part: Compared, settings: Settings) -> bool:
    left, of_left = _value(part.left, settings)
    right, of_right = _value(part.right, settings)
    gap, none = left - right, ROUNDING * max(of_left, of_right)
    if part.sign == "<=":
        return gap <= none
    if part.sign == ">=":
        return gap >= -none
    return gap < -none if part.sign == "<" else gap > none


def _value(part: Sum, settings: Settings) -> tuple[float, float]:
    """Return what a sum comes to, and the size of what it is made of: that is what rounds."""
    if isinstance(part, Number):
        return part.value, abs(part.value)
    if isinstance(part, Named):
        value = float(settings[part.name])
        return value, abs(value)
    left, of_left = _value(part.left, settings)
    right, of_right = _value(part.right, settings)
    if part.sign == "+":
        return left + right, of_left + of_right
    if part.sign == "-":
        return left - right, of_left + of_right
    if part.sign == "*":
        return left * right, of_left * of_right
    # A divisor that is nothing but rounding is nothing.
    if abs(right) <= ROUNDING * of_right:
        raise ZeroDivisionError
    return left / right, of_left * of_right / right**2
