"""In the order welded: what is left over against run number, to see drift and odd set-ups."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import pstdev

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from weldtrial.analysis.figures.style import (
    BAND,
    GREY,
    HALF_IN,
    FigureText,
    arrows,
    counted,
    heading,
    house_style,
    is_past,
    level_of,
    levels_of,
    looks_for,
    new_figure,
    past_words,
    zero_line,
)
from weldtrial.analysis.findings import CouponValue, ResponseFindings
from weldtrial.shared.rounding import brief, decimals_for, fixed

_MARKS = {"above": ">", "below": "<"}


def draw(response: ResponseFindings) -> Figure:
    """Draw residuals against run; a spare, which has no run of its own, stands at the end.

    A coupon past a gauge limit is an open arrow where it would be had it failed at the limit.
    """
    placed = _placed(response)
    looks = looks_for(levels_of(response))
    with house_style():
        figure = new_figure(1.5, HALF_IN)
        axes = figure.subplots()
        _setup_bands(axes, placed)
        zero_line(axes)
        for level in levels_of(response):
            look = looks[level]
            points = [(x, one) for x, one in placed if level_of(one, response) == level]
            read = [(x, one) for x, one in points if not is_past(one)]
            axes.plot(
                [x for x, _ in read],
                [one.residual for _, one in read],
                linestyle="none",
                marker=look.marker,
                markersize=3.8,
                markerfacecolor=look.face,
                markeredgecolor=look.colour,
                markeredgewidth=0.9,
            )
            past = [(float(x), one.residual, one) for x, one in points if is_past(one)]
            arrows(axes, past, look.colour)
            if level and points:
                _name(axes, points, level, look.colour)
        axes.set_xlim(min(x for x, _ in placed) - 1, max(x for x, _ in placed) + 1)
        axes.set_xlabel("run")
        heading(figure, f"Left over, {response.unit}, in the order welded")
        axes.margins(y=0.18)
    return figure


def describe(response: ResponseFindings) -> FigureText:
    """Return alt text, caption and the residuals in the order welded."""
    placed = _placed(response)
    read = [one.residual for _, one in placed if not is_past(one)]
    places = decimals_for(pstdev(read)) if read else 1
    halves = len(placed) // 2
    early, late = placed[:halves], placed[halves:]
    spares = sum(one.run is None for _, one in placed)
    at_end = f" Spares ({spares}) stand at the right end." if spares else ""
    past = past_words(response, "drawn as if each had failed at the limit")
    return FigureText(
        alt=(
            f"Dot plot of what is left over in {response.title} against welding order for "
            f"{len(placed)} coupons; first half averages {_mean(early)}, second half "
            f"{_mean(late)} {response.unit}.{past}"
        ),
        caption=(
            "What is left after round, gas and settings are taken out, in the order welded; grey "
            f"bands are set-ups. A slope would mean drift: tip wear, warm plate. "
            f"{counted(response)}.{at_end}{past}"
        ),
        table_headers=("run", "stamp", "set-up", "level", f"left over, {response.unit}"),
        table_rows=tuple(
            (
                "spare" if one.run is None else str(one.run),
                one.stamp,
                "" if one.setup is None else str(one.setup),
                level_of(one, response),
                _MARKS.get(one.beyond, "") + fixed(one.residual, places),
            )
            for _, one in placed
        ),
    )


def left_over(response: ResponseFindings) -> dict[str, str]:
    """Return what is left over of each stamp, as written in the figure's table."""
    return {row[1]: row[-1] for row in describe(response).table_rows}


def _placed(response: ResponseFindings) -> list[tuple[int, CouponValue]]:
    """Return the coupons with their place: the run, spares after the last one."""
    welded = sorted((one for one in response.coupons if one.run), key=lambda one: one.run or 0)
    spares = sorted((one for one in response.coupons if not one.run), key=lambda one: one.stamp)
    last = (welded[-1].run or 0) if welded else 0
    return [(one.run or 0, one) for one in welded] + [
        (last + 2 + place, one) for place, one in enumerate(spares)
    ]


def _setup_bands(axes: Axes, placed: Sequence[tuple[int, CouponValue]]) -> None:
    runs: dict[int, list[int]] = {}
    for x, one in placed:
        if one.setup is not None and one.run is not None:
            runs.setdefault(one.setup, []).append(x)
    for number, xs in sorted(runs.items()):
        if number % 2:
            axes.axvspan(min(xs) - 0.5, max(xs) + 0.5, color=BAND, linewidth=0, zorder=0)


def _name(
    axes: Axes, points: Sequence[tuple[int, CouponValue]], level: str, colour: str = GREY
) -> None:
    x, top = max(points, key=lambda point: point[1].residual)
    axes.annotate(
        level,
        (x, top.residual),
        (0, 10 if is_past(top) else 6),
        textcoords="offset points",
        ha="center",
        weight="bold",
        color=colour,
    )


def _mean(points: Sequence[tuple[int, CouponValue]]) -> str:
    read = [one.residual for _, one in points if not is_past(one)]
    return brief(sum(read) / len(read), 2) if read else "nothing"
