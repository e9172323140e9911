"""Every coupon that passed or failed, or its grade, by round; of passes the shares beside them."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from weldtrial.analysis.count_records import PassRow
from weldtrial.analysis.figures.coupons_by_round import Group, groups_of
from weldtrial.analysis.figures.style import (
    HALF_IN,
    FigureText,
    Look,
    compared,
    counted,
    heading,
    house_style,
    levels_of,
    looks_for,
    new_figure,
)
from weldtrial.analysis.findings import ResponseFindings

ACROSS = 2
"""Coupons side by side before another row of them is begun."""


def drawable(response: ResponseFindings) -> bool:
    """Whether the response was counted and any coupon read."""
    return response.kind != "number" and bool(response.coupons)


def readings_of(response: ResponseFindings) -> tuple[str, ...]:
    """Return what a coupon can be, worst first."""
    return response.counts.scale if response.kind == "graded" else ("fail", "pass")


def values(response: ResponseFindings) -> dict[str, str]:
    """Return the reading of each stamp in words: that of its worst piece."""
    words = readings_of(response)
    return {coupon.stamp: words[int(coupon.value)] for coupon in response.coupons}


def draw(response: ResponseFindings) -> Figure:
    """Draw a dot for every coupon; of passes, the share of each level with its interval."""
    groups, levels = groups_of(response), levels_of(response)
    looks, words = looks_for(levels), readings_of(response)
    shares = _shares(response)
    with house_style():
        figure = new_figure(1.5 if len(words) < 4 else 1.9, HALF_IN)
        if shares:
            left, right = figure.subplots(1, 2, gridspec_kw={"width_ratios": [2.4, 1]})
            _draw_shares(right, shares, looks)
        else:
            left = figure.subplots()
        places = _places(groups, levels)
        for group, x in zip(groups, places, strict=True):
            _dots(left, group, x, looks.get(group.level, looks_for([""])[""]))
        left.set_yticks(range(len(words)), words)
        left.set_ylim(-0.6, len(words) - 0.3)
        _name_levels(left, levels, looks)
        _rounds(left, groups, places)
        heading(figure, response.title)
    return figure


def describe(response: ResponseFindings) -> FigureText:
    """Return alt text, caption and the counts by round, set-up and level."""
    words = readings_of(response)
    said = []
    for level in levels_of(response):
        mine = [
            coupon.value for group in groups_of(response) if group.level == level
            for coupon in group.coupons
        ]  # fmt: skip
        counts = ", ".join(f"{word} {mine.count(place)}" for place, word in enumerate(words))
        said.append(f"{level or 'all'}: {counts}")
    beside = (
        " Beside it the share that passed, with its 95 % interval." if _shares(response) else ""
    )
    return FigureText(
        alt=f"Dot plot of {response.n} coupons by {response.title}; {'; '.join(said)}.",
        caption=f"One dot a coupon, by round.{beside} {counted(response)}.",
        table_headers=("round", "set-up", "level", "coupons", *words),
        table_rows=tuple(_row(group, words) for group in groups_of(response)),
    )


def _row(group: Group, words: Sequence[str]) -> tuple[str, ...]:
    seen = [int(coupon.value) for coupon in group.coupons]
    return (
        "" if group.round is None else str(group.round),
        "" if group.setup is None else str(group.setup),
        group.level,
        str(len(seen)),
        *(str(seen.count(place)) for place in range(len(words))),
    )


def _shares(response: ResponseFindings) -> tuple[PassRow, ...]:
    first = compared(response)
    name = first.factor if first is not None else ""
    return tuple(row for row in response.counts.passes if row.factor == name)


def _places(groups: Sequence[Group], levels: Sequence[str]) -> list[float]:
    """Return where each group stands: its round, one level beside the other."""
    order = {level: place for place, level in enumerate(levels)}
    step, setups = 0.8 / max(1, len(levels)), _nth(groups)
    return [
        (group.round or 1) + step * (order.get(group.level, 0) - (len(levels) - 1) / 2)
        + (nth - 0.5 * (many - 1)) * step / max(1, many) * 0.9
        for group, (nth, many) in zip(groups, setups, strict=True)
    ]  # fmt: skip


def _nth(groups: Sequence[Group]) -> list[tuple[int, int]]:
    """Return which set-up of its level and round each group is, and of how many."""
    keys = [(group.round, group.level) for group in groups]
    return [(keys[:place].count(key), keys.count(key)) for place, key in enumerate(keys)]


def _dots(axes: Axes, group: Group, x: float, look: Look) -> None:
    seen: dict[int, int] = {}
    xs, ys = [], []
    for coupon in group.coupons:
        place = int(coupon.value)
        nth = seen.get(place, 0)
        seen[place] = nth + 1
        xs.append(x + 0.16 * (nth % ACROSS - (ACROSS - 1) / 2))
        ys.append(place + 0.2 * (nth // ACROSS) - 0.2)
    axes.plot(
        xs, ys, linestyle="none", marker=look.marker, markersize=3, markerfacecolor=look.face,
        markeredgecolor=look.colour, markeredgewidth=0.9,
    )  # fmt: skip


def _draw_shares(axes: Axes, shares: Sequence[PassRow], looks: dict[str, Look]) -> None:
    for place, row in enumerate(shares):
        look = looks.get(row.level, looks_for([""])[""])
        axes.plot(
            [place, place], [100 * row.ci_low, 100 * row.ci_high], color=look.colour, linewidth=1.2
        )
        axes.plot(
            [place], [100 * row.share], marker=look.marker, markersize=5,
            markerfacecolor=look.face, markeredgecolor=look.colour, linestyle="none",
        )  # fmt: skip
    axes.set_xticks(range(len(shares)), [row.level for row in shares])
    axes.set_xlim(-0.6, len(shares) - 0.4)
    axes.set_ylim(-4, 104)
    axes.set_yticks([0, 50, 100])
    axes.set_ylabel("passed, %")


def _name_levels(axes: Axes, levels: Sequence[str], looks: dict[str, Look]) -> None:
    """Name each level in its own colour and shape above the dots."""
    named = [level for level in levels if level]
    for level in named:
        look = looks[level]
        axes.plot(
            [], [], linestyle="none", marker=look.marker, markersize=4, markerfacecolor=look.face,
            markeredgecolor=look.colour, label=level,
        )  # fmt: skip
    if named:
        axes.legend(
            loc="lower left", bbox_to_anchor=(0, 1), ncols=len(named), frameon=False, fontsize=8,
            borderpad=0, handletextpad=0.3, columnspacing=1.0,
        )  # fmt: skip


def _rounds(axes: Axes, groups: Sequence[Group], places: Sequence[float]) -> None:
    numbers = sorted({group.round for group in groups if group.round is not None})
    axes.set_xticks(numbers, [str(number) for number in numbers])
    if numbers:
        axes.set_xlabel("round")
    axes.set_xlim(min(places) - 0.5, max(places) + 0.5)
