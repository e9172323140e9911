"""``weldtrial power --json``: every figure that the screen shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any

from weldtrial.cli.left_open import all_asks, as_plain

if TYPE_CHECKING:
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
            "sd_reading": known.spread.reading if known else None,
            "readings": known.spread.readings if known else None,
            "source": known.source if known else None,
            **_plan(one),
            **_answers(one),
            "averaged": {
                ask: as_plain(found)
                for ask, found in (
                    all_asks(one.response, known, one.shape, chance).items()
                    if one.groups is None and one.counted is None
                    else ()
                )
            },
            "words": one.missing or None,
            **_counted(one),
        }
    return {"responses": responses}


def _counted(one: PowerFigures) -> dict[str, Any]:
    if one.counted is None:
        return {}
    from weldtrial.analysis.counted_power import how_worked_out
    from weldtrial.cli.counted_plan import foreseen_json

    found = foreseen_json(one.response, one.counted.foreseen)
    return {**found, "worked_out_by": how_worked_out(one.counted, one.shape)}


def _plan(one: PowerFigures) -> dict[str, Any]:
    shape, groups, time = one.shape, one.groups, one.time
    each = None if groups is None else [groups.new, groups.reference]
    return {
        "setups": shape.setups_per_level if groups is None else None,
        "coupons_a_set_up": shape.per_setup if shape.by_setups else None,
        "coupons_planned": one.coupons,
        "paired": shape.paired if shape.by_setups else None,
        "unequal_setups": each if shape.by_setups else None,
        "unequal_coupons": None if shape.by_setups else each,
        "levels": shape.levels,
        "read_together": None if shape.family == "single" else shape.family,
        "hours": time.hours,
        "days": time.days,
        "needed_hours": time.needed,
        "smallest_p": one.smallest_p,
    }


def _answers(one: PowerFigures) -> dict[str, Any]:
    gauge, width = one.gauge, one.width
    return {
        "half_width": None
        if width is None
        else {
            **asdict(width),
            "within": one.width_within,
            "setups_per_gas": one.width_needs[0],
            "coupons": one.width_needs[1],
        },
        "best": None if one.best is None else asdict(one.best),
        "coupons_in_the_same_set_ups": [asdict(step) for step in one.ladder],
        "with_perfect_readings": one.perfect_readings,
        "gauge_steps": None if gauge is None else gauge.steps,
        "terms": [{**asdict(term), "words": words} for words, term in one.terms],
    }
