"""The answer strip: each gap with its interval, against zero and the margin."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from weldtrial.analysis.figures.style import (
    GREY,
    INK,
    FigureText,
    Look,
    counted,
    house_style,
    look_of,
    margin_lines,
    new_figure,
    zero_line,
)
from weldtrial.analysis.findings import ClaimFinding, Comparison, ResponseFindings
from weldtrial.shared.rounding import brief, by_uncertainty, interval

Pair = tuple[ResponseFindings, Comparison]


@dataclass(frozen=True, slots=True)
class _Gap:
    """The numbers of a comparison, in the response's unit."""

    difference: float
    low: float
    high: float
    low90: float
    high90: float

    @property
    def half(self) -> float:
        return (self.high - self.low) / 2

    @property
    def words(self) -> str:
        return by_uncertainty(self.difference, self.half, signed=True)


def pairs_of(responses: Sequence[ResponseFindings]) -> tuple[Pair, ...]:
    """Return every comparison that has numbers with its response, the deciding response first."""
    ordered = sorted(responses, key=lambda response: response.rank)
    return tuple(
        (response, one)
        for response in ordered
        for one in response.comparisons
        if _gap(one) is not None
    )


def _gap(one: Comparison) -> _Gap | None:
    numbers = (one.difference, one.ci_low, one.ci_high, one.ci90_low, one.ci90_high)
    found = [number for number in numbers if number is not None and math.isfinite(number)]
    return _Gap(*found) if len(found) == len(numbers) else None


def _sure(one: Comparison) -> _Gap:
    gap = _gap(one)
    if gap is None:
        raise ValueError("a comparison without numbers cannot be drawn")
    return gap


def draw(pairs: Sequence[Pair], better: Sequence[str] = ()) -> Figure:
    """Draw one strip for each comparison, each on an axis in its own unit.

    Parameters
    ----------
    pairs
        Response and comparison, at least one.
    better
        ``"higher"`` or ``"lower"`` for each pair, to name the two directions; omitted: unnamed.
    """
    with house_style():
        figure = new_figure(0.2 + 0.7 * len(pairs))
        grid = figure.subplots(len(pairs), 1, squeeze=False)
        for row, (response, one) in enumerate(pairs):
            direction = better[row] if row < len(better) else ""
            _strip(grid[row, 0], response, one, direction)
    return figure


def describe(pairs: Sequence[Pair]) -> FigureText:
    """Return alt text, caption and numbers of the strip."""
    said = "; ".join(_sentence(response, one) for response, one in pairs)
    rows = tuple(_row(response, one) for response, one in pairs)
    return FigureText(
        alt=f"Interval strip. {said}.",
        caption=(
            "Dot: estimate. Thin line: 95 % interval, for whether there is a gap. Thick bar: "
            "one-sided 95 % limits, for the margin (grey band). "
            f"{_counts(pairs)}."
        ),
        table_headers=(
            "response",
            "gap",
            "estimate",
            "95 % interval",
            "one-sided 95 % limits",
            "margin",
        ),
        table_rows=rows,
    )


def _counts(pairs: Sequence[Pair]) -> str:
    """Return how much stands behind the strips, once where it is the same behind all."""
    found = {response.title: counted(response) for response, _ in pairs}
    if len(set(found.values())) == 1:
        return next(iter(found.values()))
    return "; ".join(f"{title}: {words}" for title, words in found.items())


def claimed_gap(response: ResponseFindings, one: Comparison, claim: ClaimFinding) -> float:
    """Return a claim as a difference in the response's unit (a ratio at the reference mean)."""
    is_ratio = one.ratio is not None and math.isclose(claim.estimate, one.ratio, rel_tol=1e-9)
    if not is_ratio:
        return claim.value
    return (claim.value - 1) * _reference_mean(response, one)


def _reference_mean(response: ResponseFindings, one: Comparison) -> float:
    for mean in response.means:
        if (mean.factor, mean.level) == (one.factor, one.reference):
            return mean.mean
    if one.difference is None or not one.percent:
        return math.nan
    return 100 * one.difference / one.percent


def _strip(axes: Axes, response: ResponseFindings, one: Comparison, better: str) -> None:
    look = look_of(response, one)
    gap = _sure(one)
    margin_lines(axes, one.margin, vertical=True, foot=0.36)
    zero_line(axes, vertical=True)
    axes.plot([gap.low, gap.high], [0, 0], color=INK, linewidth=1.3, zorder=3)
    for end in (gap.low, gap.high):
        axes.plot([end, end], [-0.16, 0.16], color=INK, linewidth=1.3, zorder=3)
    axes.plot(
        [gap.low90, gap.high90],
        [0, 0],
        color=look.colour,
        linewidth=5,
        solid_capstyle="butt",
        zorder=4,
    )
    _dot(axes, gap.difference, look)
    axes.annotate(
        gap.words,
        (gap.difference, 0),
        (0, 8),
        textcoords="offset points",
        ha="center",
        weight="bold",
    )
    _claims(axes, response, one)
    _frame(axes, response, one, better)


def _dot(axes: Axes, x: float, look: Look) -> None:
    axes.plot(
        [x],
        [0],
        marker=look.marker,
        markersize=7.5,
        markerfacecolor="white",
        markeredgecolor=INK,
        markeredgewidth=1.3,
        linestyle="none",
        zorder=5,
    )


def _claims(axes: Axes, response: ResponseFindings, one: Comparison) -> None:
    for claim in one.claims:
        at = claimed_gap(response, one, claim)
        if math.isfinite(at):
            axes.plot([at], [-0.45], marker="^", markersize=6, color=INK, clip_on=False, zorder=5)
            axes.annotate(
                f"claim {brief(claim.value)}",
                (at, -0.45),
                (6, -3),
                textcoords="offset points",
                fontsize=7.5,
            )


def _frame(axes: Axes, response: ResponseFindings, one: Comparison, better: str) -> None:
    gap = _sure(one)
    shown = [0.0, gap.low, gap.high]
    shown += [] if one.margin is None else [-one.margin, one.margin]
    shown += [claimed_gap(response, one, claim) for claim in one.claims]
    finite = [x for x in shown if math.isfinite(x)]
    pad = 0.09 * (max(finite) - min(finite) or 1.0)
    axes.set_xlim(min(finite) - pad, max(finite) + pad)
    axes.set_ylim(-0.85, 1.05)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_title(
        f"{response.title}: {one.said_level} minus {one.reference}, {response.unit}",
        loc="left",
        weight="bold",
        pad=4,
    )
    if one.margin is not None:
        words = f"margin ±{brief(one.margin, 3)} {response.unit}"
        axes.set_title(words, loc="right", fontsize=7.5, color=GREY, pad=4)
    if better:
        left, right = ("worse", "better") if better == "higher" else ("better", "worse")
        style = {"fontsize": 7.5, "color": GREY, "transform": axes.transAxes}
        axes.text(0, 0.05, f"← {one.level} {left}", ha="left", **style)  # type: ignore[arg-type]
        axes.text(1, 0.05, f"{one.level} {right} →", ha="right", **style)  # type: ignore[arg-type]


def _sentence(response: ResponseFindings, one: Comparison) -> str:
    gap = _sure(one)
    reach = interval(gap.low, gap.high, signed=True)
    zero = "crossing zero" if gap.low < 0 < gap.high else "clear of zero"
    margin = "" if one.margin is None else f", against a margin of {brief(one.margin)}"
    return (
        f"{response.title}, {one.said_level} minus {one.reference}: {gap.words} {response.unit}, "
        f"95 % interval {reach}, {zero}{margin}"
    )


def _row(response: ResponseFindings, one: Comparison) -> tuple[str, ...]:
    gap = _sure(one)
    return (
        f"{response.title} ({response.unit})",
        f"{one.said_level} − {one.reference}",
        gap.words,
        interval(gap.low, gap.high, signed=True),
        interval(gap.low90, gap.high90, signed=True),
        "none given" if one.margin is None else brief(one.margin, 3),
    )
