"""The trade-off front of two responses, with the raw coupons behind it."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.figure import Figure

from weldtrial.analysis.figures.settings_style import (
    draw_dots,
    draw_limits,
    limit_words,
    name_lines,
    name_of,
)
from weldtrial.analysis.figures.style import (
    HALF_IN,
    FigureText,
    heading,
    house_style,
    looks_for,
    new_figure,
)
from weldtrial.analysis.joint import Limit
from weldtrial.analysis.settings_trade_offs import TradeOff
from weldtrial.shared.rounding import brief

Named = tuple[str, str]
"""A response and its unit."""


def draw(
    found: Sequence[TradeOff],
    across: Named,
    up: Named,
    limits: tuple[Limit | None, Limit | None] = (None, None),
    width: float = HALF_IN,
) -> Figure:
    """Draw, gas by gas, the averages that no other setting beats in both, and every coupon."""
    looks = looks_for([name_of(one.levels) for one in found])
    with house_style():
        figure = new_figure(2.6, width)
        axes = figure.subplots()
        for one in found:
            name = name_of(one.levels)
            look = looks[name]
            draw_dots(axes, one.dots, look, size=4)
            if not len(one.x):
                continue
            axes.plot(one.x, one.y, color=look.colour, linewidth=1.8, marker=look.marker,
                      markersize=3, zorder=6)  # fmt: skip
        draw_limits(axes, limits[0], vertical=True)
        draw_limits(axes, limits[1])
        axes.set_xlabel(f"{across[0].replace('_', ' ')}, {across[1]}")
        axes.set_ylabel(f"{up[0].replace('_', ' ')}, {up[1]}")
        axes.margins(0.06)
        name_lines(axes, [
            (float(one.x[0]), float(one.y[0]), name_of(one.levels),
             looks[name_of(one.levels)].colour)
            for one in found if len(one.x)
        ])  # fmt: skip
        names = f"{up[0].replace('_', ' ')} against {across[0].replace('_', ' ')}"
        heading(figure, f"{names}: best averages (line) and every coupon", width)
    return figure


def describe(
    found: Sequence[TradeOff],
    across: Named,
    up: Named,
    limits: tuple[Limit | None, Limit | None] = (None, None),
) -> FigureText:
    """Return alt text, caption and the ends of each front."""
    rows = []
    for one in found:
        for place in sorted({0, len(one.x) - 1}) if len(one.x) else ():
            rows.append(
                (name_of(one.levels), brief(float(one.x[place]), 3), brief(float(one.y[place]), 3))
            )
    dots = sum(len(one.dots) for one in found)
    first, second = across[0].replace("_", " "), up[0].replace("_", " ")
    said = "; ".join(
        f"{row[0] or 'the front'} reaches {row[1]} {across[1]} with {row[2]} {up[1]}"
        for row in rows
    )
    return FigureText(
        alt=(
            f"Scatter of {second} against {first} for {dots} coupons with the front of averages "
            f"that no setting beats: {said}. Limits: {limit_words(limits[0])} and "
            f"{limit_words(limits[1])}."
        ),
        caption=(
            "Line: averages expected at settings that no other beats in both responses. Marks: "
            f"all {dots} coupons read for both; a front of averages is not where single coupons "
            "end up. Dashed: the limits."
        ),
        table_headers=("gas", f"{first}, {across[1]}", f"{second}, {up[1]}"),
        table_rows=tuple(rows),
    )
