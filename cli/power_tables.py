"""What ``weldtrial power`` shows: one table for the question, then what it means."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from weldtrial.cli.counted_plan import show_counted
from weldtrial.cli.left_open import show_open
from weldtrial.cli.needs_table import equal_rows, loss_row, show_needs
from weldtrial.cli.power_words import meaning, of_several, percent, plan_words, sentences, widths
from weldtrial.cli.scatter_words import scatter_words, with_unit
from weldtrial.shared.rounding import brief

if TYPE_CHECKING:
    from weldtrial.analysis.term_power import TermPower
    from weldtrial.cli.console import Align, Console
    from weldtrial.cli.power_figures import PowerFigures


def show_power(console: Console, figures: Sequence[PowerFigures], chance: float) -> None:
    """Show what a plan can show of every response; the deciding one at length."""
    console.line(plan_words(figures[0]), style="bold")
    console.line(f'"Probably" below means a chance of {percent(chance)}.')
    deciding = min(figures, key=lambda one: one.response.rank)
    for one in figures:
        console.heading(one.response.title if one.response.name != "response" else "This plan")
        if one.counted is not None:
            show_counted(console, one)
            if one is deciding:
                _meant(console, one)
            continue
        if one.needs is None or one.assumed is None:
            console.line(f"  {one.missing}", hang=2)
            continue
        source = f" ({one.assumed.source})" if one.assumed.source else ""
        console.line(
            f"  Worked out from: {scatter_words(one.assumed.spread, one.assumed.unit)}{source}.",
            hang=2,
        )
        _asked(console, one)
        for words in sentences(one):
            console.line(f"  {words}", hang=2)
        if one.groups is None:
            show_open(console, one.response, one.assumed, one.shape, chance)
        if one is deciding:
            _at_length(console, one)
    console.line()


def _asked(console: Console, one: PowerFigures) -> None:
    needs, unit = one.needs, one.assumed.unit if one.assumed else ""
    assert needs is not None
    if needs.loss is None:
        console.line("  No margin is given, so there is no loss to ask about.", hang=2)
        return
    loss = with_unit(needs.loss, unit)
    rows = [loss_row(f"a true loss of {loss}", needs), *equal_rows(loss, needs)]
    show_needs(console, rows, needs, by_setups=one.shape.by_setups)


def _at_length(console: Console, one: PowerFigures) -> None:
    for words in widths(one):
        console.line(f"  {words}", hang=2)
    _best(console, one)
    _ladder(console, one)
    if len(one.terms) > 1:
        _terms(console, one)
    _meant(console, one)


def _meant(console: Console, one: PowerFigures) -> None:
    lines = meaning(one)
    if lines:
        console.heading("What that means")
    for words in lines:
        console.line(f"  {words}", hang=2)


def _best(console: Console, one: PowerFigures) -> None:
    best, unit = one.best, one.assumed.unit if one.assumed else ""
    if best is None:
        return
    console.heading(
        f"Best of {best.levels}, if one is truly better than every other by "
        f"{with_unit(best.by, unit)}"
    )
    console.table(["", "chance"], [[what, percent(chance)] for what, chance in of_several(one)])
    how = (
        "each with today's, by Dunnett's intervals (1955)"
        if one.shape.family == "reference"
        else "all pairs, by Tukey's intervals (Kramer 1956)"
    )
    console.line(f"  Shown: {how}. Choosing by the best mean: Bechhofer (1954).", hang=2)


def _ladder(console: Console, one: PowerFigures) -> None:
    if not one.ladder:
        return
    own = one.groups.per_setup if one.groups is not None else one.shape.per_setup
    unit = f", {one.assumed.unit}" if one.assumed and one.assumed.unit else ""
    console.heading("More coupons in the same set-ups soon stop helping")
    headers = ["coupons a set-up"]
    headers += ["∞" if step.coupons is None else f"{step.coupons}{'*' * (step.coupons == own)}"
                for step in one.ladder]  # fmt: skip
    align: list[Align] = ["left", *(["right"] * len(one.ladder))]  # type: ignore[list-item]
    console.table(
        headers,
        [
            [f"smallest loss probably seen{unit}", *(brief(step.gap, 3) for step in one.ladder)],
            ["coupons in all", *("" if step.total is None else step.total for step in one.ladder)],
        ],
        align,
    )
    least = one.ladder[-1].gap
    if least > 0:
        console.line(
            f"  * this plan. No number of coupons in these set-ups shows less than "
            f"{with_unit(least, one.assumed.unit if one.assumed else '')}; more set-ups do.",
            hang=2,
        )
    else:
        console.line(
            "  * this plan. No scatter between set-ups is assumed; with any, coupons in the same "
            "set-ups stop helping.",
            hang=2,
        )


def _terms(console: Console, one: PowerFigures) -> None:
    needs, unit = one.needs, one.assumed.unit if one.assumed else ""
    assert needs is not None
    console.heading("Every factor and interaction, one at a time")
    headers = [
        "factor or interaction",
        "judged by",
        "df",
        f"smallest effect\nprobably seen, {unit}",
    ]
    if console.plain:
        headers = [" ".join(header.split()) for header in headers]
    if needs.loss is not None:
        headers.append(f"chance for {with_unit(needs.loss, unit)}")
    rows = []
    for words, term in one.terms:
        seen = "never" if term.detectable is None else brief(term.detectable, 3)
        df = "–" if term.judged_by == "effects" else brief(term.df, 3)
        row = [words, _judge(term, by_setups=one.shape.by_setups), df, seen]
        rows.append(row + ([] if needs.loss is None else [percent(term.chance)]))
    align: list[Align] = ["left", "left", "right", "right", "right"]
    console.table(headers, rows, align[: len(headers)])
    for words in _footnotes(one):
        console.note(f"  {words}", hang=2)


def _judge(term: TermPower, *, by_setups: bool) -> str:
    if term.judged_by == "effects":
        return "size of the effects"
    if term.judged_by == "coupons" and by_setups:
        return "coupons within set-ups"
    return term.judged_by


def _footnotes(one: PowerFigures) -> list[str]:
    terms = [term for _, term in one.terms]
    words = ["An effect runs from low to high, or from one level of a category to another."]
    if any(":" in term.term for term in terms):
        words.append("That of an interaction is half the difference between two effects.")
    lines = [" ".join(words)]
    if any(term.columns > 1 for term in terms):
        lines.append(
            "Three levels and more: whether they differ at all, by F, when two differ by so much "
            "and the others lie half-way."
        )
    if any(term.judged_by == "effects" for term in terms):
        lines.append(
            f"Nothing is welded twice, so the {len(terms)} effects judge each other (Lenth 1989): "
            "simulated, one true effect and no other."
        )
    return lines
