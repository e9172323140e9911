"""A gauge study on the terminal and as JSON, in the words that its page uses too."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Any

from weldtrial.cli.gauge_words import (
    KNOWN_WORDS,
    RULE,
    cost_rows,
    fitness_words,
    margin_words,
    part_rows,
    pooled_words,
    typical_line,
)
from weldtrial.shared.rounding import plain, spaced

if TYPE_CHECKING:
    from weldtrial.analysis.gauge_answer import GaugeFindings, Known
    from weldtrial.analysis.gauge_study import GaugeCost
    from weldtrial.analysis.mean_squares import Component
    from weldtrial.cli.console import Console
    from weldtrial.cli.gauge_folder import GaugeOpened
    from weldtrial.shared.gauge_files import GaugeSheet

_NAMED = 6
"""Missing readings of one sheet that are named before the rest are counted."""


def layout_words(opened: GaugeOpened) -> str:
    """Return who reads what how often, in one sentence."""
    gauge = opened.gauge
    people = len(gauge.readers)
    who = f"{people} readers" if people > 1 else "1 reader"
    if gauge.design == "nested" and people > 1:
        what = f"{gauge.per_reader} coupons of his own each ({gauge.coupons} in all)"
    else:
        what = f"{'the same ' if people > 1 else ''}{gauge.coupons} coupons"
    return f"{who}, {what}, {gauge.repeats} readings each: {len(opened.order.tasks)} readings"


def show_ahead(console: Console, opened: GaugeOpened, ahead: Sequence[Known]) -> None:
    """Show what the study can tell, and how well."""
    console.line(f"Gauge study: {layout_words(opened)} of each response.")
    rows = [
        [KNOWN_WORDS[one.what], str(one.df), f"{one.low:.2f} to {one.high:.2f} times itself"]
        for one in ahead
    ]
    console.table(
        ["what will be known", "degrees of freedom", "95 % interval at best"],
        rows,
        ["left", "right", "right"],
    )
    console.line(
        "The interval of a standard deviation, as so many times what comes out, where nothing "
        "else scatters; what is worked out as a difference is known less well."
    )
    if any(one.what == "readers" and one.df < 3 for one in ahead):
        console.line(
            "So few readers tell little of what readers add: a third or fourth is worth more than "
            "another reading."
        )
    if not any(one.what == "readers" for one in ahead):
        console.line("One reader: nothing will be said of what another would read.")
    if opened.gauge.design == "nested" and len(opened.gauge.readers) > 1:
        console.line(
            "Each coupon is one reader's, so readers who differ cannot be told from readers whose "
            "coupons differ by chance, but for the scatter of coupons."
        )
    console.line(f"It is {_unsealed()} (order {opened.order.code}).")
    console.next("sheets")


def _unsealed() -> str:
    from weldtrial.cli.gauge_folder import UNSEALED

    return UNSEALED


def show_missing(console: Console, opened: GaugeOpened, sheets: Sequence[GaugeSheet]) -> None:
    """Show how much was read, and what was not."""
    console.line(f"Gauge     {layout_words(opened)}")
    console.line(f"Seal      none: {_unsealed()} (order {opened.order.code})", hang=10)
    total = len(opened.order.tasks)
    for sheet in sheets:
        console.line(f"Read      {sheet.response.title}: {len(sheet.values)} of {total}")
        if sheet.missing and sheet.values:
            console.line(f"          {missing_words(sheet)}", hang=10)


def missing_words(sheet: GaugeSheet) -> str:
    """Name the readings that are missing, sheet by sheet: ``reader 1, reading 2: A2H, C3J``."""
    parts = []
    for (reader, repeat), tasks in groupby(sheet.missing, lambda t: (t.reader, t.repeat)):
        stamps = [one.stamp for one in tasks]
        more = f" and {len(stamps) - _NAMED} more" if len(stamps) > _NAMED else ""
        parts.append(f"{reader}, reading {repeat}: {', '.join(stamps[:_NAMED])}{more}")
    return f"{sheet.response.title} lacks {'; '.join(parts)}."


def show_findings(console: Console, opened: GaugeOpened, findings: Sequence[GaugeFindings]) -> None:
    """Show components, fitness and costs of every response."""
    console.line(f"Gauge study: {layout_words(opened)} of each response; {_unsealed()}.")
    for one in findings:
        unit = spaced(one.response.unit)
        console.heading(one.response.title.upper())
        for words in (fitness_words(one), margin_words(one)):
            if words:
                console.line(f"  \N{BLACK RIGHT-POINTING TRIANGLE} {words}", style="bold", hang=4)
        console.line()
        console.table(
            ["scatter of", f"standard deviation{',' if unit else ''}{unit}", "95 % interval",
             "% of total", "% of variance"],
            part_rows(one),
            ["left", "right", "right", "right", "right"],
        )  # fmt: skip
        if words := pooled_words(one):
            console.line(f"  {words}", hang=2)
        if len(opened.gauge.readers) == 1:
            console.line("  One reader: nothing is said of what another would read.", hang=2)
        console.line(f"  {RULE}", hang=2)
        _costs(console, one)
        if line := typical_line(one):
            console.line("  For the trial's response, to paste:")
            console.line(f"    {line}", hang=4)
    console.line()
    console.next("report", "for the page to show others")


def _costs(console: Console, one: GaugeFindings) -> None:
    rows = cost_rows(one)
    if not rows or one.coupon_sd is None:
        console.line("  No scatter between coupons was seen, so no cost to a trial is reckoned.")
        return
    whose = (
        "as the trial file expects"
        if one.coupon_sd_from == "typical"
        else "as in this study, whose coupons may have been picked to differ"
    )
    own = plain(float(f"{one.coupon_sd:.2g}"))
    console.line()
    console.line(
        f"  What the gauge costs a trial whose coupons scatter by {own}"
        f"{spaced(one.response.unit)} ({whose}):",
        hang=2,
    )
    console.table(
        ["readings a coupon", "gauge's scatter in a coupon", "a coupon's scatter", "more coupons"],
        rows,
        ["left", "right", "right", "right"],
    )


def gauge_json(opened: GaugeOpened, findings: Sequence[GaugeFindings]) -> dict[str, Any]:
    """Return the findings as plain values in the documented form."""
    return {
        "trial": opened.trial.title,
        "purpose": "gauge",
        "sealed": False,
        "order": opened.order.code,
        "gauge": opened.gauge,
        "responses": {one.response.name: _response(one) for one in findings},
    }


def _response(one: GaugeFindings) -> dict[str, Any]:
    study = one.study
    named = {
        "coupon": study.coupon,
        "repeatability": study.repeatability,
        "reproducibility": study.reproducibility,
        "reader": study.reader,
        "interaction": study.interaction,
        "gauge": study.gauge,
        "total": study.total,
    }
    return {
        "unit": one.response.unit,
        "n": one.n,
        "mean": one.mean,
        "squares": [
            {"source": line.source, "squares": line.squares, "df": line.df}
            for line in study.squares
        ],
        "components": {
            name: None if part is None else _component(one, part) for name, part in named.items()
        },
        "interaction_p": study.interaction_p,
        "pooled": study.pooled,
        "classes": study.classes,
        "fitness": one.fitness,
        "sd_reading": one.sd_reading,
        "margin": one.margin,
        "sees_margin": one.sees_margin,
        "coupon_sd": one.coupon_sd,
        "coupon_sd_from": one.coupon_sd_from,
        "costs": [
            {"readings": number, **_cost(found)} for number, found in enumerate(one.costs, start=1)
        ],
        "cost_several_readers": None
        if one.cost_several_readers is None
        else _cost(one.cost_several_readers),
        "typical": typical_line(one),
        "words": [words for words in (fitness_words(one), margin_words(one)) if words],
    }


def _component(one: GaugeFindings, part: Component) -> dict[str, Any]:
    return {
        "variance": part.variance,
        "raw": part.raw,
        "low": part.low,
        "high": part.high,
        "sd": part.sd,
        "percent": one.study.percent(part),
        "percent_of_variance": one.study.percent_of_variance(part),
    }


def _cost(found: GaugeCost) -> dict[str, float]:
    return {
        "sd_reading": found.sd_reading,
        "sd_value": found.sd_value,
        "inflation": found.inflation,
        "coupons": found.coupons,
    }
