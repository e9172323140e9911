"""Effects with their intervals: what each thing changed on purpose did, in the trade's unit."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite

from matplotlib.figure import Figure

from weldtrial.analysis.figures.style import (
    GREY,
    HALF_IN,
    INK,
    WIDTH_IN,
    FigureText,
    compared,
    counted,
    heading,
    house_style,
    margin_lines,
    new_figure,
    term_words,
    zero_line,
)
from weldtrial.analysis.findings import ResponseFindings
from weldtrial.shared.rounding import by_uncertainty, interval

_NAME_LETTERS = {WIDTH_IN: 48, HALF_IN: 30}
"""Letters of a name on one line beside the bars."""


@dataclass(frozen=True, slots=True)
class _Bar:
    term: str
    estimate: float
    low: float
    high: float


def drawable(response: ResponseFindings) -> bool:
    """Tell whether there is more to draw than the one gap that the answer strip shows."""
    bars = _bars(response)
    return len(bars) > 1 or (len(bars) == 1 and compared(response) is None)


def draw(
    response: ResponseFindings,
    titles: Mapping[str, str] | None = None,
    margin: float | None = None,
    width: float = HALF_IN,
) -> Figure:
    """Draw each effect (low to high, or first minus last level) with its 95 % interval.

    Parameters
    ----------
    titles
        Words for a term, such as ``"wire_feed": "wire feed, 7.5 to 9.5 m/min"``.
    margin
        In the response's unit, where no comparison carries one.
    width
        In inches, `HALF_IN` or `WIDTH_IN`.
    """
    bars = _bars(response)
    names = [textwrap.fill(_name(bar.term, titles), _NAME_LETTERS[width]) for bar in bars]
    with house_style():
        lines = sum(1 + name.count("\n") for name in names)
        figure = new_figure(0.48 + 0.04 * len(bars) + 0.12 * lines, width)
        axes = figure.subplots()
        margin_lines(axes, _margin(response, margin), vertical=True)
        zero_line(axes, vertical=True)
        for place, bar in enumerate(bars):
            clear = bar.low > 0 or bar.high < 0
            axes.plot([bar.low, bar.high], [place, place], color=INK, linewidth=1.4, zorder=3)
            axes.plot(
                [bar.estimate],
                [place],
                marker="o",
                markersize=5.5,
                markerfacecolor=INK if clear else "white",
                markeredgecolor=INK,
                zorder=4,
            )
            words = by_uncertainty(bar.estimate, (bar.high - bar.low) / 2, signed=True)
            axes.annotate(
                words,
                (1, place),
                (5, 0),
                xycoords=axes.get_yaxis_transform(),
                textcoords="offset points",
                annotation_clip=False,
                va="center",
                fontsize=7.5,
                color=GREY,
            )
        axes.set_yticks(range(len(bars)), names, fontsize=7 if width == HALF_IN else 8)
        axes.set_ylim(len(bars) - 0.45, -0.6)
        axes.margins(x=0.1)
        heading(figure, f"Effect on {response.title}, {response.unit}", width)
    return figure


def describe(
    response: ResponseFindings,
    titles: Mapping[str, str] | None = None,
    margin: float | None = None,
) -> FigureText:
    """Return alt text, caption and the effects."""
    bars = _bars(response)
    clear = [_name(bar.term, titles) for bar in bars if bar.low > 0 or bar.high < 0]
    band = "" if _margin(response, margin) is None else " Grey band: the margin."
    said = f"clear of zero: {', '.join(clear)}" if clear else "every interval crosses zero"
    return FigureText(
        alt=(
            f"Interval chart of {len(bars)} effects on {response.title} in {response.unit}; {said}."
        ),
        caption=(
            "Change from low to high setting, or first minus last level, with its 95 % interval; "
            f"a filled dot where the interval is clear of zero.{band} {counted(response)}."
        ),
        table_headers=("what was changed", f"effect, {response.unit}", "95 % interval"),
        table_rows=tuple(
            (
                _name(bar.term, titles),
                by_uncertainty(bar.estimate, (bar.high - bar.low) / 2, signed=True),
                interval(bar.low, bar.high, signed=True),
            )
            for bar in bars
        ),
    )


def _margin(response: ResponseFindings, margin: float | None) -> float | None:
    first = compared(response)
    return margin if first is None else first.margin


def _bars(response: ResponseFindings) -> list[_Bar]:
    return [
        _Bar(row.term, row.estimate, row.ci_low, row.ci_high)
        for row in response.effects
        if row.estimate is not None
        and row.ci_low is not None
        and row.ci_high is not None
        and isfinite(row.ci_high - row.ci_low)
    ]


def _name(term: str, titles: Mapping[str, str] | None) -> str:
    return (titles or {}).get(term, term_words(term))
