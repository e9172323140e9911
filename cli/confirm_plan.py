"""What ``weldtrial plan`` shows of a trial that confirms one setting."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from weldtrial.cli.next_confirm import altered, foreseen_lines, prediction_json, sizes_planned
from weldtrial.cli.options import Common
from weldtrial.cli.plan_parts import show_bench, show_nuisances
from weldtrial.shared.folder import find_folder
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.cli.console import Console
    from weldtrial.cli.plan_figures import PlanFigures


def show_confirm_plan(console: Console, figures: PlanFigures, *, budget: str) -> None:
    """Show the prediction, what so many coupons can show of it, and the bench."""
    trial = figures.trial
    assert trial.follows is not None
    console.line(trial.title, style="bold")
    console.line(f"  budget    {budget}", hang=10)
    console.line(f"  design    {figures.assessment.layout.name}", hang=10)
    console.heading("What is predicted")
    if not trial.follows.predicted:
        console.line(
            "  Nothing. Coupons that confirm need a prediction: make the folder anew with  "
            "weldtrial next NAME --confirm N --at ...  in the earlier trial.",
            hang=2,
        )
    else:
        for words in foreseen_lines(trial, trial.follows, sizes_planned(trial)):
            console.line(f"  {words}", hang=4)
    show_bench(console, figures)
    show_nuisances(console, figures)


def warn_of_altered(common: Common, trial: Trial) -> None:
    """Warn of a prediction that could not be sealed."""
    common.console.problems(altered(common, find_folder(common.folder), trial))


def predicted_json(trial: Trial) -> dict[str, Any] | None:
    """Return the prediction as plain values; None where nothing is predicted."""
    if trial.follows is None or not trial.follows.predicted:
        return None
    return prediction_json(trial, trial.follows, sizes_planned(trial))
