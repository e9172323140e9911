"""What the pictures of settings share: names, dots, hatches, and limits drawn as lines."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from weldtrial.analysis.figures.style import ARROWS, GREY, INK, Look, new_figure
from weldtrial.analysis.joint import Limit
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.settings_dots import Dot
from weldtrial.analysis.settings_grid import Mask
from weldtrial.shared.factors import Factor
from weldtrial.shared.rounding import plain
from weldtrial.shared.said_settings import said_setting

CHANCES = (0.0, 0.2, 0.4, 0.6, 0.7, 0.8, 0.9, 1.0)
"""Steps of grey and blue in a map of chances."""
SHADES = ("#f7f7f7", "#e8eef4", "#d3e1ee", "#b7d1e6", "#97bfdc", "#6ba6cd", "#3c86b8")
"""From nearly white to blue, darker as the chance grows, so that grey print keeps the order."""


def name_of(levels: Mapping[str, str]) -> str:
    """Return what a combination of categories is called; nothing without categories."""
    return " ".join(levels.values())


def axis_name(factor: Factor) -> str:
    """Return an axis label with its unit."""
    unit = f", {factor.unit}" if factor.unit not in (None, "", "1") else ""
    return f"{factor.title}{unit}"


def fixed_words(factors: Sequence[Factor], fixed: Mapping[str, float]) -> str:
    """Return the settings that are held in a picture: ``wire feed 9.0 m/min``."""
    return ", ".join(
        f"{one.title} {said_setting(one, fixed[one.name])}" for one in factors if one.name in fixed
    )


def limit_words(limit: Limit | None) -> str:
    """Return what a limit asks, without its unit."""
    if limit is None:
        return "no limit"
    ends = []
    if limit.at_least is not None:
        ends.append(f"at least {plain(limit.at_least)}")
    if limit.at_most is not None:
        ends.append(f"at most {plain(limit.at_most)}")
    return " and ".join(ends)


def draw_dots(axes: Axes, dots: Sequence[Dot], look: Look, *, size: float = 4.5) -> None:
    """Draw raw coupons: far ones small and pale, those past the gauge as open arrows."""
    for dot in dots:
        marker = ARROWS.get(dot.beyond, look.marker)
        axes.plot(
            [dot.x],
            [dot.y],
            linestyle="none",
            marker=marker,
            markersize=(size + 8 if dot.beyond else size) * (1.0 if dot.near else 0.7),
            markerfacecolor="white" if dot.beyond else look.face,
            markeredgecolor=look.colour,
            markeredgewidth=0.8,
            alpha=1.0 if dot.near else 0.45,
            zorder=5,
            clip_on=False,
        )


def draw_limits(axes: Axes, limit: Limit | None, *, vertical: bool = False) -> None:
    """Draw what a coupon must reach as a dashed line with its words."""
    if limit is None:
        return
    for value in (limit.at_least, limit.at_most):
        if value is None:
            continue
        line = axes.axvline if vertical else axes.axhline
        line(value, color=INK, linewidth=0.9, linestyle=(0, (4, 3)), zorder=2)
        # The word stands beside its own line, so nobody has to look for a legend.
        place = (value, 0.995) if vertical else (0.005, value)
        axes.annotate(
            f"limit {plain(value)}",
            place,
            (2, -2) if vertical else (1, 2),
            xycoords=axes.get_xaxis_transform() if vertical else axes.get_yaxis_transform(),
            textcoords="offset points",
            fontsize=7,
            color=GREY,
            zorder=6,
            bbox={
                "boxstyle": "square,pad=0.1",
                "facecolor": "white",
                "alpha": 0.7,
                "edgecolor": "none",
            },
            va="top" if vertical else "bottom",
            rotation=90 if vertical else 0,
        )


Label = tuple[float, float, str, str]
"""Where a line ends, its name and its colour."""


def name_lines(axes: Axes, labels: Sequence[Label], size: float = 8) -> None:
    """Write names at the ends of lines, pushed apart where they would stand on each other."""
    low, high = axes.get_ylim()
    gap, last = 0.075 * (high - low), -np.inf
    for x, y, name, colour in sorted(labels, key=lambda one: one[1]):
        at = max(y, last + gap)
        axes.annotate(
            name, (x, at), (5, 0), textcoords="offset points", color=colour, fontsize=size,
            weight="bold", va="center", annotation_clip=False, zorder=8,
        )  # fmt: skip
        last = at


def blank_out(axes: Axes, x: Floats, y: Floats, mask: Mask, hatch: str | None = None) -> None:
    """Cover what is not spoken of with white, hatched where a hatch is given."""
    if not mask.any():
        return
    if min(mask.shape) < 2:
        return
    drawn = axes.contourf(
        x, y, mask.astype(float), levels=[0.5, 1.5], colors=["white"], hatches=[hatch], zorder=3
    )
    drawn.set_edgecolor(GREY)
    drawn.set_linewidth(0.0)
    if not mask.all():
        axes.contour(
            x, y, mask.astype(float), levels=[0.5], colors=[GREY], linewidths=0.7, zorder=3
        )


def middle_of(x: Floats, y: Floats, mask: Mask) -> tuple[float, float]:
    """Return the place inside a mask that lies farthest from its edge, for a label."""
    from scipy.ndimage import distance_transform_edt

    framed = np.pad(mask, 1)
    deep = distance_transform_edt(framed)[1:-1, 1:-1]
    row, column = np.unravel_index(int(np.argmax(deep)), deep.shape)
    return float(x[column]), float(y[row])


def panels(count: int) -> tuple[Figure, list[Axes]]:
    """Return a figure with a panel for each of `count` maps, three beside each other at most."""
    across = min(3, count)
    down = -(-count // across)
    figure = new_figure(0.55 + 2.75 * down)
    every = list(figure.subplots(down, across, squeeze=False).flat)
    for axes in every[count:]:
        axes.set_visible(False)
    return figure, every[:count]
