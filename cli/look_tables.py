"""What ``weldtrial plan`` shows of planned looks: bounds, what they save, what they cost."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from weldtrial.shared.rounding import brief

if TYPE_CHECKING:
    from weldtrial.analysis.looks_ahead import LookRow, LooksAhead, ScatterRow
    from weldtrial.cli.console import Console
    from weldtrial.cli.plan_figures import PlanFigures
    from weldtrial.shared.looks import Looks


def show_looks(console: Console, figures: PlanFigures) -> None:
    """Show the planned looks of a trial; nothing where none are planned."""
    looks = figures.trial.looks
    if looks is None:
        return
    if looks.scatter_only:
        _show_scatter(console, figures, looks)
    else:
        _show_bounds(console, figures, looks)


def looks_json(figures: PlanFigures) -> dict[str, Any] | None:
    """Return the same as plain values, None where no looks are planned."""
    looks = figures.trial.looks
    if looks is None:
        return None
    head = {"after": looks.after, "bounds": looks.bounds}
    if looks.scatter_only:
        rows = [asdict(row) for row in _scatter(figures, looks)]
        return head | {"chance": looks.chance, "at_least": looks.least, "scatter": rows}
    return head | asdict(_ahead(figures, looks))


def _ahead(figures: PlanFigures, looks: Looks) -> LooksAhead:
    from weldtrial.analysis.looks_ahead import look_ahead

    spread = None if figures.assumed is None else figures.assumed.spread
    return look_ahead(figures.shape, spread, figures.aim, looks)


def _scatter(figures: PlanFigures, looks: Looks) -> tuple[ScatterRow, ...]:
    from weldtrial.analysis.looks_ahead import scatter_ahead

    if figures.assumed is None:
        return ()
    return scatter_ahead(figures.shape, figures.assumed.spread, figures.aim, looks)


def _show_bounds(console: Console, figures: PlanFigures, looks: Looks) -> None:
    ahead = _ahead(figures, looks)
    known = ahead.chance is not None
    console.heading(f"Planned looks ({looks.name} bounds)")
    stops = (
        ["answer here\nif equal", "answer here if\nthe loss is twice\nthe margin"] if known else []
    )
    headers = [
        "after\nround",
        "coupons",
        "share",
        "t of 95 %\ninterval",
        "t of one-\nsided limit",
        "nominal p\n(interval)",
        *(stops if known else []),
    ]
    if console.plain:
        headers = [" ".join(one.split()) for one in headers]
    rows = [_row(row, known=known) for row in ahead.rows]
    console.table(headers, rows, ["right"] * len(headers))
    if known:
        _cost(console, figures, ahead)
    else:
        words = f"  What looking costs needs a margin and the scatter. {figures.missing}"
        console.line(words.rstrip(), hang=2)
    if figures.trial.looks is not None and min(looks.after) < 4:
        console.note(
            '  With fewer than four set-ups of each in, a verdict can only begin with "Suggests".'
        )
    console.note(
        "  The intervals hold at all the looks at once. Any other look is refused as an answer."
    )


def _row(row: LookRow, *, known: bool) -> list[str]:
    cells = [
        str(row.round),
        str(row.coupons),
        _percent(row.share),
        _t(row.t),
        _t(row.t_one),
        f"{row.p:.4f}" if row.p >= 0.0001 else "<0.0001",
    ]
    if known:
        cells += [_percent(row.stop_equal), _percent(row.stop_loss)]
    return cells


def _t(value: float) -> str:
    return f"{value:.2f}" if value < 100 else f"{value:.0f}" if value < 1000 else ">1000"


def _percent(share: float | None) -> str:
    return "–" if share is None else f"{100 * share:.0f} %"


def _cost(console: Console, figures: PlanFigures, ahead: LooksAhead) -> None:
    if ahead.rounds_equal is None or ahead.rounds_loss is None:
        return
    console.line(
        f"  On average {ahead.rounds_equal:.1f} of {ahead.rounds} rounds if equal"
        f"{_hours(figures, ahead.rounds_equal)}, {ahead.rounds_loss:.1f} if the loss is twice the "
        f"margin{_hours(figures, ahead.rounds_loss)}, stopping as soon as one may.",
        hang=2,
    )
    console.line(
        f"  The chance to show what is asked: {_percent(ahead.chance)} with these looks, "
        f"{_percent(ahead.chance_once)} with one look at the end ({ahead.trials} simulated).",
        hang=2,
    )


def _hours(figures: PlanFigures, rounds: float) -> str:
    hours = figures.current.hours
    if hours is None:
        return ""
    return f" ({hours * rounds / figures.shape.rounds:.1f} of {hours:.1f} bench hours)"


def _show_scatter(console: Console, figures: PlanFigures, looks: Looks) -> None:
    most = figures.shape.rounds
    console.heading("One look at the scatter alone, codes closed")
    console.line(
        f"  After round {looks.after[0]} the scatter says how many rounds give "
        f"{_percent(looks.chance)} chance: at least {looks.least}, at most {most}. Which gas is "
        "which stays hidden.",
        hang=2,
    )
    rows = _scatter(figures, looks)
    if not rows:
        console.line(f"  What it would come to needs the scatter. {figures.missing}")
        return
    headers = ["true scatter", "average\nrounds", "chance", f"chance with\n{most} rounds"]
    if console.plain:
        headers = [" ".join(one.split()) for one in headers]
    cells = [
        [
            "as guessed" if row.times == 1 else f"{brief(row.times)} times the guess",
            f"{row.rounds:.1f}",
            _percent(row.chance),
            _percent(row.chance_most),
        ]
        for row in rows
    ]
    console.table(headers, cells, ["left", "right", "right", "right"])
