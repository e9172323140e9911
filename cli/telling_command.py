"""What ``weldtrial plan --tells`` and ``--compare`` do: work out, then show or print JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from weldtrial.cli.telling_options import settings_said
from weldtrial.cli.what_if import changed
from weldtrial.shared.problems import PlanRefused, ProblemsFound
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.cli.options import Common

NAMES = ("file", "A", "B", "C", "D")


def run_telling(
    common: Common, trial: Trial, ifs: Sequence[str], compare: Sequence[str], *, sealed: bool
) -> None:
    """Show what a plan can tell, or several plans side by side.

    Raises
    ------
    NotYet, PlanRefused
        When the plan, or every plan of a comparison, cannot be laid out.
    WrongUsage, ProblemsFound
        When a change cannot be read or leaves a trial with problems.
    """
    if compare:
        _compare(common, trial, ifs, [settings_said(text) for text in compare], sealed=sealed)
    else:
        _tell(common, trial, ifs, sealed=sealed)
    common.console.line()
    if sealed:
        common.console.next("check", "(this trial is sealed; nothing here changes it)")
    else:
        common.console.next("plan", "for the bench, the order and what may spoil it")


def _tell(common: Common, trial: Trial, ifs: Sequence[str], *, sealed: bool) -> None:
    from weldtrial.cli.plan_figures import with_chances
    from weldtrial.cli.telling import telling_of
    from weldtrial.cli.telling_json import telling_json
    from weldtrial.cli.telling_screen import show_telling
    from weldtrial.doe.refusals import CannotShareOut

    trial, changes = changed(trial, ifs)
    try:
        with common.console.waiting("working out the plan"):
            telling = telling_of(trial, changes)
    except CannotShareOut as refused:
        raise with_chances(trial, refused) from None
    if common.json:
        common.console.json({"tells": telling_json(telling, sealed=sealed)})
    else:
        show_telling(common.console, telling)


def _compare(
    common: Common,
    trial: Trial,
    ifs: Sequence[str],
    said: Sequence[Sequence[str]],
    *,
    sealed: bool,
) -> None:
    from weldtrial.cli.comparing import show_comparison
    from weldtrial.cli.telling import Alternative, alternative
    from weldtrial.cli.telling_json import compared_json

    # A slip in any of them is said before anything is worked out.
    changed(trial, ifs)
    for one in said:
        _check(trial, ifs, one)
    plans: list[Alternative] = []
    with common.console.waiting(f"working out {len(said) + 1} plans"):
        for name, one in zip(NAMES, [(), *said], strict=False):
            plans.append(alternative(trial, name, [*ifs, *one]))
    if all(plan.telling is None for plan in plans):
        words = [f"{plan.name}: {plan.why}" for plan in plans]
        raise PlanRefused("None of these plans can be laid out.\n" + "\n".join(words))
    if common.json:
        common.console.json({"compare": compared_json(plans, sealed=sealed)})
    else:
        show_comparison(common.console, plans)


def _check(trial: Trial, ifs: Sequence[str], said: Sequence[str]) -> None:
    try:
        changed(trial, [*ifs, *said], "--compare")
    except ProblemsFound as found:
        raise ProblemsFound(
            found.problems,
            hint=f"With  --compare {','.join(said)}  the file would read like this; nothing was "
            "written.",
        ) from None
