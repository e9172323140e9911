"""A gauge study as one page that needs nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from weldtrial.cli.gauge_screen import layout_words
from weldtrial.cli.gauge_words import (
    NOT_A_TRIAL,
    RULE,
    cost_rows,
    fitness_words,
    margin_words,
    part_rows,
    pooled_words,
    sd_text,
    typical_line,
)
from weldtrial.cli.pages import environment
from weldtrial.cli.report_blocks import Block, Box, Section, Text, table
from weldtrial.shared.clock import spoken_time
from weldtrial.shared.rounding import brief

if TYPE_CHECKING:
    from weldtrial.analysis.gauge_answer import GaugeFindings
    from weldtrial.cli.gauge_folder import GaugeOpened

_METHOD = (
    "Variance components from the mean squares of a balanced study; a negative one counts as zero. "
    "Intervals by the modified large-sample method (Burdick, Borror & Montgomery 2005, Design and "
    "Analysis of Gauge R&R Studies). Repeatability is one reader reading the same coupon again; "
    "reproducibility is what readers add."
)


def gauge_page(opened: GaugeOpened, findings: Sequence[GaugeFindings], *, written: str) -> str:
    """Return the page as HTML: the same bytes for the same findings and `written`."""
    sections = [
        *(_response(number, one) for number, one in enumerate(findings, start=1)),
        _readings(len(findings) + 1, opened),
        Section(len(findings) + 2, "How it was worked out", (Text(_METHOD), Text(RULE))),
    ]
    return (
        environment()
        .get_template("gauge.html.j2")
        .render(
            trial=opened.trial,
            invented="invented" in opened.trial.owner.casefold(),
            layout=f"{layout_words(opened)} of each response.",
            order=opened.order.code,
            sections=sections,
            written=spoken_time(written),
            not_a_qualification=NOT_A_TRIAL,
        )
    )


def _response(number: int, one: GaugeFindings) -> Section:
    unit = one.response.unit
    blocks: list[Block] = [
        Box(fitness_words(one), tuple(words for words in (margin_words(one),) if words)),
        table(
            ("scatter of", f"standard deviation, {unit}", "95 % interval", "% of total",
             "% of variance"),
            part_rows(one),
            wide=True,
        ),
    ]  # fmt: skip
    if words := pooled_words(one):
        blocks.append(Text(words))
    rows = cost_rows(one)
    if rows and one.coupon_sd is not None:
        blocks.append(
            table(
                ("readings a coupon", f"gauge\u2019s scatter in a coupon, {unit}",
                 f"a coupon\u2019s scatter, {unit}", "more coupons"),
                rows,
                f"What the gauge costs a trial whose coupons scatter by "
                f"{sd_text(one.coupon_sd, unit)}.",
                wide=True,
            )
        )  # fmt: skip
        blocks.append(Text(typical_line(one), "For the trial: "))
    return Section(number, f"{one.response.title}, {unit}", tuple(blocks))


def _readings(number: int, opened: GaugeOpened) -> Section:
    blocks: list[Block] = []
    for sheet in opened.sheets():
        columns = list(dict.fromkeys((task.reader, task.repeat) for task in opened.order.tasks))
        rows = [
            (
                stamp,
                *(brief(sheet.values.get((*column, stamp)), 6) for column in columns),
            )
            for stamp in opened.order.stamps
        ]
        headers = ("coupon", *(f"{reader} {repeat}" for reader, repeat in columns))
        caption = f"{sheet.response.title}, {sheet.response.unit}: readings by reader and sheet."
        blocks.append(table(headers, rows, caption, wide=True))
    return Section(number, "All readings", tuple(blocks))
