"""Checks of what is left over: normal quantiles, spread by level, spread against size."""

from __future__ import annotations

from statistics import NormalDist, fmean, pstdev, stdev

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from weldtrial.analysis.figures.style import (
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


def draw(response: ResponseFindings) -> Figure:
    """Draw three panels: quantile plot, left over by level, left over against fitted.

    A coupon past a gauge limit is an open arrow in the last two; it has no place among quantiles.
    """
    with house_style():
        figure = new_figure(1.5, HALF_IN)
        left, middle, right = figure.subplots(1, 3, sharey=True)
        _quantiles(left, response)
        _by_level(middle, response)
        _by_size(right, response)
        for axes in (left, middle, right):
            axes.xaxis.label.set_fontsize(7.5)
            axes.tick_params(labelsize=7)
            axes.margins(y=0.12)
        for axes in (left, right):
            axes.locator_params(axis="x", nbins=4)
        heading(figure, f"Left over in {response.title}, {response.unit}")
    return figure


def describe(response: ResponseFindings) -> FigureText:
    """Return alt text, caption and spread by level."""
    rows = tuple(_row(response, level) for level in levels_of(response))
    spread = "; ".join(f"{row[0]} {row[2]}" for row in rows)
    read = [one for one in response.coupons if not is_past(one)]
    largest = max(read, key=lambda one: abs(one.residual))
    past = past_words(
        response, "where each would be had it failed at the limit, and not in the left panel"
    )
    return FigureText(
        alt=(
            f"Three panels of what is left over in {response.title} for {response.n} coupons: "
            f"normal quantile plot, spread by level (standard deviation {spread} "
            f"{response.unit}), and spread against fitted value. Largest: {largest.stamp}, "
            f"{brief(largest.residual, 3)}.{past}"
        ),
        caption=(
            "Left: dots near the line mean a bell-shaped scatter. Middle: alike clouds mean the "
            "levels scatter alike. Right: no funnel means the scatter does not grow with size. "
            f"{counted(response)}.{past}"
        ),
        table_headers=(
            "level",
            "coupons",
            f"spread (standard deviation), {response.unit}",
            "smallest",
            "largest",
        ),
        table_rows=rows,
    )


def normal_quantiles(count: int) -> list[float]:
    """Return normal quantiles at the plotting positions (i - 3/8) / (n + 1/4).

    References
    ----------
    Blom, G. (1958), *Statistical Estimates and Transformed Beta-Variables*, Wiley.
    """
    normal = NormalDist()
    return [normal.inv_cdf((place - 0.375) / (count + 0.25)) for place in range(1, count + 1)]


def _dots(
    axes: Axes, xs: list[float], points: list[CouponValue], response: ResponseFindings, level: str
) -> None:
    look = looks_for(levels_of(response)).get(level, looks_for([""])[""])
    drawn = list(zip(xs, points, strict=True))
    past = [(x, one.residual, one) for x, one in drawn if is_past(one)]
    arrows(axes, past, look.colour, size=10)
    axes.plot(
        [x for x, one in drawn if not is_past(one)],
        [one.residual for one in points if not is_past(one)],
        linestyle="none",
        marker=look.marker,
        markersize=3,
        markerfacecolor=look.face,
        markeredgecolor=look.colour,
        markeredgewidth=0.8,
        zorder=3,
    )


def _quantiles(axes: Axes, response: ResponseFindings) -> None:
    read = [one for one in response.coupons if not is_past(one)]
    points = sorted(read, key=lambda one: one.residual)
    quantiles = normal_quantiles(len(points))
    if len(points) > 1:
        slope = stdev([one.residual for one in points])
        ends = [quantiles[0], quantiles[-1]]
        middle = fmean(one.residual for one in points)
        axes.plot(ends, [middle + slope * x for x in ends], color=GREY, linewidth=0.9, zorder=1)
    for level in levels_of(response):
        chosen = [
            (x, one)
            for x, one in zip(quantiles, points, strict=True)
            if level_of(one, response) == level
        ]
        _dots(axes, [x for x, _ in chosen], [one for _, one in chosen], response, level)
    axes.set_xlabel("normal quantile")


def _by_level(axes: Axes, response: ResponseFindings) -> None:
    levels = levels_of(response)
    zero_line(axes)
    for place, level in enumerate(levels):
        points = _of_level(response, level)
        count = len(points)
        xs = [place + 0.36 * ((i + 0.5) / count - 0.5) for i in range(count)]
        _dots(axes, xs, points, response, level)
    axes.set_xlim(-0.6, len(levels) - 0.4)
    axes.set_xticks(range(len(levels)), [level or "all" for level in levels])
    axes.set_xlabel("by level")


def _by_size(axes: Axes, response: ResponseFindings) -> None:
    zero_line(axes)
    for level in levels_of(response):
        points = _of_level(response, level)
        _dots(axes, [one.fitted for one in points], points, response, level)
    axes.set_xlabel(f"fitted, {response.unit}")


def _of_level(response: ResponseFindings, level: str) -> list[CouponValue]:
    return [one for one in response.coupons if level_of(one, response) == level]


def _row(response: ResponseFindings, level: str) -> tuple[str, ...]:
    left_over = [one.residual for one in _of_level(response, level) if not is_past(one)]
    places = decimals_for(pstdev([one.residual for one in response.coupons if not is_past(one)]))
    spread = brief(stdev(left_over), 3) if len(left_over) > 1 else "–"
    low, high = (min(left_over), max(left_over)) if left_over else (float("nan"), float("nan"))
    return (level or "all", str(len(left_over)), spread, fixed(low, places), fixed(high, places))
