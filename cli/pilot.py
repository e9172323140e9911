"""``--pilot FOLDER``: scatter taken from an earlier trial's results, in mind only."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from weldtrial.shared.problems import NotEnough, NotEstimable, ProblemsFound, WrongUsage, nearest
from weldtrial.shared.responses import Response
from weldtrial.shared.rounding import plain
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.pilot import Pilot
    from weldtrial.cli.console import Console
    from weldtrial.cli.opening import Opened
    from weldtrial.cli.options import Common


@dataclass(frozen=True, slots=True)
class Taken:
    """What was taken from a pilot for one response.

    Attributes
    ----------
    response, read_as
        The response planned for, and what it is called in the pilot.
    line
        The line to put in ``trial.toml``.
    setup_kept
        True where the pilot cannot show set-up scatter, so the file's figure stands.
    """

    response: str
    read_as: str
    unit: str
    pilot: Pilot
    line: str
    setup_kept: bool
    codes_closed: bool


def with_pilot(common: Common, trial: Trial, said: Path) -> tuple[Trial, tuple[Taken, ...]]:
    """Return a trial planned with the scatter that a pilot's results show, and what was taken.

    The deciding response has to be found in the pilot, by its name or as the only number there
    with its unit; others are taken where their names agree.

    Raises
    ------
    WrongUsage
        When the folder is this trial's own, is no trial, or holds no such response.
    NotEnough
        When too little was read there to show any scatter.
    WeldtrialError
        As `weldtrial.cli.opening.open_trial`.
    """
    opened = _open(common, said)
    source: dict[str, Any] = deepcopy(dict(trial.source))
    taken = []
    for place, response in enumerate(trial.responses):
        there = _there(trial, opened.trial, response, said)
        if there is None or response.kind != "number":
            continue
        try:
            one = _take(opened, response, there)
        except (NotEnough, NotEstimable) as error:
            if response is trial.deciding:
                raise NotEnough(f"{said}: {error.words[:1].upper()}{error.words[1:]}") from None
            continue
        typical = one.pilot.typical(_source(opened, one.pilot), response.typical)
        values = _values(asdict(typical))
        source["response"][place]["typical"] = values
        taken.append(replace(one, line=f"typical = {{ {_toml(values)} }}"))
    return _reread(source, trial), tuple(taken)


def _open(common: Common, said: Path) -> Opened:
    from weldtrial.cli.opening import open_trial
    from weldtrial.shared.folder import find_folder

    if not (said.is_dir() or said.is_file()):
        raise WrongUsage(f"--pilot: there is no folder '{said}'.")
    try:
        found = find_folder(said)
    except WrongUsage:
        raise WrongUsage(
            f"--pilot: '{said}' is no trial: there is no trial.toml in it. Point at the folder of "
            "a trial with results, or adopt the results first with  weldtrial adopt"
        ) from None
    try:
        own = find_folder(common.folder)
    except WrongUsage:
        own = None
    if found == own:
        raise WrongUsage(
            f"--pilot: '{said}' is this trial itself. Name the folder of an earlier trial; what "
            "this one has shown so far must not change its plan."
        )
    return open_trial(replace(common, folder=found))


def _there(trial: Trial, pilot: Trial, response: Response, said: Path) -> Response | None:
    """Return the pilot's response that measures the same, None where a lesser one has none."""
    decides = response is trial.deciding
    named = next((one for one in pilot.responses if one.name == response.name), None)
    numbers = [one for one in pilot.responses if one.kind == "number"]
    if named is None and decides:
        same = [one for one in numbers if one.unit == response.unit]
        if len(same) == 1:
            return same[0]
        names = [one.name for one in pilot.responses]
        close = nearest(response.name, names)
        hint = f" Did you mean '{close}'?" if close else ""
        raise WrongUsage(
            f"--pilot: '{said}' has no response '{response.name}', and "
            f"{'none' if not same else 'more than one'} of its numbers is in {response.unit}. It "
            f"has {', '.join(names)}.{hint} Give both the same name."
        )
    if named is None:
        return None
    wrong = (
        f"is {named.kind} there, and only a number scatters"
        if named.kind != "number"
        else f"is in {named.unit} there and in {response.unit} here"
        if named.unit != response.unit
        else ""
    )
    if wrong and decides:
        raise WrongUsage(f"--pilot: '{response.name}' of '{said}' {wrong}. Nothing was taken.")
    return None if wrong else named


def _take(opened: Opened, response: Response, there: Response) -> Taken:
    from weldtrial.analysis.pilot import pilot_of

    found = pilot_of(opened.trial, opened.record, there)
    return Taken(
        response.name,
        there.name,
        response.unit,
        found,
        "",
        found.sd_setup is None,
        not opened.record.codes_open,
    )


def _source(opened: Opened, pilot: Pilot) -> str:
    title = opened.trial.title.replace('"', "'").replace("\\", "/")
    return f"{counted(pilot)} of: {title}"


def counted(pilot: Pilot) -> str:
    """Return what a pilot's figures came from: ``12 coupons in 6 set-ups``."""
    if pilot.setups is None:
        return f"{pilot.coupons} coupons"
    return f"{pilot.coupons} coupons in {pilot.setups} set-ups"


def _values(typical: dict[str, Any]) -> dict[str, Any]:
    keys = {
        "mean": typical["mean"],
        "sd_coupon": typical["sd_coupon"],
        "sd_setup": typical["sd_setup"],
        "pilot_coupons": typical["pilot_coupons"],
        "pilot_set_ups": typical["pilot_setups"],
        "from": typical["source"],
    }
    return {key: value for key, value in keys.items() if value is not None}


def _toml(values: dict[str, Any]) -> str:
    return ", ".join(
        f'{key} = "{value}"' if isinstance(value, str) else f"{key} = {_number(value)}"
        for key, value in values.items()
    )


def _number(value: float) -> str:
    return plain(value).replace("\N{MINUS SIGN}", "-")


def _reread(source: dict[str, Any], trial: Trial) -> Trial:
    from weldtrial.shared.trialfile import reread_trial

    found, problems = reread_trial(source, trial.lines)
    if found is None:
        raise ProblemsFound(one for one in problems if not one.warning)
    return found


def show_taken(console: Console, said: Path, taken: tuple[Taken, ...]) -> None:
    """Say what was taken from a pilot, and the line that would keep it."""
    console.heading(f"Taken from the results in {said} (scatter and mean only; nothing is written)")
    for one in taken:
        for words in _lines(one):
            console.line(f"  {words}", hang=4)
    console.line("  To keep it, put in trial.toml:")
    for one in taken:
        console.line(f"  under [[response]] {one.response}:", hang=4)
        # Never wrapped: an inline table has to stand on one line.
        console.page(f"    {one.line}")


def _lines(one: Taken) -> list[str]:
    pilot, unit = one.pilot, one.unit
    named = "" if one.read_as == one.response else f" (called {one.read_as} there)"
    closed = " The codes stay closed: nothing here tells the gases apart." * one.codes_closed
    words = [
        f"{one.response}{named}: {counted(pilot)}. Coupon to coupon {plain(pilot.sd_coupon)} "
        f"{unit}, on {pilot.df_coupon} degrees of freedom, after its gases, rounds and settings "
        f"are taken out; mean {plain(pilot.mean)} {unit}.{closed}"
    ]
    if pilot.df_setup is not None:
        few = "; set-ups agreed as well as chance" if not pilot.sd_setup else ""
        words.append(
            f"Set-up to set-up {plain(pilot.sd_setup or 0.0)} {unit}, on {pilot.df_setup} degrees "
            f"of freedom{few}. Together that is worth {pilot.pilot_coupons} coupons in "
            f"{pilot.pilot_setups} set-ups of one gas at one setting."
        )
    elif pilot.setups is None:
        words.append(
            "Every coupon there was set up anew, so its scatter holds that of the set-ups too; "
            "what trial.toml says of set-ups stands."
        )
    else:
        words.append(
            "Set-up to set-up cannot be told there: no set-up is left over. What trial.toml says "
            "of it stands."
        )
    return words


def taken_json(said: Path, taken: tuple[Taken, ...]) -> dict[str, Any]:
    """Return what was taken from a pilot as plain values."""
    return {
        "folder": str(said),
        "taken": {
            one.response: {
                **asdict(one.pilot),
                "unit": one.unit,
                "read_as": one.read_as,
                "line": one.line,
                "pilot_coupons": one.pilot.pilot_coupons,
                "pilot_set_ups": one.pilot.pilot_setups,
            }
            for one in taken
        },
    }
