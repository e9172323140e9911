"""How two settings work together on one response: parallel lines mean they do not."""

from __future__ import annotations

from matplotlib.figure import Figure

from weldtrial.analysis.figures.settings_style import axis_name, draw_dots, name_lines
from weldtrial.analysis.figures.style import (
    HALF_IN,
    FigureText,
    heading,
    house_style,
    looks_for,
    new_figure,
)
from weldtrial.analysis.settings_curves import Interaction
from weldtrial.shared.rounding import brief, by_uncertainty


def draw(found: Interaction, width: float = HALF_IN) -> Figure:
    """Draw a line with its 95 % band (of the mean) for each level of the other factor."""
    looks = looks_for([one.label for one in found.lines])
    with house_style():
        figure = new_figure(2.4, width)
        axes = figure.subplots()
        for one in found.lines:
            look = looks[one.label]
            axes.fill_between(one.x, one.mean - 2 * one.se, one.mean + 2 * one.se,
                              color=look.colour, alpha=0.12, linewidth=0, zorder=1)  # fmt: skip
            axes.plot(one.x, one.mean, color=look.colour, zorder=3)
            draw_dots(axes, one.dots, look, size=3.5)
        name_lines(axes, [
            (float(one.x[-1]), float(one.mean[-1]), one.label, looks[one.label].colour)
            for one in found.lines
        ])  # fmt: skip
        axes.set_xlabel(_along(found))
        axes.set_ylabel(f"{found.response.replace('_', ' ')}, {found.unit}")
        names = f"{found.along.title} × {found.other.title}"
        heading(figure, f"{names}: {found.response.replace('_', ' ')}", width)
    return figure


def _along(found: Interaction) -> str:
    if found.sliding:
        owner = (found.along.slides_with or "").replace("_", " ")
        return f"{found.along.title}, low (−1) to high (+1) of each {owner}"
    return axis_name(found.along)


def describe(found: Interaction) -> FigureText:
    """Return alt text, caption and both ends of each line."""
    name = found.response.replace("_", " ")
    changes = [(one.label, float(one.mean[-1] - one.mean[0])) for one in found.lines]
    said = "; ".join(
        f"with {label} it {'rises' if change > 0 else 'falls'} by {brief(abs(change), 3)}"
        for label, change in changes
    )
    dots = sum(len(one.dots) for one in found.lines)
    return FigureText(
        alt=(
            f"Line chart of {name} in {found.unit} along {found.along.title.lower()}: {said}; "
            f"{dots} coupons drawn."
        ),
        caption=(
            "Fitted means with twice their standard error, other settings at the middle of what "
            f"was welded. Marks: all {dots} coupons, each with the line its own setting of "
            f"{found.other.title.lower()} is nearest to. Lines that run apart work together; "
            "parallel ones do not."
        ),
        table_headers=(found.other.title, f"start, {found.unit}", f"end, {found.unit}"),
        table_rows=tuple(
            (
                one.label,
                by_uncertainty(float(one.mean[0]), 2 * float(one.se[0])),
                by_uncertainty(float(one.mean[-1]), 2 * float(one.se[-1])),
            )
            for one in found.lines
        ),
    )
