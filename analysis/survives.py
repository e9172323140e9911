"""What survives both readings of fair: only what each of the two verdicts shows by itself.

A statement is made when both comparisons show it, so its own error rate is no larger than that of
either (Berger 1982, Technometrics 24, 295-300: the intersection of tests needs no correction).
The two verdicts themselves are read together, by the equicoordinate multivariate t.
"""

from __future__ import annotations

from collections.abc import Sequence

from weldtrial.analysis.context import Context
from weldtrial.analysis.findings import Comparison, Strength, Survives, VerdictCode
from weldtrial.analysis.verdict_words import LEADS, margin_words
from weldtrial.shared.responses import Response

IMPLIES: dict[VerdictCode, tuple[str, ...]] = {
    "worse_beyond_margin": ("worse_beyond_margin", "worse"),
    "worse_margin_unsettled": ("worse",),
    "worse_within_margin": ("worse", "equal", "not_worse"),
    "better_beyond_margin": ("better_beyond_margin", "better", "not_worse"),
    "better_margin_unsettled": ("better", "not_worse"),
    "better_within_margin": ("better", "equal", "not_worse"),
    "not_worse": ("not_worse",),
    "equivalent": ("equal", "not_worse"),
}
"""What each verdict shows, the strongest statement first."""
STRONGER = {"worse_beyond_margin": ("worse",), "better_beyond_margin": ("better", "not_worse"),
            "better": ("not_worse",), "equal": ("not_worse",)}  # fmt: skip
"""Statements that need not be made beside a stronger one."""
WORDS = {
    "worse_beyond_margin": "{level} is worse than {reference} by more than {margin}",
    "worse": "{level} is worse than {reference}",
    "better_beyond_margin": "{level} is better than {reference} by more than {margin}",
    "better": "{level} is better than {reference}",
    "equal": "{level} is equal to {reference} within {margin}",
    "not_worse": "{level} is no worse than {reference} by more than {margin}",
}
SURVIVES = "Survives both readings of fair. {lead}: {said}."
NOTHING = "Nothing survives both readings of fair: {own}; {same}.{turns}"
TURNS = " The answer turns on what is called fair."
OPEN = {
    "not_settled": "it is not settled",
    "depends_on": "it depends on a check",
    "at_limit": "too many coupons went past the gauge limit",
    "cannot_tell": "it cannot be told",
}
AGAINST = (("worse", "better"), ("worse_beyond_margin", "not_worse"))
"""Statements that cannot both hold of one and the same comparison."""


def survives(
    context: Context, response: Response, comparisons: Sequence[Comparison]
) -> Survives | None:
    """Return what both readings show, None where a trial does not weld both or gives no verdict."""
    pair = [one for one in comparisons if one.reading]
    if len(pair) != 2 or context.trial.purpose == "pilot" or context.look.state == "unplanned":
        return None
    shown = [_statements(one, response) for one in pair]
    both = _strongest([one for one in shown[0] if one in shown[1]])
    if not both:
        own, same = (_told(*one, response) for one in zip(pair, shown, strict=True))
        turns = TURNS if _against(*shown) else ""
        return Survives((), None, NOTHING.format(own=own, same=same, turns=turns))
    strength: Strength = (
        "shown" if all(one.verdict.strength == "shown" for one in pair) else "suggests"
    )
    said = _said(pair[0], both, response)
    return Survives(both, strength, SURVIVES.format(lead=LEADS[strength], said=said))


def _strongest(statements: Sequence[str]) -> tuple[str, ...]:
    weaker = {less for one in statements for less in STRONGER.get(one, ())}
    return tuple(one for one in statements if one not in weaker)


def _said(one: Comparison, statements: Sequence[str], response: Response) -> str:
    return " and ".join(
        WORDS[each].format(level=one.level, reference=one.reference, margin=margin_words(response))
        for each in statements
    )


def _told(one: Comparison, statements: Sequence[str], response: Response) -> str:
    said = _said(one, _strongest(statements), response)
    return f"{one.at} {said or OPEN.get(one.verdict.code or '', 'no verdict is given')}"


def _against(own: Sequence[str], same: Sequence[str]) -> bool:
    return any(
        (one in own and other in same) or (one in same and other in own) for one, other in AGAINST
    )


def _statements(one: Comparison, response: Response) -> tuple[str, ...]:
    code = one.verdict.code
    if code == "difference_shown" and one.difference is not None:
        return ("worse",) if response.sign * one.difference < 0 else ("better",)
    return IMPLIES.get(code, ()) if code is not None else ()
