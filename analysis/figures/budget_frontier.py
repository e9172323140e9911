"""The budget: what each hour (or each coin) buys, the file's plan and the chosen one marked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from weldtrial.analysis.figures.style import (
    GREY,
    INK,
    WIDTH_IN,
    FigureText,
    heading,
    house_style,
    looks_for,
    new_figure,
)
from weldtrial.analysis.frontier import Frontier, Plan
from weldtrial.shared.rounding import brief

_CHOSEN, _OWN = "chosen", "your file"


@dataclass(frozen=True, slots=True)
class _Side:
    """Where a label stands: in points from its mark, or with `leader` in shares of the axes."""

    offset: tuple[float, float]
    ha: Literal["left", "right"]
    va: Literal["top", "bottom"]
    leader: bool = False


_ABOVE = _Side((-9, 9), "right", "bottom")
_BELOW = _Side((10, -9), "left", "top")
_CORNER = _Side((0.01, 0.985), "left", "top", leader=True)


@dataclass(frozen=True, slots=True)
class Told:
    """The words of the picture.

    Attributes
    ----------
    title
        Of the trial.
    aim
        What a chance is a chance of.
    spent
        What is spent, with its unit: ``bench time, h`` or ``cost, EUR``.
    unit
        Of the spent alone: ``h`` or ``EUR``.
    gap_unit
        Unit of the gap that would probably be seen.
    limit
        What may be spent at most, None for no limit.
    """

    title: str
    aim: str
    spent: str
    unit: str
    gap_unit: str = ""
    limit: float | None = None


def draw(found: Frontier, told: Told) -> Figure:
    """Draw the chance of every plan worth choosing against what it costs."""
    looks = looks_for((_CHOSEN, _OWN))
    with house_style():
        figure = new_figure(3.6)
        axes = figure.subplots()
        x = [one.spent for one in found.plans]
        y = [100 * (one.row.chance or 0.0) for one in found.plans]
        axes.plot(x, y, color=GREY, linewidth=0.8, zorder=1)
        axes.plot(
            x, y, linestyle="none", marker="o", markersize=3.5, markerfacecolor="white",
            markeredgecolor=INK, markeredgewidth=0.8, zorder=2,
        )  # fmt: skip
        _sizes(axes, found, _right(found, told))
        _guides(axes, found, told)
        if found.few is not None:
            _few(axes, found.few)
        same = found.chosen is not None and found.chosen.shape == found.own.shape
        right = _right(found, told)
        if found.chosen is not None:
            name = f"{_CHOSEN} = {_OWN}" if same else _CHOSEN
            # Above the line there is no plan, so that is where the label goes.
            side = _ABOVE if found.chosen.spent > 0.42 * right else _CORNER
            _mark(axes, found.chosen, looks[_CHOSEN].colour, "D", name, side, filled=True)
        if not same:
            _mark(axes, found.own, looks[_OWN].colour, "s", _OWN, _BELOW, filled=False)
        axes.set_ylim(-4, 104)
        axes.set_xlim(0, _right(found, told))
        axes.set_xlabel(told.spent)
        axes.set_ylabel("chance, %")
        heading(figure, f"What a budget buys: chance {told.aim}", WIDTH_IN)
    return figure


def _right(found: Frontier, told: Told) -> float:
    """Return where the axis ends: beyond every marked plan, labels included."""
    marked = [found.own.spent, *(one.spent for one in (found.chosen, found.few) if one)]
    near = [told.limit] if told.limit is not None and told.limit < 1.5 * max(marked) else []
    return 1.5 * max(marked + near)


def _sizes(axes: Axes, found: Frontier, right: float) -> None:
    """Say beside some of the dots how many set-ups of how many coupons they are."""
    marked = [found.own.spent, *([found.chosen.spent] if found.chosen else [])]
    last = -right
    for one in found.plans:
        near = any(-0.09 < (one.spent - other) / right < 0.03 for other in marked)
        if (
            one.row.set_ups is None
            or one.spent > 0.94 * right
            or one.spent - last < 0.07 * right
            or near
        ):
            continue
        last = one.spent
        axes.annotate(
            f"{one.row.set_ups} × {one.row.per_setup}", (one.spent, 100 * (one.row.chance or 0.0)),
            (4, -3), textcoords="offset points", ha="left", va="top", fontsize=6.5, color=GREY,
        )  # fmt: skip


def _guides(axes: Axes, found: Frontier, told: Told) -> None:
    dashed = (0, (4, 3))
    axes.axhline(100 * found.target, color=GREY, linewidth=0.9, linestyle=dashed, zorder=0)
    axes.text(
        0.008, 100 * found.target + 1, f"wanted: {100 * found.target:g} %", ha="left",
        va="bottom", fontsize=7.5, color=INK, transform=axes.get_yaxis_transform(),
    )  # fmt: skip
    if told.limit is not None and told.limit < _right(found, told):
        axes.axvline(told.limit, color=GREY, linewidth=0.9, linestyle=dashed, zorder=0)
        axes.text(
            told.limit, 103, f" at most {brief(told.limit)} {told.unit}", ha="left", va="top",
            fontsize=7.5, color=INK,
        )  # fmt: skip


def _few(axes: Axes, few: Plan) -> None:
    chance = 100 * (few.row.chance or 0.0)
    axes.plot(
        [few.spent], [chance], linestyle="none", marker="X", markersize=7, color=INK, zorder=3
    )
    axes.annotate(
        f"{few.row.set_ups} changes of {few.row.per_setup} coupons: {chance:.0f} %",
        (few.spent, chance), (-9, 7), textcoords="offset points", ha="right", va="bottom",
        fontsize=7.5, color=INK,
    )  # fmt: skip


def _mark(
    axes: Axes, plan: Plan, colour: str, marker: str, name: str, side: _Side, *, filled: bool
) -> None:
    """Mark a plan and label it directly."""
    chance = 100 * (plan.row.chance or 0.0)
    axes.plot(
        [plan.spent], [chance], linestyle="none", marker=marker, markersize=8,
        markerfacecolor=colour if filled else "white", markeredgecolor=colour,
        markeredgewidth=1.8, zorder=4,
    )  # fmt: skip
    axes.annotate(
        f"{name}: {short_words(plan)}, {chance:.0f} %",
        (plan.spent, chance), side.offset, ha=side.ha, va=side.va,
        textcoords="axes fraction" if side.leader else "offset points",
        arrowprops={"arrowstyle": "-", "color": colour, "linewidth": 0.8} if side.leader else None,
        fontsize=8, color=colour, weight="bold", zorder=5,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
    )  # fmt: skip


def short_words(plan: Plan) -> str:
    """Return a plan in a few words: ``16 set-ups of 2``, ``24 coupons``."""
    if plan.row.set_ups is None:
        return f"{plan.row.coupons} coupons"
    return f"{plan.row.set_ups} set-ups of {plan.row.per_setup}"


def describe(found: Frontier, told: Told) -> FigureText:
    """Return alt text, caption and the plans drawn."""
    own, chosen = found.own, found.chosen
    which = (
        "none within the limits can answer"
        if chosen is None
        else f"chosen: {short_words(chosen)}, {_spent(chosen, told)}, {_percent(chosen)}"
    )
    first, last = (found.plans[0], found.plans[-1]) if found.plans else (own, own)
    alt = (
        f"Dots of {len(found.plans)} plans, {told.spent} across and chance {told.aim} up, rising "
        f"from {_percent(first)} at {_spent(first, told)} to {_percent(last)} at "
        f"{_spent(last, told)}; wanted {100 * found.target:g} %; {which}; your file: "
        f"{short_words(own)}, {_spent(own, told)}, {_percent(own)}."
    )
    return FigureText(
        alt=alt,
        caption=f"{told.title}. Each dot is a plan that no cheaper one beats; beside some of them "
        "set-ups × coupons in each.",
        table_headers=("plan", "coupons in all", told.spent, "gap seen", "chance"),
        table_rows=tuple(
            (
                short_words(one),
                str(one.row.total),
                brief(one.spent, 3),
                "never" if one.row.gap is None else f"{brief(one.row.gap, 2)} {told.gap_unit}",
                _percent(one),
            )
            for one in found.plans
        ),
    )


def _spent(plan: Plan, told: Told) -> str:
    return f"{brief(plan.spent, 3)} {told.unit}"


def _percent(plan: Plan) -> str:
    return f"{100 * (plan.row.chance or 0.0):.0f} %"
