"""Generators in words: ``travel = voltage * wire_feed``."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from weldtrial.shared.problems import Problem, nearest

KEY = "design.generators"
_TIMES = re.compile(r"\s*[*×:]\s*")


class Generator(NamedTuple):
    """A factor set to a product of others.

    Attributes
    ----------
    factor
        The factor that is set.
    product
        At least two factors, none of them set by a generator itself.
    sign
        +1, or -1 where the product is turned.
    """

    factor: str
    product: tuple[str, ...]
    sign: int = 1

    @property
    def text(self) -> str:
        """As it is typed: ``travel = -voltage * wire_feed``."""
        return f"{self.factor} = {'-' if self.sign < 0 else ''}{' * '.join(self.product)}"


def read_generators(
    factors: Sequence[str], runs: int, texts: Sequence[str]
) -> tuple[tuple[Generator, ...], tuple[Problem, ...]]:
    """Return the generators that can be read, and everything that is wrong with them.

    Parameters
    ----------
    factors
        Names of all factors of the fraction.
    runs
        Combinations to weld.
    texts
        One generator each; ``*``, ``×`` or ``:`` multiplies, a leading ``-`` turns the sign.
    """
    read: list[tuple[str, Generator]] = []
    faults: list[tuple[str, str]] = []
    for text in texts:
        generator, words = _parse(text, factors)
        faults += [(text, one) for one in words]
        if generator is not None:
            read.append((text, generator))
    faults += _between(read)
    problems = [Problem(words, column=KEY, value=text) for text, words in faults]
    problems += _count(len(factors), runs, len(texts))
    order = list(factors)
    generators = sorted((one for _, one in read), key=lambda one: order.index(one.factor))
    return tuple(generators), tuple(problems)


def _parse(text: str, factors: Sequence[str]) -> tuple[Generator | None, list[str]]:
    left, equals, right = (piece.strip() for piece in text.partition("="))
    if not (left and equals and right):
        return None, [f"'{text}' is not a generator. Write it like 'travel = voltage * wire_feed'."]
    sign = 1
    if right[0] in "-−+" and _TIMES.split(right)[0] not in factors:
        sign = 1 if right[0] == "+" else -1
        right = right[1:].strip()
    product = _TIMES.split(right)
    faults = [_unknown(name, text, factors) for name in (left, *product) if name not in factors]
    if faults:
        return None, faults
    return Generator(left, _ordered(product, factors), sign), _own_faults(left, product, text)


def _ordered(product: Sequence[str], factors: Sequence[str]) -> tuple[str, ...]:
    return tuple(name for name in factors if name in product)


def _unknown(name: str, text: str, factors: Sequence[str]) -> str:
    meant = nearest(name, factors)
    if not name:
        return f"a factor is missing in the generator '{text}'. Name one on each side of every '*'."
    hint = f"Did you mean '{meant}'?" if meant else f"The factors are {', '.join(factors)}."
    return f"'{name}' in the generator '{text}' is not a factor of this fraction. {hint}"


def _own_faults(left: str, product: Sequence[str], text: str) -> list[str]:
    faults = []
    if left in product:
        faults.append(
            f"'{left}' is on both sides of the generator '{text}'. Set it to a product of others."
        )
    twice = [name for name, times in Counter(product).items() if times > 1]
    faults += [
        f"'{name}' is in the product '{text}' more than once, and times itself it is always +1. "
        "Name it once."
        for name in twice
    ]
    if len(set(product)) < 2:
        faults.append(
            f"'{text}' would move {left} with {product[0]} in every run, and the two could never "
            "be told apart. Name at least two factors."
        )
    return faults


def _between(read: Sequence[tuple[str, Generator]]) -> list[tuple[str, str]]:
    """Faults of generators taken together."""
    faults = []
    made = {generator.factor for _, generator in read}
    seen: dict[str, str] = {}
    products: dict[tuple[str, ...], str] = {}
    for text, generator in read:
        name = generator.factor
        if name in seen:
            faults.append(
                (text, f"'{name}' has two generators, '{seen[name]}' and '{text}'. Keep one.")
            )
        elif generator.product in products:
            faults.append(
                (
                    text,
                    f"'{name}' and '{products[generator.product]}' are set to one "
                    "product, and could never be told apart. Give one of them another.",
                )
            )
        seen.setdefault(name, text)
        products.setdefault(generator.product, name)
        faults += [
            (
                text,
                f"'{other}' in the generator '{text}' is set by a generator itself. Write the "
                "product with factors that are not.",
            )
            for other in generator.product
            if other in made and other != name
        ]
    return faults


def _count(factors: int, runs: int, given: int) -> list[Problem]:
    if runs < 2 or runs & (runs - 1):
        return [
            Problem(
                f"a two-level fraction has 4, 8, 16, 32 or 64 runs, not {runs}. Take one of these.",
                column="design.runs",
                value=str(runs),
            )
        ]
    needed = factors - runs.bit_length() + 1
    if needed < 0:
        words = f"{factors} factors have only {2**factors} combinations, fewer than {runs} runs."
        return [
            Problem(
                f"{words} Take fewer runs, or replicates.", column="design.runs", value=str(runs)
            )
        ]
    if needed == given:
        return []
    many = "1 generator" if needed == 1 else f"{needed} generators"
    takes = "takes" if factors == 1 else "take"
    return [
        Problem(
            f"{factors} factors in {runs} runs {takes} {many}, and {given or 'none'} "
            f"{'is' if given == 1 else 'are'} given. "
            + ("Add the missing ones." if given < needed else "Take out those too many."),
            column=KEY,
        )
    ]
