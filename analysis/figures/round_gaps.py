"""Round gaps: the real sample size, one number a round."""

from __future__ import annotations

from statistics import fmean

from matplotlib.figure import Figure

from weldtrial.analysis.figures.style import (
    HALF_IN,
    INK,
    FigureText,
    compared,
    counted,
    heading,
    house_style,
    levels_of,
    looks_for,
    margin_lines,
    new_figure,
    zero_line,
)
from weldtrial.analysis.findings import ResponseFindings
from weldtrial.shared.rounding import MINUS, brief, fixed


def drawable(response: ResponseFindings) -> bool:
    """Tell whether there are gaps to draw: at least two rounds that hold both levels."""
    return compared(response) is not None and len(response.round_gaps) >= 2


def draw(response: ResponseFindings) -> Figure:
    """Draw the gap of each round (level minus reference), their mean, zero and the margin."""
    first = compared(response)
    assert first is not None
    look = looks_for(levels_of(response))[first.level]
    rounds = sorted(response.round_gaps)
    gaps = [response.round_gaps[number] for number in rounds]
    mean = fmean(gaps)
    with house_style():
        figure = new_figure(1.5, HALF_IN)
        axes = figure.subplots()
        margin_lines(axes, first.margin)
        zero_line(axes)
        axes.axhline(mean, color=look.colour, linewidth=1.6, zorder=2)
        axes.vlines(rounds, mean, gaps, color=look.colour, linewidth=0.9, zorder=2)
        axes.plot(
            rounds,
            gaps,
            linestyle="none",
            marker=look.marker,
            markersize=5.5,
            markerfacecolor=look.face,
            markeredgecolor=look.colour,
            markeredgewidth=1.3,
            zorder=3,
        )
        axes.set_xlim(min(rounds) - 0.95, max(rounds) + 1.9)
        axes.set_xticks(rounds, [str(number) for number in rounds])
        axes.set_xlabel("round")
        heading(figure, f"{first.said_level} − {first.reference} in each round, {response.unit}")
        right = max(rounds) + 0.55
        style = {"fontsize": 7.5, "va": "bottom", "ha": "left"}
        away = style | {"va": "top" if mean < 0 else "bottom"}
        axes.text(right, mean, f"mean {_gap(mean, gaps)}", color=look.colour, **away)  # type: ignore[arg-type]
        if abs(mean) > 0.12 * (max(*gaps, 0.0) - min(*gaps, 0.0)):
            axes.text(right, 0, "zero", color=INK, **style)  # type: ignore[arg-type]
        if first.margin is not None:
            left = min(rounds) - 0.9
            for edge, sign in ((-first.margin, MINUS), (first.margin, "+")):
                axes.text(left, edge, f"{sign}{brief(first.margin, 3)}", color=INK, **style)  # type: ignore[arg-type]
        axes.margins(y=0.12)
    return figure


def describe(response: ResponseFindings) -> FigureText:
    """Return alt text, caption and the gaps."""
    first = compared(response)
    assert first is not None
    gaps = [response.round_gaps[number] for number in sorted(response.round_gaps)]
    below = sum(gap < 0 for gap in gaps)
    margin = "no margin was given" if first.margin is None else f"margin {brief(first.margin)}"
    return FigureText(
        alt=(
            f"Dot plot of {len(gaps)} round gaps in {response.title}, {first.said_level} minus "
            f"{first.reference}, from {_gap(min(gaps), gaps)} to {_gap(max(gaps), gaps)} "
            f"{response.unit}; {below} below zero, mean {_gap(fmean(gaps), gaps)}; {margin}."
        ),
        caption=(
            f"Each round gives one gap: {len(gaps)} numbers decide, however many coupons stand "
            f"behind them ({counted(response)}). Coloured line: their plain mean. Grey band: the "
            "margin."
        ),
        table_headers=("round", f"{first.said_level} − {first.reference}, {response.unit}"),
        table_rows=tuple(
            (str(number), _gap(response.round_gaps[number], gaps))
            for number in sorted(response.round_gaps)
        ),
    )


def _gap(value: float, gaps: list[float]) -> str:
    """Return a gap with as many decimals as three figures of the largest gap need."""
    largest = max(abs(gap) for gap in gaps)
    return fixed(value, 0 if largest >= 100 else 1 if largest >= 10 else 2, signed=True)
