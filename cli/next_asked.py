"""What ``weldtrial next`` was asked for, as the lines of a trial file."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

from weldtrial.cli.next_folder import Added, setting_text
from weldtrial.cli.typed_settings import TypedSettings, example
from weldtrial.shared.problems import WrongUsage, nearest
from weldtrial.shared.terms import parse_term
from weldtrial.shared.trial import Trial

EXAMPLE = (
    "Such as:  weldtrial next part2 --fold-over   or   --star   or   --more 4   or   --separate "
    "voltage:wire_feed --coupons 8   or   --confirm 8 --at gas=co2,voltage=28.5"
)


@dataclass(frozen=True, slots=True)
class NextAsked:
    """The options as typed; `more` is 0 where no number was given."""

    fold_over: str | None
    star: bool
    outside: bool
    more: int | None
    separate: str | None
    confirm: int | None
    at: str | None
    coupons: int | None
    set_ups: int | None
    beyond: bool = False

    @property
    def ways(self) -> tuple[str, ...]:
        """The ways asked for, by their options."""
        said = {
            "--fold-over": self.fold_over is not None,
            "--star": self.star,
            "--more": self.more is not None,
            "--separate": self.separate is not None,
            "--confirm": self.confirm is not None,
        }
        return tuple(name for name, value in said.items() if value)

    @property
    def details(self) -> tuple[str, ...]:
        """Options that only go with a way."""
        said = {
            "--outside": self.outside,
            "--at": self.at is not None,
            "--coupons": self.coupons is not None,
            "--set-ups": self.set_ups is not None,
            "--beyond": self.beyond,
        }
        return tuple(name for name, value in said.items() if value)


_GOES_WITH: Mapping[str, tuple[str, ...]] = {
    "--outside": ("--star",),
    "--at": ("--confirm",),
    "--coupons": ("--separate",),
    "--beyond": ("--confirm",),
    "--set-ups": ("--separate", "--confirm", "--more", "--star"),
}


def added_of(asked: NextAsked, trial: Trial) -> Added:
    """Return what is added.

    Raises
    ------
    WrongUsage
        When not one way was asked for, or what goes with it is missing or cannot be; all at once.
    """
    wrong: list[str] = []
    if len(asked.ways) != 1:
        many = "nothing" if not asked.ways else " and ".join(asked.ways)
        raise WrongUsage(f"weldtrial next: say one thing to add, not {many}.", hint=EXAMPLE)
    way = asked.ways[0]
    for detail in asked.details:
        if way not in _GOES_WITH[detail]:
            wrong.append(f"{detail} goes with {' or '.join(_GOES_WITH[detail])}, not with {way}.")
    if asked.set_ups is not None and not trial.hard:
        wrong.append("--set-ups: nothing is hard to change here, so there are none. Leave it out.")
    made = {
        "--fold-over": _fold_over,
        "--star": _star,
        "--more": _more,
        "--separate": _separate,
        "--confirm": _confirm,
    }[way](asked, trial, wrong)
    if wrong:
        raise WrongUsage("\n".join(f"weldtrial next: {one}" for one in wrong), hint=EXAMPLE)
    return made


def _design(trial: Trial, **more: str) -> dict[str, str]:
    """Return the model of the trial before, and what else stands in ``[design]``."""
    lines = {"model": json.dumps(trial.design.model)}
    if trial.design.terms:
        lines["terms"] = json.dumps(list(trial.design.terms))
    return {**lines, **more}


def _units(asked: NextAsked) -> dict[str, str]:
    return {} if asked.set_ups is None else {"set_ups": str(asked.set_ups)}


def _fold_over(asked: NextAsked, trial: Trial, wrong: list[str]) -> Added:
    names = [factor.name for factor in trial.easy]
    turn = asked.fold_over
    if turn != "all" and turn not in names:
        close = nearest(str(turn), names)
        hint = f"Did you mean '{close}'?" if close else f"Use one of {', '.join(names) or 'none'}."
        wrong.append(f"--fold-over {turn}: not a factor that is easy to change. {hint}")
    follows = {} if turn == "all" else {"turn": json.dumps(turn)}
    words = "folded over" if turn == "all" else f"folded over on {turn}"
    return Added("fold-over", _design(trial), follows, None, words)


def _star(asked: NextAsked, trial: Trial, wrong: list[str]) -> Added:
    if not any(factor.kind == "numeric" for factor in trial.easy):
        wrong.append("--star: star points need a number that is easy to change.")
    star = {"star": json.dumps("outside")} if asked.outside else {}
    design = {"model": json.dumps("quadratic"), **star, **_units(asked)}
    return Added("star", design, {}, None, "star points added")


def _more(asked: NextAsked, trial: Trial, wrong: list[str]) -> Added:
    rounds = {"rounds": str(asked.more)} if asked.more else _units(asked)
    if asked.more and asked.set_ups is not None:
        wrong.append("--more N counts rounds and --set-ups set-ups. Give one of them.")
    return Added("more", _design(trial, **rounds), {}, None, "more of the same")


def _separate(asked: NextAsked, trial: Trial, wrong: list[str]) -> Added:
    terms = _told(trial)
    for text in str(asked.separate).split(","):
        try:
            name = parse_term(text.strip(), trial.varied).name
        except ValueError as error:
            wrong.append(f"--separate: {error}.")
            continue
        if name not in terms:
            terms.append(name)
    if asked.coupons is None:
        wrong.append("--separate needs the number of new coupons. Add  --coupons 8.")
    design = {
        "model": json.dumps("main"),
        "terms": json.dumps(terms),
        **_units(asked),
    }
    if trial.hard and asked.set_ups is None:
        design["rounds"] = "2"
    return Added("separate", design, {}, asked.coupons, f"to tell {asked.separate} apart")


def _told(trial: Trial) -> list[str]:
    """Return the terms beyond main effects that the trial can tell; others would be in the way."""
    from weldtrial.doe.layout import make_layout

    told = make_layout(trial).strata.told
    return [term.name for term in told if sum(power for _, power in term.powers) > 1]


def _confirm(asked: NextAsked, trial: Trial, wrong: list[str]) -> Added:
    if asked.at is None:
        wrong.append("--confirm needs the setting. Add  --at " + example(trial))
    reading = TypedSettings(trial, wrong)
    at = reading.setting(asked.at) if asked.at else {}
    follows = {"at": setting_text(trial, at)}
    if asked.beyond:
        follows["beyond"] = "true"
    return Added(
        "confirm", _design(trial, **_units(asked)), follows, asked.confirm, "to be confirmed"
    )
