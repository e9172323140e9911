"""One response along one setting: what the next coupon should read, and what the coupons read."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from weldtrial.analysis.figures.settings_style import (
    axis_name,
    draw_dots,
    draw_limits,
    fixed_words,
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
from weldtrial.analysis.settings_curves import SettingCurve
from weldtrial.shared.factors import Factor
from weldtrial.shared.rounding import by_uncertainty, interval
from weldtrial.shared.said_settings import said_number


def draw(
    curves: Sequence[SettingCurve], limit: Limit | None = None, width: float = HALF_IN
) -> Figure:
    """Draw mean and interval for the next coupon, only where coupons were welded around."""
    looks = looks_for([name_of(one.levels) for one in curves])
    with house_style():
        figure = new_figure(2.6, width)
        axes = figure.subplots()
        for one in curves:
            look = looks[name_of(one.levels)]
            if len(one.x):
                axes.fill_between(one.x, one.low, one.high, color=look.colour, alpha=0.12,
                                  linewidth=0, zorder=1)  # fmt: skip
                for edge in (one.low, one.high):
                    axes.plot(one.x, edge, color=look.colour, linewidth=0.7, linestyle=":",
                              zorder=2)  # fmt: skip
                axes.plot(one.x, one.mean, color=look.colour, zorder=3)
            draw_dots(axes, one.dots, look, size=4)
        draw_limits(axes, limit)
        first = curves[0]
        axes.set_xlabel(axis_name(first.factor))
        axes.set_ylabel(f"{first.response.replace('_', ' ')}, {first.unit}")
        axes.margins(x=0.1)
        name_lines(axes, [
            (float(one.x[-1]), float(one.mean[-1]), name_of(one.levels),
             looks[name_of(one.levels)].colour)
            for one in curves if len(one.x)
        ])  # fmt: skip
        title = f"{first.response.replace('_', ' ')} along {first.factor.title.lower()}"
        heading(figure, f"{title}: next coupon, 95 %", width)
    return figure


def describe(
    curves: Sequence[SettingCurve], factors: Sequence[Factor], limit: Limit | None = None
) -> FigureText:
    """Return alt text, caption and the curve's ends."""
    rows = []
    for one in curves:
        for place in sorted({0, len(one.x) // 2, len(one.x) - 1}) if len(one.x) else ():
            rows.append(
                (
                    name_of(one.levels), said_number(one.factor, float(one.x[place])),
                    by_uncertainty(float(one.mean[place]), _half(one, place)),
                    interval(float(one.low[place]), float(one.high[place])),
                )
            )  # fmt: skip
    first = curves[0]
    name = first.response.replace("_", " ")
    said = "; ".join(_said(one) for one in curves)
    held = "; ".join(
        f"{name_of(one.levels)} at {fixed_words(factors, one.fixed)}".strip()
        for one in curves
        if one.fixed
    )
    dots = sum(len(one.dots) for one in curves)
    return FigureText(
        alt=(
            f"Curves of {name} in {first.unit} along {first.factor.title.lower()} with {dots} "
            f"coupons: {said}; limit {limit_words(limit)}."
        ),
        caption=(
            "Line: fitted mean. Band: what the next coupon in a fresh set-up should read, 95 %; "
            f"drawn only where coupons were welded around. {'Held: ' + held + '. ' if held else ''}"
            f"Marks: all {dots} coupons, small and pale where their other settings lie far off."
        ),
        table_headers=("gas", axis_name(first.factor), f"mean, {first.unit}", "next coupon, 95 %"),
        table_rows=tuple(rows),
    )


def _half(one: SettingCurve, place: int) -> float:
    return float(one.high[place] - one.low[place]) / 2


def _said(one: SettingCurve) -> str:
    name = name_of(one.levels) or "the mean"
    if not len(one.x):
        return f"{name} was not welded along it"
    change = float(one.mean[-1] - one.mean[0])
    turns = float(np.ptp(one.mean)) > 1.2 * abs(change)
    if turns:
        return f"{name} turns on the way"
    way = "rises" if change > 0 else "falls"
    ends = [by_uncertainty(float(one.mean[place]), _half(one, place)) for place in (0, -1)]
    return f"{name} {way} from {ends[0]} to {ends[1]}"
