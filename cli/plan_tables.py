"""What ``weldtrial plan`` shows first: the question and the rounds table."""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldtrial.cli.counted_plan import (
    apart,
    doubt_words,
    foreseen_words,
    gap_cell,
    loss_words,
    method_words,
)
from weldtrial.cli.left_open import open_words
from weldtrial.cli.look_tables import show_looks
from weldtrial.cli.plan_figures import PlanFigures, margin_words
from weldtrial.cli.plan_parts import p_cell, show_parts
from weldtrial.cli.plan_working import show_working, small
from weldtrial.cli.scatter_words import scatter_words
from weldtrial.shared.fair import OWN, SAME, readings_of
from weldtrial.shared.rounding import brief, fixed, plain

if TYPE_CHECKING:
    from weldtrial.analysis.assumed import Assumed
    from weldtrial.analysis.budget import BudgetRow
    from weldtrial.analysis.counted_power import CountedAim
    from weldtrial.cli.console import Align, Console
    from weldtrial.shared.responses import Response


WEAK = '  "weak" = with fewer than four set-ups of each, a verdict can only begin with "Suggests".'


def show_plan(console: Console, figures: PlanFigures, *, why: bool) -> None:
    """Show a plan, part by part."""
    if figures.trial.follows is not None and figures.trial.follows.adds == "confirm":
        from weldtrial.cli.confirm_plan import show_confirm_plan

        show_confirm_plan(console, figures, budget=_budget(figures))
        return
    _question(console, figures)
    show_changes(console, figures)
    _rounds(console, figures)
    show_looks(console, figures)
    if why:
        show_working(console, figures)
    show_parts(console, figures)


# ---------------------------------------------------------------------- the question


def _question(console: Console, figures: PlanFigures) -> None:
    trial = figures.trial
    console.line(trial.title, style="bold")
    console.line(f"  compares  {_compares(figures)}", hang=10)
    twice = " Asked twice, once for each reading of fair." if readings_of(trial) else ""
    console.line(f"  decides   {trial.deciding.title} – {asks(figures)}{twice}", hang=10)
    console.line(f"  budget    {_budget(figures)}", hang=10)
    if figures.assessment.layout.name:
        console.line(f"  design    {figures.assessment.layout.name}", hang=10)
    if trial.purpose == "pilot":
        console.line("  purpose   pilot: it gives spreads to plan with, and no verdict", hang=10)


def _compares(figures: PlanFigures) -> str:
    factor, trial = figures.compared, figures.trial
    others = [factor.said(one) for one in factor.levels if one != factor.reference]
    today = " (today's, control)" if factor.control else ""
    last = f"{', '.join(others[:-1])} and {others[-1]}" if len(others) > 1 else others[0]
    words = f"{factor.title}: {factor.said(factor.reference)}{today}  vs  {last}"
    own = [one for one in trial.factors if one.slides_with == factor.name and not one.varied]
    for one in own:
        places = _places(one.step)
        values = " / ".join(
            fixed(one.setting(one.levels[0], level), places) for level in factor.levels
        )
        words += f"   each at its own {small(one.title)} ({values} {one.unit})"
    both = readings_of(trial)
    if both:
        slider = both[0].slider
        values = " / ".join(plain(slider.setting(OWN, level)) for level in factor.levels)
        same = plain(slider.setting(SAME, factor.reference))
        words += f"   each at its own {small(slider.title)} ({values} {slider.unit}) and all at "
        words += f"the same ({same} {slider.unit})"
    roles = [one.slider.name for one in both]
    easy = [small(one.title) for one in trial.varied if one is not factor and one.name not in roles]
    return f"{words}; also {', '.join(easy)}" if easy else words


def _places(step: float | None) -> int:
    """Return the decimals that a machine with this smallest step shows."""
    return len(f"{step:g}".partition(".")[2]) if step else 1


def asks(figures: PlanFigures) -> str:
    """Return the question as one sentence."""
    factor, aim = figures.compared, figures.aim
    others = [factor.said(one) for one in factor.levels if one != factor.reference]
    if factor.kind == "numeric":
        others = others[-1:]
    if len(others) > 1 and factor.control is None:
        return _asks_of_all(figures)
    new, old = " and ".join(others), factor.said(factor.reference)
    if len(others) > 1:
        new = f"{', '.join(others[:-1])} and {others[-1]}"
        return _asks_of_several(figures, new, old)
    if figures.trial.deciding.margin is None:
        return f"do {new} and {old} differ? (no margin given: it can never be called good enough)"
    margin = margin_words(aim, unit_asked(figures.trial.deciding))
    if aim.ask == "no-worse":
        return f"is {new} no worse than {old} by more than {margin}?"
    if aim.ask == "equal-enough":
        return f"is {new} equal to {old} within {margin}?"
    return f"do {new} and {old} differ? ({margin} would matter)"


def unit_asked(response: Response) -> str:
    """Return the unit that a margin is said in: points where coupons pass or fail."""
    return "points" if response.kind == "pass-fail" else response.unit


def _asks_of_several(figures: PlanFigures, new: str, old: str) -> str:
    aim = figures.aim
    if figures.trial.deciding.margin is None:
        return f"do {new} differ from {old}? (no margin given: none can be called good enough)"
    margin = margin_words(aim, unit_asked(figures.trial.deciding))
    if aim.ask == "no-worse":
        return f"is each of {new} no worse than {old} by more than {margin}?"
    if aim.ask == "equal-enough":
        return f"is each of {new} equal to {old} within {margin}?"
    return f"do {new} differ from {old}? ({margin} would matter)"


def _asks_of_all(figures: PlanFigures) -> str:
    factor, aim = figures.compared, figures.aim
    levels = [factor.said(one) for one in factor.levels]
    names = f"{', '.join(levels[:-1])} and {levels[-1]}"
    if figures.trial.deciding.margin is None:
        return f"which of {names} differ? (no margin given: none can be called good enough)"
    margin = margin_words(aim, unit_asked(figures.trial.deciding))
    if aim.ask == "difference":
        return f"which of {names} differ? ({margin} would matter)"
    if aim.ask == "no-worse":
        return f"in each pair of {names}, is the later no worse than the earlier by {margin}?"
    return f"are {names} all equal within {margin}?"


def _budget(figures: PlanFigures) -> str:
    layout, budget = figures.assessment.layout, figures.trial.budget
    extras = [(budget.warm_up, "warm-up"), (budget.spare, "spare")]
    less = "".join(f" − {number} {name}" for number, name in extras if number)
    total = budget.coupons if budget.coupons is not None else layout.total
    words = f"{total} coupons{less} = {total - layout.total + layout.coupons} to share out"
    left = total - layout.total
    if left:
        words += f"; {left} left over"
    if budget.confirm:
        words += f"; {budget.confirm} more kept to confirm the answer, not laid out here"
    return words


def show_changes(console: Console, figures: PlanFigures) -> None:
    """Show what is changed in mind."""
    if figures.changes:
        console.line()
    for change in figures.changes:
        was = "not given" if change.was is None else change.was
        console.line(f"  IF {change.key} = {change.now} (the file: {was})", hang=5)


# ---------------------------------------------------------------------- the rounds table


def _rounds(console: Console, figures: PlanFigures) -> None:
    console.line()
    if figures.shape.by_setups:
        what = "swap bottles" if figures.compared.name == "gas" else "set up anew"
        console.line(f"How often you {what} matters more than how many coupons you weld.")
    else:
        console.line("Every coupon is set up anew, so every coupon counts.")
    headers = _headers(figures)
    if console.plain:
        headers = [" ".join(one.split()) for one in headers]
    rows = [_row(figures, row) for row in figures.rows]
    align: list[Align] = ["left", *["right"] * (len(headers) - 2), "left"]  # type: ignore[list-item]
    console.table(headers, rows, align)
    _footnotes(console, figures)


def _headers(figures: PlanFigures) -> list[str]:
    units = ["rounds", "set-ups", "coupons\na set-up"] if figures.shape.by_setups else ["coupons"]
    chance = [] if figures.trial.purpose == "pilot" else [_chance_header(figures)]
    return [
        "",
        *units,
        "bench\nhours",
        f"gap you would\nprobably see{_unit_of(figures)}",
        *chance,
        "smallest p a\nshuffle test\ncan reach",
        "",
    ]


def _unit_of(figures: PlanFigures) -> str:
    if figures.counted is not None:
        return ",\nodds ÷" if figures.counted.graded else ", points"
    return f", {figures.assumed.unit}" if figures.assumed else ""


def _chance_header(figures: PlanFigures) -> str:
    aim, counted = figures.aim, figures.counted
    if counted is not None and counted.graded:
        return f"chance to show\na true loss:\n{loss_words(counted.response, counted.loss)}"
    if aim.ask == "no-worse":
        return 'chance to show\n"no worse"\nif equal'
    if aim.ask == "equal-enough":
        return 'chance to show\n"equal within"\nif equal'
    unit = figures.assumed.unit if figures.assumed else unit_asked(figures.trial.deciding)
    margin = margin_words(aim, unit)
    return f"chance to show\na true gap\nof {margin}" if margin else "chance to\nshow a gap"


def _row(figures: PlanFigures, row: BudgetRow) -> list[str]:
    mark = "▸" if row.current else "try" if row.tried else ""
    by_setups = figures.shape.by_setups
    each = str(row.per_setup)
    if row.most_per_setup > row.per_setup:
        each += f"–{row.most_per_setup}"
    units = [str(row.rounds), str(row.set_ups), each]
    counted = figures.counted
    gap = brief(row.gap, 2) if row.gap is not None else "never" if figures.assumed else "?"
    if counted is not None:
        gap = "never" if row.gap is None else gap_cell(counted.response, row.gap)
    chance = "–" if row.chance is None else f"{100 * row.chance:.0f} %"
    remark = [row.remark, "← your file" if row.current else ""]
    if row.tried or (by_setups and row.total != figures.current.total):
        remark.append(f"{row.total} in all")
    return [
        mark,
        *(units if by_setups else [str(row.coupons)]),
        "–" if row.hours is None else f"{row.hours:.1f}",
        gap,
        *([] if figures.trial.purpose == "pilot" else [chance]),
        p_cell(row.smallest_p),
        _joined(remark),
    ]


def _joined(remark: list[str]) -> str:
    said = [one for one in remark if one]
    arrow = [one for one in said if one.startswith("←")]
    return " ".join([", ".join(one for one in said if one not in arrow), *arrow]).strip()


def _footnotes(console: Console, figures: PlanFigures) -> None:
    known = figures.assumed
    if figures.counted is not None:
        _counted_notes(console, figures, figures.counted)
        return
    if known is None:
        console.line(f"  {figures.missing}", hang=2)
        return
    console.note('  "gap you would probably see" = true difference found 8 times in 10.')
    if any(row.remark == "weak" for row in figures.rows):
        console.note(WEAK)
    spread = known.spread
    source = f" ({known.source})" if known.source else " (the file does not say from what)"
    console.line(f"  Worked out from: {scatter_words(spread, known.unit)}{source}.")
    if figures.shape.readings > 1:
        console.line(
            "  Gap and chance are those of one reading of fair; showing it at both is rarer.",
            hang=2,
        )
    _doubt(console, figures, known)
    if figures.averaged is not None:
        shape, unit = figures.shape, known.unit
        for words in open_words(figures.trial.deciding, figures.averaged, shape, unit):
            console.line(f"  {words}", hang=2)


def _counted_notes(console: Console, figures: PlanFigures, counted: CountedAim) -> None:
    console.note('  "gap you would probably see" = true loss found 8 times in 10.')
    if counted.graded:
        console.note('  "odds ÷ 3" = the odds of grading better are three times smaller.', hang=2)
    if any(row.remark == "weak" for row in figures.rows):
        console.note(WEAK)
    known = foreseen_words(counted.response, counted.foreseen, apart=apart(figures.shape))
    console.line(f"  Worked out from: {known}.", hang=2)
    doubt = doubt_words(counted, figures.shape)
    for words in (doubt, method_words(counted, figures.shape)):
        if words:
            console.line(f"  {words}", hang=2)


def _doubt(console: Console, figures: PlanFigures, known: Assumed) -> None:
    doubt = figures.doubt
    if doubt is None:
        return
    guess = f"{brief(doubt.setup, 3)}" if "." in brief(doubt.setup, 3) else f"{doubt.setup:.1f}"
    rounds = f"{figures.shape.rounds} rounds" if figures.shape.rounds > 1 else "the plan"
    verb = "drop" if figures.shape.rounds > 1 else "drops"
    if doubt.chance is not None and figures.trial.purpose != "pilot":
        told = f"{verb} to {100 * doubt.chance:.0f} %"
        if f"{100 * doubt.chance:.0f}" == f"{100 * (figures.current.chance or 0.0):.0f}":
            told = f"still {'give' if verb == 'drop' else 'gives'} {100 * doubt.chance:.0f} %"
    else:
        told = f"would see {brief(doubt.gap, 2)} {known.unit}"
    attempt = f"Try:  weldtrial plan --if sd_setup={brief(doubt.setup, 3)}"
    console.line(
        f"  If the set-up guess is really {guess}, {rounds} {told}."
        + ("" if known.prior else f"   {attempt}")
    )
