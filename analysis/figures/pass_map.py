"""The operating window: the chance that a new weld meets every limit, over two settings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from weldtrial.analysis.figures.settings_style import (
    CHANCES,
    SHADES,
    axis_name,
    blank_out,
    draw_dots,
    fixed_words,
    middle_of,
    name_of,
    panels,
)
from weldtrial.analysis.figures.style import (
    GREY,
    INK,
    WIDTH_IN,
    FigureText,
    heading,
    house_style,
    looks_for,
)
from weldtrial.analysis.settings_maps import SettingsMap
from weldtrial.shared.factors import Factor
from weldtrial.shared.said_settings import said_number

SMALL = 0.04
"""Share of a map below which a region carries no name."""


def draw(maps: Sequence[SettingsMap], factors: Sequence[Factor], *, beyond: bool = False) -> Figure:
    """Draw one panel for each gas.

    Parameters
    ----------
    maps
        From `weldtrial.analysis.settings_maps`, of one trial.
    factors
        Varied factors, for the words of what is held.
    beyond
        Whether anything outside what was welded is shown; it is then marked.
    """
    looks = looks_for([name_of(one.levels) for one in maps])
    with house_style():
        figure, grid = panels(len(maps))
        for axes, one in zip(grid, maps, strict=True):
            _panel(axes, one, looks[name_of(one.levels)])
            _frame(axes, one, factors)
        keep = _tenths(maps[0].keep)
        mark = " – PARTLY BEYOND WHAT WAS WELDED" if beyond else ""
        heading(figure, f"Chance that a new weld meets every limit; bold line: {keep}{mark}",
                WIDTH_IN)  # fmt: skip
    return figure


def _tenths(share: float) -> str:
    tenths = share * 10
    return f"{round(tenths)} in 10" if abs(tenths - round(tenths)) < 1e-9 else f"{100 * share:g} %"


def _panel(axes: Axes, one: SettingsMap, look: object) -> None:
    from weldtrial.analysis.figures.style import Look

    assert isinstance(look, Look)
    axes.contourf(one.across, one.up, one.chance, levels=CHANCES, colors=SHADES, zorder=1)
    _lines(axes, one)
    blank_out(axes, one.across, one.up, one.unseen & ~one.ruled_out)
    blank_out(axes, one.across, one.up, one.ruled_out, "///")
    if one.beyond.any() and not one.beyond.all():
        axes.contour(
            one.across, one.up, one.beyond.astype(float), levels=[0.5], colors=[INK],
            linewidths=1.2, linestyles="dotted", zorder=4,
        )  # fmt: skip
    _names(axes, one)
    draw_dots(axes, one.tried, look)
    if one.chosen is not None:
        axes.plot(
            *([value] for value in one.chosen), linestyle="none", marker="*", markersize=13,
            markerfacecolor="white", markeredgecolor=INK, markeredgewidth=1.1, zorder=6,
            clip_on=False,
        )  # fmt: skip


def _lines(axes: Axes, one: SettingsMap) -> None:
    spoken = np.where(one.shown, one.chance, np.nan)
    low, high = np.nanmin(spoken, initial=1.0), np.nanmax(spoken, initial=0.0)
    others = [
        level for level in (0.5, 0.7, 0.9) if low < level < high and abs(level - one.keep) > 0.01
    ]
    if others:
        drawn = axes.contour(
            one.across, one.up, one.chance, levels=others, colors=[GREY], linewidths=0.7, zorder=2
        )
        axes.clabel(drawn, fmt=lambda value: f"{100 * value:.0f} %", fontsize=6.5)
    if low < one.keep < high:
        drawn = axes.contour(
            one.across, one.up, one.chance, levels=[one.keep], colors=[INK], linewidths=1.8,
            zorder=2,
        )  # fmt: skip
        axes.clabel(drawn, fmt=lambda value: f"{100 * value:.0f} %", fontsize=7)


def _names(axes: Axes, one: SettingsMap) -> None:
    """Name which limit bites where the chance is too low, and what is not spoken of."""
    names = list(one.own)
    weakest = np.argmin(np.array([one.own[name] for name in names]), axis=0)
    low = one.shown & (one.chance < one.keep - 1e-12)
    regions = [
        (low & (weakest == place), f"{name.replace('_', ' ')}\nbites")
        for place, name in enumerate(names)
    ]
    regions += [
        (one.ruled_out, "ruled out"),
        (one.unseen & ~one.ruled_out, "not welded"),
        (one.beyond & ~one.ruled_out, "BEYOND"),
    ]
    for mask, words in regions:
        if mask.mean() < SMALL:
            continue
        axes.annotate(
            words, middle_of(one.across, one.up, mask), ha="center", va="center", fontsize=7,
            color=INK, zorder=7,
            bbox={"boxstyle": "round,pad=0.15", "facecolor": "white", "alpha": 0.8,
                  "edgecolor": "none"},
        )  # fmt: skip


def _frame(axes: Axes, one: SettingsMap, factors: Sequence[Factor]) -> None:
    axes.set_xlim(float(one.across.min()), float(one.across.max()))
    axes.set_ylim(float(one.up.min()), float(one.up.max()))
    axes.set_xlabel(axis_name(one.factors[0]))
    axes.set_ylabel(axis_name(one.factors[1]))
    held = fixed_words(factors, one.fixed)
    title = name_of(one.levels)
    words = f"{title}\n{held}" if title and held else title or held
    axes.set_title(words, loc="left", fontsize=8)


def describe(maps: Sequence[SettingsMap], factors: Sequence[Factor]) -> FigureText:
    """Return alt text, caption and the window of each gas in numbers."""
    keep = _tenths(maps[0].keep)
    first, second = maps[0].factors
    said = "; ".join(_said(one, factors) for one in maps)
    return FigureText(
        alt=(
            f"Map of the chance that a new weld meets every limit over {first.title.lower()} and "
            f"{second.title.lower()}, asked for {keep}. {said}."
        ),
        caption=(
            "Darker blue: more of the new welds meet every limit at once. Bold line: the share "
            "asked for. Marks: coupons as welded, small and pale where their other settings lie "
            "far from the slice. Star: the best setting. Hatched: ruled out by the trial. White, "
            "outlined: nothing was welded around it, so nothing is said."
            + (
                " Past the dotted line nothing was welded: the map is only carried on."
                if any(one.beyond.any() for one in maps)
                else ""
            )
        ),
        table_headers=("gas", "held", "share of the map that is enough", "best setting", "bites"),
        table_rows=tuple(_row(one, factors) for one in maps),
    )


def _said(one: SettingsMap, factors: Sequence[Factor]) -> str:
    name, held = name_of(one.levels), fixed_words(factors, one.fixed)
    where = f"{name + ' ' if name else ''}{'at ' + held if held else ''}".strip() or "all settings"
    if one.enough == 0:
        return f"{where}: no setting of this slice reaches it"
    size = "all" if one.enough > 0.995 else f"{100 * one.enough:.0f} %"
    return f"{where}: {size} of what was welded reaches it"


def _row(one: SettingsMap, factors: Sequence[Factor]) -> tuple[str, ...]:
    bites = [
        f"{name.replace('_', ' ')} {100 * share:.0f} %"
        for name, share in sorted(one.biting().items(), key=lambda item: -item[1])
    ]
    chosen = "none"
    if one.chosen is not None:
        chosen = ", ".join(
            f"{said_number(factor, value)} {factor.unit or ''}".strip()
            for factor, value in zip(one.factors, one.chosen, strict=True)
        )
    return (
        name_of(one.levels),
        fixed_words(factors, one.fixed),
        f"{100 * one.enough:.0f} %",
        chosen,
        ", ".join(bites) or "none",
    )
