"""``weldtrial plan --compare``: alternatives side by side."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from weldtrial.cli.telling import Alternative, Telling
from weldtrial.cli.telling_screen import place_cell, scatter_words, width_cell
from weldtrial.shared.rounding import brief, fixed

if TYPE_CHECKING:
    from weldtrial.cli.console import Align, Console
    from weldtrial.doe.bench import Figure

NAMED = 2
"""Terms that read alike beyond this are counted and not named."""


@dataclass(frozen=True, slots=True)
class Compared:
    """What is laid side by side of one plan.

    Attributes
    ----------
    coupons
        Spares and warm-ups included.
    hours, cost
        None where the file does not give what they need.
    told, asked
        Terms told with something to judge them by, and terms of the model.
    tied_wholly, tied_in_part
        Pairs of effects up to two factors that travel together.
    closest
        The largest correlation of a pair, 0 to 1.
    chance
        Chance for what is asked, None where no scatter is known.
    half_widths
        Half of the 95 % interval to expect of each term; None as for a width.
    """

    coupons: int
    set_ups: int
    hours: float | None
    cost: float | None
    told: int
    asked: int
    tied_wholly: int
    tied_in_part: int
    closest: float
    chance: float | None
    half_widths: dict[str, float | None]
    worst_half_width: float | None
    worst_variance: float | None


def compared(telling: Telling) -> Compared:
    """Return what is laid side by side of one plan."""
    from weldtrial.doe.quality_words import TIED, WHOLLY

    assessment, quality = telling.figures.assessment, telling.quality
    layout, pairs = assessment.layout, quality.blurred.pairs
    wholly = len(quality.blurred.tied(WHOLLY))
    worst = None if quality.prediction is None else quality.prediction.worst
    return Compared(
        coupons=layout.total,
        set_ups=layout.set_ups,
        hours=assessment.bench.hours.value,
        cost=assessment.bench.cost.value,
        told=len(assessment.told),
        asked=len(layout.strata.told) + len(layout.strata.left_out),
        tied_wholly=wholly,
        tied_in_part=len(quality.blurred.tied(TIED)) - wholly,
        closest=abs(pairs[0].correlation) if pairs else 0.0,
        chance=telling.chance,
        half_widths={one.term: one.half_width for one in quality.widths},
        worst_half_width=None if worst is None else worst.half_width,
        worst_variance=None if worst is None else worst.relative,
    )


def show_comparison(console: Console, plans: Sequence[Alternative]) -> None:
    """Show plans side by side, and what each changes."""
    first = next(plan.telling for plan in plans if plan.telling is not None)
    console.line(first.figures.trial.title, style="bold")
    console.line(f"  {scatter_words(first)}", hang=2)
    console.line()
    for plan in plans:
        changes = ", ".join(f"{change.key} = {change.now}" for change in plan.changes)
        console.line(f"  {plan.name:<6} {changes or 'the plan of the file'}", hang=9)
    console.line()
    sides: list[Align] = ["left"]
    sides += ["right"] * len(plans)
    console.table(["", *(plan.name for plan in plans)], _rows(plans), sides)
    for plan in plans:
        if plan.telling is None:
            console.line(f"  {plan.name} cannot be laid out: {plan.why}", hang=2)
    _below(console, plans)


def _rows(plans: Sequence[Alternative]) -> list[list[str]]:
    tells = [plan.telling for plan in plans]
    both = [None if tell is None else (tell, compared(tell)) for tell in tells]

    def row(label: str, cell: Callable[[Telling, Compared], str | None]) -> list[str]:
        cells = [None if one is None else cell(*one) for one in both]
        return [label, *("–" if text is None else text for text in cells)]

    names = dict.fromkeys(
        width.term for tell in tells if tell is not None for width in tell.quality.widths
    )
    unit = next((tell.unit for tell in tells if tell is not None), "")
    sign = f"± {unit}" if unit else "error"
    return [
        row("coupons, spares included", lambda tell, one: str(one.coupons)),
        row("set-ups", lambda tell, one: str(one.set_ups) if one.set_ups else None),
        row("bench hours", lambda tell, one: _figure(one.hours, 1)),
        row("cost", lambda tell, one: _cost(tell.figures.assessment.bench.cost)),
        row("terms told, of the model's", lambda tell, one: f"{one.told} of {one.asked}"),
        row("pairs of effects not told apart", lambda tell, one: str(one.tied_wholly)),
        row("pairs told apart only in part", lambda tell, one: str(one.tied_in_part)),
        *_widths(plans, sign, list(names), both),
        row("chance for what is asked", lambda tell, one: _chance(one)),
        row("worst error of an average anywhere", lambda tell, one: _worst(tell)),
        row("interval if the worst coupon is lost", lambda tell, one: _loss(tell)),
    ]


def _widths(
    plans: Sequence[Alternative],
    sign: str,
    names: Sequence[str],
    both: Sequence[tuple[Telling, Compared] | None],
) -> list[list[str]]:
    """Return the rows of the terms, those that read alike in all plans together."""
    alike: dict[tuple[str, ...], list[str]] = {}
    for name in names:
        cells = tuple("–" if one is None else _width(name, one[0]) for one in both)
        alike.setdefault(cells, []).append(_called(plans, name))
    rows = []
    for cells, words in alike.items():
        label = ", ".join(words)
        if len(words) > NAMED + 1:
            label = f"{', '.join(words[:NAMED])} and {len(words) - NAMED} more"
        rows.append([f"{sign}, {label}", *cells])
    return rows


def _chance(one: Compared) -> str | None:
    return None if one.chance is None else f"{100 * one.chance:.0f} %"


def _worst(telling: Telling) -> str | None:
    found = telling.quality.prediction
    return None if found is None else place_cell(found.worst, telling)


def _figure(value: float | None, decimals: int) -> str | None:
    return None if value is None else fixed(value, decimals)


def _cost(figure: Figure) -> str | None:
    return None if figure.value is None else f"{figure.value:.0f} {figure.unit}".strip()


def _width(name: str, telling: Telling) -> str:
    width = next((one for one in telling.quality.widths if one.term == name), None)
    return "not told" if width is None else width_cell(width, known=bool(telling.unit))


def _called(plans: Sequence[Alternative], name: str) -> str:
    from weldtrial.cli.telling_screen import term_called

    owner = next(
        plan.telling
        for plan in plans
        if plan.telling and any(one.term == name for one in plan.telling.quality.widths)
    )
    return term_called(owner, name)


def _loss(telling: Telling) -> str | None:
    found = telling.quality.losses
    if found is None:
        return None
    loss = found.coupon
    lost = len(loss.dropped) + len(loss.unjudged)
    if lost:
        return f"{lost} term{'s' if lost > 1 else ''} lost"
    return None if loss.growth is None else f"× {brief(loss.growth, 3)}"


def _below(console: Console, plans: Sequence[Alternative]) -> None:
    unit = next((plan.telling.unit for plan in plans if plan.telling), "")
    what = (
        "± and the worst error are half of the 95 % interval to expect"
        if unit
        else "Errors are standard errors in coupon scatters"
    )
    console.line(
        f"  {what}. One plan in full:  weldtrial plan --tells  with what it changes as --if.",
        hang=2,
    )
