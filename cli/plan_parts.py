"""What ``weldtrial plan`` shows next: what it tells, the bench, the order, what may spoil it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldtrial.cli.fair_screen import both_words, show_fair
from weldtrial.cli.plan_figures import PlanFigures
from weldtrial.shared.rounding import brief

if TYPE_CHECKING:
    from weldtrial.analysis.gauge import GaugeNote
    from weldtrial.cli.console import Console
    from weldtrial.doe.assess import Assessment, Told
    from weldtrial.doe.bench import Figure
    from weldtrial.shared.trial import Trial


def show_parts(console: Console, figures: PlanFigures) -> None:
    """Show what a plan tells, what it asks of the bench, and what may spoil it."""
    _tells(console, figures)
    show_fair(console, figures)
    show_bench(console, figures)
    _order(console, figures)
    _gauge(console, figures)
    show_nuisances(console, figures)


def p_cell(p: float | None) -> str:
    """Return a smallest reachable p: 1.00, 0.125, 0.04, 0.005 or <0.001."""
    if p is None:
        return "–"
    if p >= 0.01 and abs(round(p, 2) - p) < 1e-9:
        return f"{p:.2f}"
    return f"{p:.3f}" if p >= 0.001 else "<0.001"


def _tells(console: Console, figures: PlanFigures) -> None:
    assessment = figures.assessment
    console.heading("What this plan can tell")
    for told in assessment.told:
        words = f"  {told.words}: {_judged(figures, told)}"
        gap = figures.gaps.get(told.term)
        if gap is not None and figures.assumed is not None:
            words += f"; would probably see {brief(gap, 2)} {figures.assumed.unit}"
        console.line(words, hang=4)
    if not assessment.told:
        console.line("  Spreads only.")
    for words in assessment.layout.notes:
        console.line(f"  {words}", hang=4)
    if figures.shape.readings > 1:
        console.line(f"  {both_words(figures)}", hang=4)
    elif figures.shape.family != "single":
        console.line(f"  {_together(figures)}", hang=4)
    console.line(f"  {assessment.blocks}", hang=2)
    for name, other in figures.others.items():
        response = figures.trial.response(name)
        if other.detectable is not None:
            console.line(
                f"  {response.title}: a gap of {brief(other.detectable, 2)} {response.unit} "
                "8 times in 10; not what this trial is sized for"
            )
    _runs_together(console, assessment)
    console.heading("What it cannot tell")
    for words in (*assessment.left_out, *assessment.not_told):
        console.line(f"  {words}", hang=4)
    for words in assessment.windows:
        console.line(f"  ! {words}", hang=4)


def _judged(figures: PlanFigures, told: Told) -> str:
    if told.judged_by == "effects":
        count = len(figures.assessment.told)
        return f"judged by the size of the {count} effects (Lenth 1989); nothing is welded twice"
    by = "set-ups" if told.judged_by == "set-ups" else "coupons"
    if told.judged_by == "coupons" and figures.shape.by_setups:
        by = "coupons within set-ups"
    return f"judged by {by}, {told.error_df} to judge the spread from"


def _together(figures: PlanFigures) -> str:
    shape, factor = figures.shape, figures.compared
    what = "gases" if factor.name == "gas" else f"levels of {factor.title.lower()}"
    if shape.family == "reference":
        return (
            f"{shape.levels - 1} {what} are compared with {factor.reference} together: all the "
            "intervals hold at once, 95 times in 100 (Dunnett 1955), and the figures allow for it."
        )
    return (
        f"All pairs of {shape.levels} {what} are compared together: all the intervals hold at "
        "once, 95 times in 100 (Tukey; Kramer 1956), and the figures allow for it. Say which one "
        "is today's (control) to compare with that alone."
    )


def _runs_together(console: Console, assessment: Assessment) -> None:
    lines = [*assessment.aliases, *assessment.confounded]
    if assessment.never_welded:
        lines.append(assessment.never_welded)
    if not lines:
        return
    console.heading("What runs together")
    for words in lines:
        console.line(f"  {words}", hang=4)


def show_bench(console: Console, figures: PlanFigures) -> None:
    """Show what a plan asks of the bench."""
    bench, layout = figures.assessment.bench, figures.assessment.layout
    console.heading("At the bench, spares and warm-ups included")
    rows = [["coupons", str(layout.total)]]
    if bench.set_ups:
        what = "bottle changes" if layout.hard == "gas" else f"changes of {layout.hard}"
        rows.append([what, f"{bench.set_ups}, the first fitting counted"])
    rows += [
        ["bench time", _figure(bench.hours, 1)],
        ["days", _figure(bench.days, 0)],
        ["reading time", _figure(bench.reading_hours, 1)],
        ["weld", _figure(bench.weld_m, 1)],
    ]
    for level, litres in bench.gas_l.items():
        rows.append([f"shielding gas {level}".strip(), _figure(litres, 0)])
    if figures.trial.budget.cost_wire_kg is not None:
        rows.append(["wire", _figure(bench.wire_kg, 2)])
    rows.append(["cost", _figure(bench.cost, 2)])
    if console.plain:
        console.table(["what", "how much"], rows)
        return
    width = max(len(label) for label, _ in rows) + 2
    for label, value in rows:
        console.line(f"  {label:<{width}}{value}", hang=width)


def _figure(figure: Figure, decimals: int) -> str:
    if figure.value is None:
        return f"needs {' and '.join(figure.needs)}"
    unit = "day" if figure.unit == "days" and figure.value == 1 else figure.unit
    return f"{figure.value:.{decimals}f} {unit}".strip()


def _order(console: Console, figures: PlanFigures) -> None:
    p = figures.current.smallest_p
    if p is None:
        return
    console.heading("The order")
    many = figures.orders if (figures.orders or 0) <= 1_000_000 else "more than a million"
    orders = f"{many} orders may be drawn; a" if many else "A"
    if figures.restriction:
        console.line(f"  Drawn from the seal with {figures.restriction}.")
    console.line(
        f"  {orders} shuffle test can reach p = {p_cell(p)} at best."
        + (" That alone can never settle anything at 0.05." if p > 0.05 else "")
    )


def _gauge(console: Console, figures: PlanFigures) -> None:
    lines = [line for note in figures.gauge for line in gauge_lines(figures.trial, note)]
    if lines:
        console.heading("The gauges")
    for line in lines:
        console.line(f"  {line}", hang=4)


def gauge_lines(trial: Trial, note: GaugeNote) -> list[str]:
    """Return what is to be said of one response's gauge."""
    title, lines = trial.response(note.response).title, []
    if note.steps is not None:
        few = " – few; readings may tie" if note.coarse else ""
        lines.append(
            f"{title}: the margin, {brief(note.margin)} {note.unit}, is {brief(note.steps, 3)} "
            f"steps of the gauge ({brief(note.reads_to)} {note.unit}){few}."
        )
    elif note.margin is not None and note.reads_to is None:
        lines.append(f"{title}: the file does not say what the gauge reads to (reads_to).")
    for limit, share, word in ((note.most, note.above, "above"), (note.least, note.below, "below")):
        if limit is not None and share is not None and share >= 0.005:
            lines.append(
                f"{title}: by the typical scatter alone about {100 * share:.0f} in 100 coupons "
                f"would be {word} the gauge limit, {brief(limit)} {note.unit}. They count as at "
                f"{'least' if word == 'above' else 'most'} that, and tell less."
            )
    return lines


def show_nuisances(console: Console, figures: PlanFigures) -> None:
    """Show what may spoil it and of which the file says nothing."""
    flagged = figures.assessment.flagged
    if not flagged:
        return
    console.heading("Not said: held, measured, blocked or shuffled?  (under [nuisance])")
    console.table(
        ["name", "why it matters", "what is usually done"],
        [[one.name, one.why, one.remedy] for one in flagged],
    )
