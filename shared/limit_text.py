"""The text of a rule about settings, read into the tree of `weldtrial.shared.limit_rules`."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from math import isfinite
from typing import Literal, cast

from weldtrial.shared.limit_rules import (
    AtLevel,
    Compared,
    Condition,
    Every,
    Joined,
    Named,
    Not,
    Number,
    Rule,
    Some,
    Sum,
    Words,
    names_in,
)
from weldtrial.shared.problems import nearest

_TOKEN = re.compile(
    r"\s*(?:([0-9]*\.?[0-9]+)|([A-Za-z_][A-Za-z0-9_]*)|('[^']*')|(<=|>=|!=|<|>|=)|([-+*/()]))"
)
_DEEPEST = 20
_COMPARING = ("<=", ">=", "<", ">", "=", "!=")
_JOINING = ("or", "and", "not", "when")
_Conditions = Compared | AtLevel | Not | Every | Some
_Read = Callable[[], Sum | Condition]


class NotARule(Exception):
    """Why a text is no rule, to follow the words "the rule"."""


class UnknownName(Exception):
    """A name that a rule may not use; the words are a sentence or two of their own."""


def parse_rule(text: str, words: Words) -> Rule:
    """Return the rule that a text stands for.

    Parameters
    ----------
    text
        Such as ``voltage * wire_feed <= 262``, ``not (wire_feed > 8 and voltage < 21)`` or
        ``voltage <= 26 when gas = co2``.  A level with other signs than letters, digits and _
        stands in single quotes.
    words
        The names it may use.

    Raises
    ------
    NotARule
        When the text does not read as a rule.
    UnknownName
        When it uses a name or a level that the trial has not, or one in the wrong place.
    """
    return _Reader(_tokens(text), words).rule(text)


def _tokens(text: str) -> list[str]:
    tokens, at, rest = [], 0, text.rstrip()
    while at < len(rest):
        found = _TOKEN.match(rest, at)
        if found is None:
            raise NotARule(f"has a sign it cannot read, {rest[at:].strip()[:1]!r}")
        tokens.append(found[0].strip())
        at = found.end()
    return tokens


@dataclass(slots=True)
class _Reader:
    tokens: list[str]
    words: Words
    at: int = 0
    deep: int = 0

    def rule(self, text: str) -> Rule:
        asks = self._choice()
        when = None
        if self._takes("when"):
            when = self._condition(self._choice(), "when")
        if self.at < len(self.tokens):
            token = self.tokens[self.at]
            if token in _COMPARING:
                raise NotARule(f"goes on after its end, at {token}; join two comparisons by and")
            raise NotARule("goes on after its end")
        if not isinstance(asks, _Conditions):
            if not any(True for _ in names_in(asks)):
                raise NotARule("names no factor")
            raise NotARule("has no <= or >= where one is needed")
        if not any(True for _ in names_in(asks)):
            raise NotARule("names no factor")
        return Rule(text, asks, when, self.words.held)

    def _choice(self) -> Sum | Condition:
        return self._several("or", self._all)

    def _all(self) -> Sum | Condition:
        return self._several("and", self._part)

    def _several(self, word: Literal["or", "and"], one: _Read) -> Sum | Condition:
        parts = [one()]
        while self._takes(word):
            parts.append(one())
        if len(parts) == 1:
            return parts[0]
        checked = tuple(self._condition(part, word) for part in parts)
        return Some(checked) if word == "or" else Every(checked)

    def _part(self) -> Sum | Condition:
        if self._takes("not"):
            self._deeper()
            part = Not(self._condition(self._part(), "not"))
            self.deep -= 1
            return part
        left = self._sum()
        if isinstance(left, _Conditions) or not self._next_in(*_COMPARING[:4]):
            return left
        sign = self._take()
        right = self._sum()
        if isinstance(right, _Conditions):
            raise NotARule(f"compares with a comparison, at {sign}")
        return Compared(cast(Literal["<=", ">=", "<", ">"], sign), left, right)

    def _sum(self) -> Sum | Condition:
        return self._chain(("+", "-"), self._product)

    def _product(self) -> Sum | Condition:
        return self._chain(("*", "/"), self._one)

    def _chain(self, signs: tuple[str, str], one: _Read) -> Sum | Condition:
        left = one()
        while self._next_in(*signs):
            sign = self._take()
            right = one()
            if isinstance(left, _Conditions) or isinstance(right, _Conditions):
                raise NotARule(f"has {sign} beside a comparison")
            left = Joined(cast(Literal["+", "-", "*", "/"], sign), left, right)
        return left

    def _one(self) -> Sum | Condition:
        if self.at >= len(self.tokens):
            raise NotARule("stops too early")
        token = self._take()
        if token in ("-", "+"):
            self._deeper()
            part = self._one()
            self.deep -= 1
            if isinstance(part, _Conditions):
                raise NotARule(f"has {token} before a comparison")
            return Joined("*", Number(-1.0), part) if token == "-" else part
        if token == "(":
            self._deeper()
            part = self._choice()
            self.deep -= 1
            if not self._takes(")"):
                raise NotARule("has a bracket that does not close")
            return part
        if token in _JOINING or token[0] in "<>=!*/)'":
            raise NotARule(f"has {token} where a name or a number is needed")
        if token[0].isalpha() or token[0] == "_":
            return self._named(token)
        if not isfinite(float(token)):
            raise NotARule("has a number that is too large")
        return Number(float(token))

    def _named(self, name: str) -> Sum | Condition:
        words = self.words
        if name in words.numeric or name in words.held:
            if self._next_in("=", "!="):
                raise NotARule(f"holds {name} to one number by {self._take()}; use <= or >=")
            return Named(name)
        if name in words.categories and self._next_in("=", "!="):
            return self._at_level(name)
        raise UnknownName(_not_numeric(name, words))

    def _at_level(self, name: str) -> AtLevel:
        same = self._take() == "="
        levels = self.words.categories[name]
        if self.at >= len(self.tokens):
            raise NotARule("stops too early")
        said = self._take().strip("'")
        if said not in levels:
            same_letters = (one for one in levels if one.casefold() == said.casefold())
            close = next(same_letters, None) or nearest(said, levels)
            hint = f"Did you mean '{close}'?" if close else f"Its levels are {', '.join(levels)}."
            raise UnknownName(f"'{said}' in the rule is not a level of {name}. {hint}")
        return AtLevel(name, said, same)

    def _condition(self, part: Sum | Condition, word: str) -> Condition:
        if isinstance(part, _Conditions):
            return part
        raise NotARule(f"has no comparison beside '{word}'")

    def _deeper(self) -> None:
        self.deep += 1
        if self.deep > _DEEPEST:
            raise NotARule(f"goes more than {_DEEPEST} brackets or signs deep")

    def _takes(self, token: str) -> bool:
        if self._next_in(token):
            self.at += 1
            return True
        return False

    def _take(self) -> str:
        self.at += 1
        return self.tokens[self.at - 1]

    def _next_in(self, *tokens: str) -> bool:
        return self.at < len(self.tokens) and self.tokens[self.at] in tokens


def _not_numeric(name: str, words: Words) -> str:
    """Say what is wrong with a name that stands where a number does."""
    if name in words.categories:
        level = words.categories[name][0]
        return (
            f"'{name}' in the rule is not a numeric factor. To hold a rule under one level only, "
            f"end it with  when {name} = {level}."
        )
    close = nearest(name, [*words.numeric, *words.held, *words.categories])
    hint = f"Did you mean '{close}'?" if close else "Use the numeric factors' names."
    shown = name if len(name) <= 60 else f"{name[:57]}..."
    return f"'{shown}' in the rule is not a numeric factor. {hint}"
