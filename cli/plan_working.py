"""The working behind ``weldtrial plan``, with its numbers and its sources."""

from __future__ import annotations

from typing import TYPE_CHECKING

from weldtrial.cli.counted_plan import counted_working
from weldtrial.cli.left_open import averaged_lines
from weldtrial.cli.plan_figures import PlanFigures
from weldtrial.shared.rounding import brief

if TYPE_CHECKING:
    from weldtrial.analysis.working import Working
    from weldtrial.cli.console import Console


def small(title: str) -> str:
    """Return a title as it stands inside a sentence."""
    return title[:1].lower() + title[1:]


def show_working(console: Console, figures: PlanFigures) -> None:
    """Show the steps from two standard deviations to the plan's gap and chance."""
    from weldtrial.analysis.working import SOURCES

    console.heading("How this is worked out")
    found = figures.working
    if figures.counted is not None:
        for words in counted_working(figures.counted, figures.shape):
            console.line(f"  {words}", hang=4)
        return
    if found is None or figures.assumed is None:
        console.line("  Without figures for the scatter there is nothing to work out.")
        return
    for line in working_lines(found, figures.assumed.unit, figures):
        console.line(f"  {line}", hang=4)
    if figures.averaged is not None:
        for line in averaged_lines(figures.trial.deciding, figures.averaged):
            console.line(f"  {line}", hang=4)
    for source in SOURCES:
        console.line(f"  {source}.", hang=4)


def working_lines(found: Working, unit: str, figures: PlanFigures) -> list[str]:
    """Return the steps of the working, with their numbers."""
    coupon, setup = brief(found.sd_coupon, 3), brief(found.sd_setup, 3)
    what, one = ("set-up", "set-up's mean") if found.by_setups else ("coupon", "coupon")
    per = f"/{found.per_setup}" if found.by_setups else ""
    variance = brief(found.unit_variance)
    scatter = f"{coupon}²"
    if found.sd_reading:
        read = f"{brief(found.sd_reading, 3)}²"
        scatter += f" + {read}/{found.readings}" if found.readings > 1 else f" + {read}"
        scatter = f"({scatter})" if per else scatter
    lines = [
        f"Variance of one {one} = {setup}² + {scatter}{per} = {variance} {unit}².",
        f"Standard error of the gap = √(2 × {variance} / {found.units} {what}s "
        f"of each) = {brief(found.se)} {unit}, on {found.df} degrees of freedom "
        f"({_df_words(figures)}).",
    ]
    if found.two_sided is None or found.one_sided is None:
        return [*lines, "With no degrees of freedom nothing can be tested, whatever the gap."]
    if found.gap is not None:
        lines.append(
            f"Gap seen 8 times in 10 = {brief(found.gap)} {unit}: |t| passes "
            f"{brief(found.two_sided)} with that chance when t is noncentral with shift "
            f"{brief(found.gap)}/{brief(found.se)}."
        )
    if found.margin is not None and found.chance is not None:
        lines.append(_chance_line(found, figures))
    return lines


def _df_words(figures: PlanFigures) -> str:
    shape = figures.shape
    if shape.by_setups:
        rounds = "the mean" if shape.rounds == 1 else f"{shape.rounds} rounds"
        return f"{shape.setups} set-ups less {rounds} less {_hard_words(figures)}"
    blocks = "the mean" if shape.rounds == 1 else f"{shape.rounds} blocks"
    return f"{shape.coupons} coupons less {blocks} less {shape.terms} for the model"


def _hard_words(figures: PlanFigures) -> str:
    names = " and ".join(small(one.title) for one in figures.trial.hard)
    more = " with what changes between set-ups" if figures.assessment.confounded else ""
    return f"{figures.shape.hard_columns} for {names}{more}"


def _chance_line(found: Working, figures: PlanFigures) -> str:
    ask, chance = figures.aim.ask, f"{100 * (found.chance or 0.0):.0f} %"
    margin, se = brief(found.margin), brief(found.se_tested)
    if ask == "no-worse":
        return (
            f'Chance of "no worse" = P(t > {brief(found.one_sided)}) = {chance}, t noncentral '
            f"with shift {margin}/{se} (the one-sided 95 % limit clears the margin)."
        )
    if ask == "equal-enough":
        return (
            f'Chance of "equal within" = {chance}: both one-sided tests pass '
            f"{brief(found.one_sided)}, integrated over the estimated scatter."
        )
    return (
        f"Chance to show a true gap of {margin} = P(|t| > {brief(found.two_sided)}) = {chance}, t "
        f"noncentral with shift {margin}/{se}."
    )
