"""The rule of a limit on settings: read as a small sum and a comparison, nothing more."""

from __future__ import annotations

import re
from collections.abc import Collection

from weldtrial.shared.problems import nearest
from weldtrial.shared.trialfile.faults import shortened

_TOKEN = re.compile(r"\s*(?:([0-9]*\.?[0-9]+)|([A-Za-z_][A-Za-z0-9_]*)|(<=|>=|<|>)|([-+*/()]))")
_LONGEST = 200
_FORM = 'Write it like  "voltage * wire_feed <= 262".'


class _NotARule(Exception):
    """Why a text is no rule."""


def rule_fault(rule: object, numeric: Collection[str]) -> str:
    """Return why `rule` cannot be used, with a remedy; empty when it can.

    Parameters
    ----------
    rule
        Such as ``voltage * wire_feed <= 262``: numeric factors and numbers, ``+ - * /``,
        brackets, and one of ``<= >= < >``.
    numeric
        Names of the numeric factors.
    """
    if not isinstance(rule, str) or not rule.strip():
        return f"the rule must be text in quotes. {_FORM}"
    if len(rule) > _LONGEST:
        return f"the rule is over {_LONGEST} letters long. Write several shorter ones."
    try:
        tokens = _tokens(rule)
        names = [token for token in tokens if token[0].isalpha() or token[0] == "_"]
        for name in names:
            if name not in numeric:
                close = nearest(name, numeric)
                hint = f"Did you mean '{close}'?" if close else "Use the numeric factors' names."
                return f"'{shortened(name)}' in the rule is not a numeric factor. {hint}"
        if not names:
            raise _NotARule("names no factor")
        left = _sum(tokens, 0)
        if left >= len(tokens) or tokens[left] not in ("<=", ">=", "<", ">"):
            raise _NotARule("has no <= or >= where one is needed")
        if _sum(tokens, left + 1) != len(tokens):
            raise _NotARule("goes on after its end")
    except _NotARule as error:
        return f"the rule {error}:  {shortened(rule)}. {_FORM}"
    return ""


def _tokens(rule: str) -> list[str]:
    tokens, at = [], 0
    text = rule.rstrip()
    while at < len(text):
        found = _TOKEN.match(text, at)
        if found is None:
            raise _NotARule(f"has a sign it cannot read, {text[at:].strip()[:1]!r}")
        tokens.append(found[0].strip())
        at = found.end()
    return tokens


def _sum(tokens: list[str], at: int) -> int:
    """Return where the sum that begins at `at` ends."""
    at = _product(tokens, at)
    while at < len(tokens) and tokens[at] in "+-":
        at = _product(tokens, at + 1)
    return at


def _product(tokens: list[str], at: int) -> int:
    at = _one(tokens, at)
    while at < len(tokens) and tokens[at] in "*/":
        at = _one(tokens, at + 1)
    return at


def _one(tokens: list[str], at: int) -> int:
    if at >= len(tokens):
        raise _NotARule("stops too early")
    token = tokens[at]
    if token in ("-", "+"):
        return _one(tokens, at + 1)
    if token == "(":
        end = _sum(tokens, at + 1)
        if end >= len(tokens) or tokens[end] != ")":
            raise _NotARule("has a bracket that does not close")
        return end + 1
    if token in ("<=", ">=", "<", ">", "*", "/", ")"):
        raise _NotARule(f"has {token} where a name or a number is needed")
    return at + 1
