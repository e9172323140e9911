"""What ``weldtrial power`` shows: one table, then what it means."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any

from weldtrial.cli.left_open import all_asks, as_plain, show_open
from weldtrial.shared.rounding import brief

if TYPE_CHECKING:
    from weldtrial.analysis.needs import Needs
    from weldtrial.analysis.shape import Shape
    from weldtrial.cli.console import Console
    from weldtrial.cli.power_figures import PowerFigures


def as_json(figures: Sequence[PowerFigures], chance: float) -> dict[str, Any]:
    """Return what plans can show as plain values, one object a response."""
    from weldtrial.analysis.needs import Needs

    empty = {field.name: None for field in fields(Needs)}
    responses = {}
    for one in figures:
        known = one.assumed
        responses[one.response.name] = {
            **(empty if one.needs is None else asdict(one.needs)),
            "chance": chance,
            "unit": known.unit if known else one.response.unit,
            "ask": one.response.ask,
            "mean": known.mean if known and not known.prior and known.mean else None,
            "sd_coupon": known.spread.coupon if known else None,
            "sd_setup": known.spread.setup if known else None,
            "source": known.source if known else None,
            "setups": one.shape.setups_per_level,
            "coupons_a_set_up": one.shape.per_setup if one.shape.by_setups else None,
            "coupons_planned": one.shape.coupons,
            "paired": one.shape.paired if one.shape.by_setups else None,
            "words": one.missing or None,
            "averaged": {
                ask: as_plain(found)
                for ask, found in all_asks(one.response, known, one.shape, chance).items()
            },
        }
    return {"responses": responses}


def show_power(console: Console, figures: Sequence[PowerFigures], chance: float) -> None:
    """Show what a plan can show of every response."""
    console.line(plan_words(figures[0].shape), style="bold")
    console.line(f'"Probably" below means a chance of {_percent(chance)}.')
    for one in figures:
        console.heading(one.response.title if one.response.name != "response" else "This plan")
        if one.needs is None or one.assumed is None:
            console.line(f"  {one.missing}", hang=2)
            continue
        spread, unit = one.assumed.spread, one.assumed.unit
        source = f" ({one.assumed.source})" if one.assumed.source else ""
        console.line(
            f"  Worked out from: {_with(spread.coupon, unit)} coupon to coupon, "
            f"{_with(spread.setup, unit)} set-up to set-up{source}.",
            hang=2,
        )
        _table(console, one)
        for words in sentences(one):
            console.line(f"  {words}", hang=2)
        show_open(console, one.response, one.assumed, one.shape, chance)
    console.line()


def plan_words(shape: Shape) -> str:
    """Return the plan in words."""
    if not shape.by_setups:
        return f"{shape.coupons} coupons, each set up anew, completely shuffled"
    how = "in rounds" if not shape.free else "shuffled freely"
    each = "coupon" if shape.per_setup == 1 else "coupons"
    return (
        f"{shape.setups_per_level} set-ups of each, {how}, {shape.per_setup} {each} a set-up: "
        f"{shape.coupons} coupons"
    )


def _with(value: float | None, unit: str) -> str:
    return "–" if value is None else f"{brief(value, 3)} {unit}".strip()


def _percent(chance: float | None, target: float | None = None) -> str:
    """Return a chance in whole percent, finer where rounding would say the target is met."""
    if chance is None:
        return "–"
    if chance < 1 and f"{100 * chance:.0f}" == "100":
        return "over 99 %"
    if target is not None and chance < target <= round(chance, 2):
        return f"{math.floor(1000 * chance) / 10:.1f} %"
    return f"{100 * chance:.0f} %"


def _table(console: Console, one: PowerFigures) -> None:
    needs, unit = one.needs, one.assumed.unit if one.assumed else ""
    assert needs is not None
    by_setups = one.shape.by_setups
    headers = ["to show", "chance with this plan", *(["set-ups of each needed"] * by_setups)]
    if needs.loss is None:
        console.line("  No margin is given, so there is no loss to ask about.", hang=2)
        return
    loss = _with(needs.loss, unit)
    rows: list[tuple[str, float | None, int | None, int | None]] = [
        (f"a true loss of {loss}", needs.power, needs.setups_per_gas, needs.coupons),
        (
            f"no worse by {loss}, if equal",
            needs.no_worse,
            needs.no_worse_setups_per_gas,
            needs.no_worse_coupons,
        ),
        (
            f"equal within {loss}, if equal",
            needs.equal_enough,
            needs.equal_enough_setups_per_gas,
            needs.equal_enough_coupons,
        ),
    ]
    cells = [
        [what, _percent(chance, needs.chance), *([_number(setups)] * by_setups), _number(coupons)]
        for what, chance, setups, coupons in rows
    ]
    console.table([*headers, "coupons needed in all"], cells, None)


def _number(value: int | None) -> str:
    return "out of reach" if value is None else str(value)


def sentences(one: PowerFigures) -> list[str]:
    """Return what the figures of a plan mean."""
    needs, shape = one.needs, one.shape
    assert needs is not None
    unit = one.assumed.unit if one.assumed else ""
    if needs.detectable is None:
        return [
            "Each is set up once, so gas and set-up cannot be told apart and nothing can be shown, "
            "however many coupons are welded. Set each up at least four times."
            if shape.by_setups
            else "Nothing is welded twice, so nothing can be shown. Weld more coupons."
        ]
    words = [
        f"Smallest loss it would probably see: {_with(needs.detectable, unit)}. Anything smaller "
        'may pass unseen, and an answer of "not settled" is then no sign that the two are alike.'
    ]
    if shape.family != "single":
        words.append(
            f"{shape.levels} levels are read together, so that all the intervals hold at once; the "
            "figures allow for it."
        )
    if needs.coupons is not None and needs.coupons > shape.coupons:
        words.append(_short(needs, shape, unit))
    elif needs.power is not None and needs.coupons is not None:
        words.append("The plan as given is enough to probably show a loss of that size.")
    return words


def _short(needs: Needs, shape: Shape, unit: str) -> str:
    more = (
        f"{needs.setups_per_gas} set-ups of each ({needs.coupons} coupons)"
        if needs.setups_per_gas is not None
        else f"{needs.coupons} coupons"
    )
    words = f"To probably show a true loss of {_with(needs.loss, unit)} it takes {more}."
    if shape.by_setups:
        words += " More coupons in the same set-ups help less: set-ups are what is compared."
    return words
