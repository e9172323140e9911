"""Model terms: which effects and interactions a model holds, and what they are called."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from weldtrial.shared.factors import Factor
from weldtrial.shared.trial import Model


@dataclass(frozen=True, slots=True)
class Term:
    """A product of factors, each to a power: ``gas``, ``gas:voltage``, ``voltage^2``.

    Attributes
    ----------
    powers
        Factor names with their powers, in the order of the trial file.
    """

    powers: tuple[tuple[str, int], ...]

    @property
    def name(self) -> str:
        """Name in tables and JSON."""
        return ":".join(
            factor if power == 1 else f"{factor}^{power}" for factor, power in self.powers
        )

    @property
    def factors(self) -> frozenset[str]:
        """Names of the factors in the term."""
        return frozenset(factor for factor, _ in self.powers)


def parse_term(text: str, factors: Sequence[Factor]) -> Term:
    """Return the term that `text` names: ``gas:voltage``, ``voltage^2``, ``a:b:c``.

    Parameters
    ----------
    text
        Factor names joined by colons, each with ``^2`` or higher where it is raised.
    factors
        The factors there are; the term comes back in their order.

    Raises
    ------
    ValueError
        When a name is unknown, or a power is not a whole number from 1.
    """
    order = [factor.name for factor in factors]
    powers: dict[str, int] = {}
    for piece in text.split(":"):
        name, _, power = piece.strip().partition("^")
        name = name.strip()
        if name not in order:
            raise ValueError(f"'{name}' in the term '{text}' is not a factor of this trial")
        if power and not (power.strip().isdigit() and int(power) > 0):
            raise ValueError(f"'{power}' in the term '{text}' is not a whole power")
        powers[name] = powers.get(name, 0) + (int(power) if power else 1)
    return Term(tuple((name, powers[name]) for name in order if name in powers))


def trial_terms(
    factors: Sequence[Factor], model: Model, extra: Sequence[str] = ()
) -> tuple[Term, ...]:
    """Return the terms of a model and the extra ones, each once; raises as `parse_term`."""
    terms = [*model_terms(factors, model), *(parse_term(text, factors) for text in extra)]
    return tuple(dict.fromkeys(terms))


def model_terms(factors: Sequence[Factor], model: Model) -> tuple[Term, ...]:
    """Return the terms of a model, main effects first, without intercept and blocks.

    Parameters
    ----------
    factors
        Factors in the order of the trial file; those with one level are left out.
    model
        ``main``, ``two-factor`` (main effects and all two-factor interactions) or
        ``quadratic`` (those and the squares of numeric factors).
    """
    varied = [factor for factor in factors if factor.varied]
    terms = [Term(((factor.name, 1),)) for factor in varied]
    if model != "main":
        terms += [Term(((a.name, 1), (b.name, 1))) for a, b in combinations(varied, 2)]
    if model == "quadratic":
        terms += [Term(((factor.name, 2),)) for factor in varied if factor.kind == "numeric"]
    return tuple(terms)
