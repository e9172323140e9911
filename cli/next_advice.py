"""What could be welded next, said from what was found; writes nothing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from weldtrial.cli.answering import answer
from weldtrial.cli.opening import open_trial
from weldtrial.cli.options import Common
from weldtrial.shared.problems import NotEnough
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.next_step import Step

WAYS = (
    ("--more 4", "the same again, four rounds of it"),
    ("--fold-over [FACTOR]", "the same coupons with all signs turned, or one"),
    ("--star", "star points: where a bend comes from"),
    ("--separate TERMS --coupons 8", "coupons that tell terms apart"),
    ("--confirm 8 --at gas=co2,...", "eight coupons at one setting, fresh set-ups"),
)


def show_advice(common: Common, folder: Path, trial: Trial) -> None:
    """Say what the results ask for, and what else could be added.

    Raises
    ------
    NotEnough
        While coupons are unread, or the codes are closed.
    """
    steps = _steps(common, trial)
    if common.json:
        from dataclasses import asdict

        common.console.json({"trial": trial.title, "steps": [asdict(one) for one in steps]})
        return
    console = common.console
    console.line(trial.title, style="bold")
    console.heading("What the results ask for")
    for step in steps:
        console.line(f"  {step.why}", hang=4)
        console.line(f"    weldtrial next NAME {_option(step, trial)}", hang=4)
    console.heading("What can be added to these coupons")
    for option, words in WAYS:
        console.line(f"  weldtrial next NAME {option:<29} {words}", hang=4)
    console.line()
    console.line(
        "  NAME is a new folder. The coupons of this trial are copied into it and count; what is "
        "welded next is a block of its own, sealed before it is welded.",
        hang=2,
    )
    console.line(
        "  Adding coupons because an answer was nearly there makes false alarms likelier than 5 in "
        "100: the report of the next trial says that it follows this one.",
        hang=2,
    )


def _steps(common: Common, trial: Trial) -> tuple[Step, ...]:
    from weldtrial.analysis.next_step import next_steps
    from weldtrial.doe.assess import assess

    opened = open_trial(common)
    if not opened.record.codes_open:
        raise NotEnough(
            "The codes are closed, so what the results ask for cannot be said yet.",
            hint="weldtrial analyse --open  opens them; or say yourself what to add:  weldtrial "
            "next NAME --more",
        )
    findings = answer(opened, codes_open=True)
    deciding = next(one for one in findings.responses if one.name == trial.deciding.name)
    tied: dict[str, tuple[str, ...]] = {}
    for left in assess(trial).layout.strata.left_out:
        for name in left.runs_with:
            tied[name] = (*tied.get(name, ()), left.term.name)
    return next_steps(deciding, tied)


def _option(step: Step, trial: Trial) -> str:
    if step.kind == "separate":
        others = ",".join(step.terms[1:])
        return f"--separate {others} --coupons {4 * max(1, len(step.terms) - 1)}"
    if step.kind == "bend":
        return "--star"
    if step.kind == "confirm":
        return "--confirm 8 --at ..."
    return "--more"
