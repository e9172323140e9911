"""What certainty costs: how far the goal can be pushed for each share of welds that must pass."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from weldtrial.analysis.figures.settings_style import name_lines, name_of
from weldtrial.analysis.figures.style import (
    GREY,
    HALF_IN,
    FigureText,
    heading,
    house_style,
    looks_for,
    new_figure,
)
from weldtrial.analysis.settings_trade_offs import Price
from weldtrial.shared.rounding import brief

STEPS = (0.7, 0.8, 0.9)


def draw(
    found: Sequence[Price], goal: str, unit: str, keep: float, width: float = HALF_IN
) -> Figure:
    """Draw the best goal at each asked chance, one line for each gas; the asked share marked."""
    looks = looks_for([name_of(one.levels) for one in found])
    with house_style():
        figure = new_figure(2.6, width)
        axes = figure.subplots()
        axes.axvline(100 * keep, color=GREY, linewidth=0.9, linestyle=(0, (4, 3)), zorder=1)
        for one in found:
            look = looks[name_of(one.levels)]
            axes.plot(100 * one.share, one.goal, color=look.colour, zorder=3,
                      drawstyle="steps-pre")  # fmt: skip
            for step in STEPS:
                place = int(np.argmin(np.abs(one.share - step)))
                axes.plot(100 * step, one.goal[place], linestyle="none", marker=look.marker,
                          markersize=5, markerfacecolor=look.face, markeredgecolor=look.colour,
                          zorder=4)  # fmt: skip
        axes.set_xlim(50, 100)
        axes.margins(y=0.08)
        name_lines(axes, [
            (100 * float(one.share[last]), float(one.goal[last]), name_of(one.levels),
             looks[name_of(one.levels)].colour)
            for one in found if (last := _last(one)) is not None
        ])  # fmt: skip
        axes.set_xlabel("new welds that must meet every limit, %")
        axes.set_ylabel(f"{goal.replace('_', ' ')}{', ' + unit if unit else ''}")
        heading(figure, f"What certainty costs in {goal.replace('_', ' ')}", width)
    return figure


def _last(one: Price) -> int | None:
    known = np.flatnonzero(np.isfinite(one.goal))
    return int(known[-1]) if len(known) else None


def describe(found: Sequence[Price], goal: str, unit: str, keep: float) -> FigureText:
    """Return alt text, caption and the goal at 7, 8 and 9 in 10."""
    rows = []
    for one in found:
        at = [one.goal[int(np.argmin(np.abs(one.share - step)))] for step in STEPS]
        rows.append(
            (name_of(one.levels), *(brief(float(v)) if np.isfinite(v) else "none" for v in at))
        )
    name = goal.replace("_", " ")
    said = "; ".join(
        f"{row[0] + ': ' if row[0] else ''}{row[1]}, {row[2]} and {row[3]}" for row in rows
    )
    return FigureText(
        alt=(
            f"Step lines of the best {name}{' in ' + unit if unit else ''} against the share of "
            f"welds that must pass; at 70, 80 and 90 % {said}."
        ),
        caption=(
            f"The best {name} at which that share of new welds meets every limit; marked at 7, 8 "
            f"and 9 in 10, dashed at the share asked for ({100 * keep:g} %). Where a line ends no "
            "setting reaches more."
        ),
        table_headers=("gas", "7 in 10", "8 in 10", "9 in 10"),
        table_rows=tuple(rows),
    )
