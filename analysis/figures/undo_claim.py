"""What a count's p becomes as facts of the old side change.

Left, events of the old side that somebody forgot; right, fewer earlier coupons than were told.
Fisher's exact test throughout, as in `weldtrial.analysis.undo_claim`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from weldtrial.analysis.counted_evidence import fisher_p
from weldtrial.analysis.evidence import Evidence
from weldtrial.analysis.figures.style import GREY, INK, FigureText, house_style, new_figure
from weldtrial.analysis.review_words import p_words

STANDS_OUT = 0.05
MOST_FORGOTTEN = 5
POINTS = 12
"""Points drawn of the right-hand curve, the largest number of earlier coupons first."""


@dataclass(frozen=True, slots=True)
class Curves:
    """What is drawn: pairs of a number and the p it leaves.

    Attributes
    ----------
    forgotten
        Events forgotten on the old side, from none.
    earlier
        Earlier coupons, from as many as were told downwards.
    """

    forgotten: tuple[tuple[int, float], ...]
    earlier: tuple[tuple[int, float], ...]


def curves(evidence: Evidence) -> Curves | None:
    """Return both curves; None for anything but counts that stand out, the old side with fewer."""
    new, old = evidence.new, evidence.old
    if new.passed is None or old.passed is None or (new.share or 0) <= (old.share or 0):
        return None
    if fisher_p(new.passed, new.n, old.passed, old.n) > STANDS_OUT:
        return None
    most = min(MOST_FORGOTTEN, old.n - old.passed)
    forgotten = tuple(
        (many, fisher_p(new.passed, new.n, old.passed + many, old.n)) for many in range(most + 1)
    )
    least = max(1, old.passed)
    step = max(1, -(-(old.n - least + 1) // POINTS))
    earlier = tuple(
        (n, fisher_p(new.passed, new.n, old.passed, n)) for n in range(old.n, least - 1, -step)
    )
    return Curves(forgotten, earlier)


def draw(found: Curves, what: str, old: str) -> Figure:
    """Draw both curves beside each other, with the line at which a result no longer stands out."""
    with house_style():
        figure = new_figure(1.45)
        left, right = figure.subplots(1, 2, sharey=True)
        _curve(left, found.forgotten, f"{what or 'failures'} forgotten among those of {old}")
        _curve(right, found.earlier, f"earlier coupons of {old}, really")
        right.invert_xaxis()
        left.set_ylabel("p")
    return figure


def _curve(axes: Axes, points: Sequence[tuple[int, float]], label: str) -> None:
    xs, ps = [x for x, _ in points], [p for _, p in points]
    axes.axhline(STANDS_OUT, color=GREY, linewidth=0.8, linestyle=(0, (4, 2)))
    axes.plot(xs, ps, color=GREY, linewidth=1.0, zorder=2)
    for x, p in points:
        out = p <= STANDS_OUT + 1e-9
        axes.plot(x, p, marker="o" if out else "s", color=INK, markersize=4.5,
                  markerfacecolor=INK if out else "white", linestyle="none", zorder=3)  # fmt: skip
    axes.set_xticks(xs)
    axes.set_ylim(bottom=0)
    axes.set_xlabel(label)


def describe(found: Curves, what: str, old: str) -> FigureText:
    """Return alt text, caption and numbers."""
    turn = next((many for many, p in found.forgotten if p > STANDS_OUT + 1e-9), None)
    fewer = next((n for n, p in found.earlier if p > STANDS_OUT + 1e-9), None)
    event = what or ("failure" if turn == 1 else "failures")
    said = []
    if turn is not None:
        said.append(f"with {turn} forgotten {event} of {old} it no longer stands out")
    if fewer is not None:
        said.append(f"with really only {fewer} earlier coupons neither")
    message = "; ".join(said) or "no changed fact drawn here undoes it"
    steps = [n for n, _ in found.earlier]
    rows = [
        (f"0 to {found.forgotten[-1][0]} forgotten", _ps(found.forgotten)),
        (f"{', '.join(map(str, steps))} earlier coupons", _ps(found.earlier)),
    ]
    return FigureText(
        alt=(
            f"Two curves of p: against forgotten events of {old}, and against fewer earlier "
            f"coupons. {message[:1].upper()}{message[1:]}."
        ),
        caption=(
            "What p becomes as one fact changes (Fisher, exact). Filled: still stands out; open, "
            f"above the dashed line at 0.05: no longer. {message[:1].upper()}{message[1:]}."
        ),
        table_headers=("if really", "p"),
        table_rows=tuple(rows),
    )


def _ps(points: Sequence[tuple[int, float]]) -> str:
    return ", ".join(p_words(p) for _, p in points)
