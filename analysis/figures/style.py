"""How figures look: one colour and one shape a level, restrained axes, readable in grey.

References
----------
Okabe, M. and Ito, K. (2008), *Color Universal Design: how to make figures and presentations that
are friendly to colourblind people*: the palette.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import matplotlib
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.path import Path

from weldtrial.analysis.findings import Comparison, CouponValue, ResponseFindings
from weldtrial.analysis.reaching import MOST_NAMED

WIDTH_IN, HALF_IN = 6.7, 3.45
"""Inches across a page and across one of its two columns, so that 8 pt is 8 pt on paper."""
_HEAD_LETTERS = {WIDTH_IN: 92, HALF_IN: 46}
"""Letters of a figure's heading that fit its width."""
INK, GREY, PALE, BAND = "#1a1a1a", "#666666", "#d9d9d9", "#ececec"

_RC: dict[str, Any] = {
    "font.family": ["DejaVu Sans"],  # travels with matplotlib, so sizes are the same everywhere
    "font.size": 8.5,
    "axes.titlesize": 9,
    "axes.labelsize": 8.5,
    "axes.edgecolor": GREY,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.unicode_minus": True,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 8,
    "ytick.labelsize": 8,
    "xtick.major.width": 0.7,
    "ytick.major.width": 0.7,
    "lines.linewidth": 1.2,
    "figure.facecolor": "white",
    "figure.dpi": 72,
}


@dataclass(frozen=True, slots=True)
class FigureText:
    """What a figure says in words and numbers, for those who cannot see it or want to check.

    Attributes
    ----------
    alt
        Type, data and message in one or two sentences.
    caption
        Printed below; names how many set-ups and coupons stand behind the figure.
    table_headers, table_rows
        The numbers that were drawn.
    """

    alt: str
    caption: str
    table_headers: tuple[str, ...]
    table_rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Look:
    """Colour, marker shape and face of one level, the same over a whole report."""

    colour: str
    marker: str
    face: str


_LOOKS = (
    Look("#0072B2", "o", "#0072B2"),
    Look("#D55E00", "s", "white"),
    Look("#009E73", "^", "#009E73"),
    Look("#CC79A7", "D", "white"),
    Look("#56B4E9", "v", "#56B4E9"),
    Look("#E69F00", "P", "white"),
    Look("#000000", "X", "#000000"),
)


def looks_for(levels: Sequence[str]) -> dict[str, Look]:
    """Return a look for each level, in their order; beyond seven they start again."""
    return {level: _LOOKS[number % len(_LOOKS)] for number, level in enumerate(levels)}


@contextmanager
def house_style() -> Iterator[None]:
    """Draw inside this in the house style, whatever the user's own matplotlib settings."""
    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        matplotlib.rcParams.update(_RC)  # type: ignore[arg-type]
        yield


def new_figure(height: float, width: float = WIDTH_IN) -> Figure:
    """Return an empty figure of `width` and `height` inches; no window, no pyplot."""
    return Figure(figsize=(width, height), layout="constrained")


def heading(figure: Figure, words: str, width: float = HALF_IN) -> None:
    """Say at the top left of the figure what is drawn; a long title takes a second line."""
    figure.suptitle(
        textwrap.fill(words, _HEAD_LETTERS[width]), x=0.01, ha="left", fontsize=8, weight="bold"
    )


def zero_line(axes: Axes, *, vertical: bool = False) -> None:
    """Draw the line of no gap."""
    draw = axes.axvline if vertical else axes.axhline
    draw(0, color=INK, linewidth=0.9, zorder=1)


def margin_lines(
    axes: Axes, margin: float | None, *, vertical: bool = False, foot: float = 0.0
) -> None:
    """Draw the margin on both sides of zero, the band between shaded; nothing without one.

    `foot` leaves so much of the axes (a fraction) free of the lines' lower or left ends.
    """
    if margin is None:
        return
    span = axes.axvspan if vertical else axes.axhspan
    span(-margin, margin, color=BAND, linewidth=0, zorder=0)
    draw = axes.axvline if vertical else axes.axhline
    for edge in (-margin, margin):
        draw(edge, foot, 1, color=GREY, linewidth=0.9, linestyle=(0, (4, 3)), zorder=1)


def compared(response: ResponseFindings) -> Comparison | None:
    """Return the first comparison of a response, or None when nothing is compared."""
    return response.comparisons[0] if response.comparisons else None


def levels_of(response: ResponseFindings) -> tuple[str, ...]:
    """Return the levels of the compared factor, reference first; ``("",)`` when there is none."""
    first = compared(response)
    if first is None:
        return ("",)
    others = [one.level for one in response.comparisons if one.factor == first.factor]
    return (first.reference, *dict.fromkeys(others))


def look_of(response: ResponseFindings, one: Comparison) -> Look:
    """Return the look of the level that a comparison is about, among those of its own factor."""
    mine = [other for other in response.comparisons if other.factor == one.factor]
    levels = dict.fromkeys([mine[0].reference, *(other.level for other in mine)])
    return looks_for(tuple(levels))[one.level]


def level_of(coupon: CouponValue, response: ResponseFindings) -> str:
    """Return the coupon's level of the compared factor."""
    first = compared(response)
    return "" if first is None else coupon.levels.get(first.factor, "")


_UPWARDS = ((-0.17, 0.0), (-0.17, 0.5), (-0.5, 0.5), (0.0, 1.0), (0.5, 0.5), (0.17, 0.5),
            (0.17, 0.0), (-0.17, 0.0))  # fmt: skip
ARROWS = {
    "above": Path(_UPWARDS, closed=True),
    "below": Path([(x, -y) for x, y in _UPWARDS], closed=True),
}
"""Marks of coupons that went past a gauge limit: an open arrow that starts at the limit."""


def is_past(coupon: CouponValue) -> bool:
    """Whether a coupon went past a gauge limit and is drawn as an open arrow."""
    return coupon.beyond in ARROWS


def arrows(
    axes: Axes, places: Sequence[tuple[float, float, CouponValue]], colour: str, size: float = 14
) -> None:
    """Draw coupons past a gauge limit, each (x, y, coupon), as open arrows the way they went."""
    for x, y, coupon in places:
        axes.plot(
            [x],
            [y],
            linestyle="none",
            marker=ARROWS[coupon.beyond],
            markersize=size,
            markerfacecolor="white",
            markeredgecolor=colour,
            markeredgewidth=0.8,
            zorder=4,
        )


def past_words(response: ResponseFindings, how: str) -> str:
    """Say how many coupons went past the gauge and `how` they are drawn; nothing without any."""
    past = sum(is_past(one) for one in response.coupons)
    if not past:
        return ""
    limits = {one.value for one in response.coupons if is_past(one)}
    where = (
        "went past the gauge limit" if len(limits) <= MOST_NAMED else "are known to a limit only"
    )
    drawn = f"an open arrow, {how}" if past == 1 else f"open arrows, {how}"
    return f" {past} of {len(response.coupons)} coupons {where}: {drawn}."


def counted(response: ResponseFindings) -> str:
    """Return how much stands behind a figure: ``12 set-ups, 48 coupons``."""
    coupons = f"{response.n} coupon{'' if response.n == 1 else 's'}"
    if response.setups_total is None:
        return f"{coupons}, each set up on its own"
    return f"{response.setups_total} set-ups, {coupons}"


def term_words(term: str) -> str:
    """Return a model term for eyes: ``gas:wire_feed`` as ``gas × wire feed``."""
    return term.replace(":", " × ").replace("_", " ").replace("^2", "²")
