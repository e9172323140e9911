"""The strip of a review: what was found with its interval, the claim as a tick, the margin."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from weldtrial.analysis.evidence import Evidence
from weldtrial.analysis.figures.style import BAND, GREY, INK, FigureText, house_style, new_figure
from weldtrial.analysis.review_numbers import Weighing
from weldtrial.shared.responses import Margin
from weldtrial.shared.rounding import decimals_for, fixed, spaced


@dataclass(frozen=True, slots=True)
class Strip:
    """What is drawn, all on one scale.

    Attributes
    ----------
    zero
        Where nothing differs: 1 for a ratio, else 0.
    claimed
        Lowest and highest that the claim allows, ends perhaps infinite; None without one.
    near
        The margin; None without one.
    """

    label: str
    unit: str
    estimate: float
    low: float
    high: float
    zero: float
    claimed: tuple[float, float] | None = None
    near: float | None = None

    @property
    def places(self) -> int:
        """Decimals that the interval bears."""
        places = decimals_for((self.high - self.low) / 2)
        return max(2, min(3, places + 1)) if self.zero == 1 else places

    def words(self, value: float, *, signed: bool = True) -> str:
        """Return a value as it is printed."""
        return fixed(value, self.places, signed=signed and self.zero == 0)


def strip_of(evidence: Evidence, weighing: Weighing, margin: Margin | None) -> Strip | None:
    """Return what can be drawn: on the claim's scale where there is one; None without interval."""
    new, old = evidence.new.name, evidence.old.name
    claim = weighing.claim
    ratio = claim is not None and claim.scale == "ratio"
    said = next((one for one in weighing.says if one.code in (
        ("ratio",) if ratio else ("difference", "pooled")) and "low" in one.values
        and "high" in one.values), None)  # fmt: skip
    if said is None:
        return None
    values = said.values
    estimate = values.get("ratio" if ratio else "difference", values.get("estimate"))
    if estimate is None or not all(map(isfinite, (estimate, values["low"], values["high"]))):
        return None
    points = evidence.kind == "counts" and not ratio
    scale = 100.0 if points else 1.0
    near = claim.margin if claim is not None else _near(evidence, margin)
    ends = None if claim is None else (claim.low * scale, claim.high * scale)
    return Strip(
        label=f"{new} / {old}" if ratio else f"{new} \N{MINUS SIGN} {old}",
        unit="points" if points else "" if ratio else evidence.unit,
        estimate=estimate * scale,
        low=values["low"] * scale,
        high=values["high"] * scale,
        zero=1.0 if ratio else 0.0,
        claimed=ends,
        near=None if near is None else near * scale,
    )


def _near(evidence: Evidence, margin: Margin | None) -> float | None:
    if margin is None:
        return None
    if evidence.kind == "counts" or not margin.percent:
        return margin.value
    return None if evidence.old.mean is None else margin.in_units(evidence.old.mean)


def draw(found: Strip) -> Figure:
    """Draw one strip."""
    with house_style():
        figure = new_figure(0.8)
        axes = figure.subplots(1, 1)
        if found.near is not None:
            axes.axvspan(found.zero - found.near, found.zero + found.near, color=BAND, zorder=0)
        axes.axvline(found.zero, color=INK, linewidth=0.9, zorder=1)
        axes.plot([found.low, found.high], [0, 0], color=INK, linewidth=1.4, zorder=2)
        axes.plot(found.estimate, 0, marker="o", color=INK, markersize=6, zorder=3)
        _claim(axes, found)
        axes.set_ylim(-1, 1.3)
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
        axes.set_xlabel(f"{found.label}{f', {found.unit}' if found.unit else ''}")
    return figure


def _claim(axes: Axes, found: Strip) -> None:
    if found.claimed is None:
        return
    low, high = found.claimed
    place = low if isfinite(low) else high
    if not isfinite(place):
        return
    axes.plot([place, place], [0.25, 0.75], color=GREY, linewidth=2.2, zorder=4)
    words = "claim"
    if low != high:
        words = "claim: this or more \u2192" if isfinite(low) else "\u2190 claim: this or less"
    axes.text(place, 0.85, words, ha="center", va="bottom", fontsize=8, color=INK)


def describe(found: Strip) -> FigureText:
    """Return alt text, caption and numbers."""
    tail = spaced(found.unit)
    seen = (
        f"{found.label} is {found.words(found.estimate)}{tail}, could be "
        f"{found.words(found.low)} to {found.words(found.high)}{tail}"
    )
    claimed = ""
    if found.claimed is not None:
        places = [found.words(one) for one in found.claimed if isfinite(one)]
        claimed = " to ".join(dict.fromkeys(places))
    ends = f"{found.words(found.low)} to {found.words(found.high)}"
    rows = [("found", found.words(found.estimate)), ("95 % interval", ends)]
    alt = f"Interval strip: {seen}"
    if claimed:
        rows.append(("claimed", claimed))
        alt += f"; the claim stands at {claimed}"
    if found.near is not None:
        near = fixed(found.near, found.places)
        rows.append(("margin either way", near))
        alt += f"; the margin is {near} either way"
    caption = "Dot: what was found. Line: 95 % interval."
    caption += " Tick: the claim." if claimed else ""
    caption += " Grey band: the margin." if found.near is not None else ""
    heads, cells = zip(*rows, strict=True)
    names = (f"{found.label}{tail}", *heads[1:])
    return FigureText(alt + ".", caption, names, (cells,))
