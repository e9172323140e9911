"""One response as contours over two settings, with the region where every limit holds."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from weldtrial.analysis.figures.settings_style import (
    axis_name,
    blank_out,
    draw_dots,
    fixed_words,
    limit_words,
    name_of,
    panels,
)
from weldtrial.analysis.figures.style import (
    GREY,
    INK,
    WIDTH_IN,
    FigureText,
    Look,
    heading,
    house_style,
    looks_for,
)
from weldtrial.analysis.joint import Limit
from weldtrial.analysis.settings_maps import SettingsMap
from weldtrial.shared.factors import Factor
from weldtrial.shared.rounding import brief

SHADE = "#b7d1e6"


def draw(
    maps: Sequence[SettingsMap],
    factors: Sequence[Factor],
    response: str,
    unit: str,
    limit: Limit | None = None,
) -> Figure:
    """Draw the fitted mean of one response, one panel for each gas.

    Parameters
    ----------
    limit
        Of this response; its line is drawn bold and dashed.
    """
    looks = looks_for([name_of(one.levels) for one in maps])
    with house_style():
        figure, grid = panels(len(maps))
        for axes, one in zip(grid, maps, strict=True):
            _panel(axes, one, factors, response, limit, looks[name_of(one.levels)])
        said = f"{response.replace('_', ' ')}, {unit}"
        heading(figure, f"Fitted mean of {said}; blue: enough new welds meet every limit",
                WIDTH_IN)  # fmt: skip
    return figure


def _panel(
    axes: Axes,
    one: SettingsMap,
    factors: Sequence[Factor],
    response: str,
    limit: Limit | None,
    look: Look,
) -> None:
    mean = one.means[response]
    axes.contourf(
        one.across, one.up, one.chance, levels=[one.keep - 1e-12, 1.01], colors=[SHADE], zorder=1
    )
    spoken = mean[one.shown]
    if spoken.size and float(np.ptp(spoken)) > 0:
        drawn = axes.contour(
            one.across, one.up, mean, levels=7, colors=[GREY], linewidths=0.8, zorder=2
        )
        axes.clabel(drawn, fmt=lambda value: f"{value:.4g}", fontsize=6.5)
        for value in () if limit is None else (limit.at_least, limit.at_most):
            if value is not None and spoken.min() < value < spoken.max():
                axes.contour(
                    one.across, one.up, mean, levels=[value], colors=[INK], linewidths=1.8,
                    linestyles="dashed", zorder=2,
                )  # fmt: skip
    blank_out(axes, one.across, one.up, one.unseen & ~one.ruled_out)
    blank_out(axes, one.across, one.up, one.ruled_out, "///")
    draw_dots(axes, one.tried, look)
    axes.set_xlim(float(one.across.min()), float(one.across.max()))
    axes.set_ylim(float(one.up.min()), float(one.up.max()))
    axes.set_xlabel(axis_name(one.factors[0]))
    axes.set_ylabel(axis_name(one.factors[1]))
    held, title = fixed_words(factors, one.fixed), name_of(one.levels)
    axes.set_title(f"{title}\n{held}" if title and held else title or held, loc="left", fontsize=8)


def describe(
    maps: Sequence[SettingsMap],
    factors: Sequence[Factor],
    response: str,
    unit: str,
    limit: Limit | None = None,
) -> FigureText:
    """Return alt text, caption and the span of each gas's map."""
    rows = []
    for one in maps:
        spoken = one.means[response][one.shown]
        low, high = (float(spoken.min()), float(spoken.max())) if spoken.size else (np.nan, np.nan)
        rows.append(
            (
                name_of(one.levels), fixed_words(factors, one.fixed), brief(low, 3), brief(high, 3),
                f"{100 * one.enough:.0f} %",
            )
        )  # fmt: skip
    spans = "; ".join(f"{row[0] or 'all'} from {row[2]} to {row[3]} {unit}" for row in rows)
    name = response.replace("_", " ")
    return FigureText(
        alt=(
            f"Contour map of {name} over {maps[0].factors[0].title.lower()} and "
            f"{maps[0].factors[1].title.lower()}: {spans}; limit {limit_words(limit)}."
        ),
        caption=(
            f"Fitted mean of {name}; bold dashed: its limit. Blue: settings at which enough new "
            "welds meet every limit, whatever the other responses. Marks: coupons as welded."
        ),
        table_headers=("gas", "held", f"lowest mean, {unit}", f"highest mean, {unit}",
                       "share of the map that is enough"),
        table_rows=tuple(rows),
    )  # fmt: skip
