"""What ``weldtrial optimise`` was asked for, read against the trial: all slips at once."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from weldtrial.cli.typed_settings import TypedSettings
from weldtrial.shared.problems import WrongUsage, nearest
from weldtrial.shared.rounding import plain
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.joint import Held, Limit
    from weldtrial.analysis.optimum_asked import Asked

_LIMIT = re.compile(r"\s*([a-z][a-z0-9_]*)\s*(>=|<=|≥|≤)\s*([-+]?[0-9.]+(?:[eE][-+]?\d+)?)\s*")
PICTURES = (".png", ".svg")


@dataclass(frozen=True, slots=True)
class Typed:
    """The options as typed."""

    at: str | None = None
    slices: tuple[str, ...] = ()
    gas: str | None = None
    keep: str | None = None
    limits: tuple[str, ...] = ()
    holds: tuple[str, ...] = ()
    beyond: bool = False
    picture: Path | None = None
    over: str | None = None


_NOT_WITH: Mapping[str, tuple[str, ...]] = {
    "--at": ("--surface", "--slice", "--gas", "--desirability", "--picture"),
    "--surface": (
        "--slice", "--gas", "--keep", "--limit", "--hold", "--desirability", "--picture",
    ),
}  # fmt: skip
_SHOWS = {"--at": "shows one setting alone", "--surface": "tells of the surfaces alone"}


def together(given: Mapping[str, bool]) -> None:
    """Refuse options that would be passed over in silence.

    Parameters
    ----------
    given
        Options and whether they were typed.

    Raises
    ------
    WrongUsage
        Naming all of them.
    """
    wrong = []
    for one, others in _NOT_WITH.items():
        idle = [name for name in others if given[one] and given[name]]
        if idle:
            goes = "goes" if len(idle) == 1 else "go"
            wrong.append(
                f"weldtrial optimise: {one} {_SHOWS[one]}, so {' and '.join(idle)} {goes} with it "
                "to no effect. Leave one out."
            )
    if wrong:
        raise WrongUsage("\n".join(wrong))


def read_asked(typed: Typed, trial: Trial) -> tuple[Asked, dict[str, str | float]]:
    """Return how to look, and the setting of ``--at`` (empty without).

    Raises
    ------
    WrongUsage
        When anything typed does not fit the trial; all of it at once.
    """
    from weldtrial.analysis.optimum_asked import Asked

    reading = TypedSettings(trial)
    levels, fixed = _slices(reading, typed.slices)
    if typed.gas is not None:
        levels |= _gas(reading, typed.gas)
    at = reading.setting(typed.at) if typed.at is not None else {}
    limits = [_limit(reading, one) for one in typed.limits]
    held, exactly = _holds(reading, typed.holds)
    keep = _keep(reading, typed.keep) if typed.keep is not None else None
    if typed.picture is not None and typed.picture.suffix.lower() not in PICTURES:
        reading.wrong.append(f"--picture {typed.picture}: name a file that ends in .png or .svg.")
    if typed.over is not None and typed.picture is None:
        reading.wrong.append("--over says over what a picture is drawn: add  --picture FILE.png")
    elif typed.over is not None:
        over_of(typed.over, trial, fixed, reading.wrong)
    if reading.wrong:
        raise WrongUsage("\n".join(reading.wrong))
    return Asked(
        levels=levels,
        fixed=fixed,
        held=held,
        exactly=exactly,
        limits=_together([one for one in limits if one is not None]),
        keep=keep,
        beyond=typed.beyond,
    ), at


def over_of(
    text: str, trial: Trial, fixed: Mapping[str, float], wrong: list[str] | None = None
) -> tuple[str, str] | None:
    """Return the two factors of ``--over``, across and up; what is wrong goes into `wrong`."""
    names = [one.strip() for one in text.split(",")]
    free = [one.name for one in trial.varied if one.kind == "numeric" and one.name not in fixed]
    if len(names) == 2 and names[0] != names[1] and set(names) <= set(free):
        return names[0], names[1]
    if wrong is not None:
        wrong.append(
            f"--over {text}: name two different settings with a comma between them, of "
            f"{', '.join(free) or 'none that is free'}."
        )
    return None


def _slices(
    reading: TypedSettings, texts: Sequence[str]
) -> tuple[dict[str, str], dict[str, float]]:
    levels: dict[str, str] = {}
    fixed: dict[str, float] = {}
    for text, factor, value in reading.pairs("--slice", texts):
        if factor.kind == "category":
            level = reading.level(f"--slice {text}", factor, value)
            if level is not None:
                levels[factor.name] = level
        else:
            number = reading.number(f"--slice {text}", factor, value)
            if number is not None:
                fixed[factor.name] = number
    return levels, fixed


def _gas(reading: TypedSettings, text: str) -> dict[str, str]:
    """Return the category that has this level; the gas comes first, but any will do."""
    groups = [one for one in reading.trial.varied if one.kind == "category"]
    for factor in sorted(groups, key=lambda one: one.name != "gas"):
        if text in factor.levels:
            return {factor.name: text}
    every = [level for one in groups for level in one.levels]
    if not every:
        reading.wrong.append(f"--gas {text}: this trial varies no gas. Leave it out.")
        return {}
    close = nearest(text, every)
    hint = f"Did you mean '{close}'?" if close else f"Use one of {', '.join(every)}."
    reading.wrong.append(f"--gas {text}: no such level. {hint}")
    return {}


def _limit(reading: TypedSettings, text: str) -> Limit | None:
    from weldtrial.analysis.joint import Limit

    found = _LIMIT.fullmatch(text)
    numbers = [one.name for one in reading.trial.responses if one.kind == "number"]
    if found is None:
        such = f"{numbers[0] if numbers else 'penetration'} >= 1.5"
        reading.wrong.append(f'--limit "{text}": write it as  --limit "{such}"')
        return None
    name, sign, value = found.groups()
    if name not in numbers:
        close = nearest(name, numbers)
        hint = f"Did you mean '{close}'?" if close else f"Use one of {', '.join(numbers)}."
        reading.wrong.append(f'--limit "{text}": {name} is no response read in numbers. {hint}')
        return None
    try:
        number = float(value)
    except ValueError:
        reading.wrong.append(f'--limit "{text}": {value} is no number.')
        return None
    return Limit(name, at_least=number) if sign in (">=", "≥") else Limit(name, at_most=number)


def _together(limits: Sequence[Limit]) -> tuple[Limit, ...]:
    """Return one limit a response: both ends of those given in two."""
    from dataclasses import replace

    found: dict[str, Limit] = {}
    for one in limits:
        last = found.get(one.response, one)
        found[one.response] = replace(
            one,
            at_least=last.at_least if one.at_least is None else one.at_least,
            at_most=last.at_most if one.at_most is None else one.at_most,
        )
    return tuple(found.values())


EXACTLY = "exactly"
"""What stands for a setting taken as held just as asked: ``--hold travel=exactly``."""


def _holds(
    reading: TypedSettings, texts: Sequence[str]
) -> tuple[tuple[Held, ...], tuple[str, ...]]:
    """Return how well settings are held, and which are held exactly; a slip in each is named."""
    from weldtrial.analysis.joint import Held

    held: dict[str, Held] = {}
    exactly: list[str] = []
    for text, factor, value in reading.pairs("--hold", texts):
        if factor.kind == "category":
            reading.wrong.append(f"--hold {text}: {factor.name} has levels, not numbers.")
        elif value.casefold() == EXACTLY:
            exactly.append(factor.name)
        else:
            number = reading.number(f"--hold {text}", factor, value)
            most = 2 * max((factor.half_range(owner) for owner in factor.settings), default=0.0)
            if number is not None and number <= 0:
                reading.wrong.append(
                    f"--hold {text}: how far off {factor.name} is held is more than 0 "
                    f"{factor.unit}. For a setting held just as asked:  "
                    f"--hold {factor.name}={EXACTLY}"
                )
            elif number is not None and number > most:
                reading.wrong.append(
                    f"--hold {text}: the settings tried lie {plain(most)} {factor.unit} apart, so "
                    "welds would mostly be where nothing was seen. Name less than that."
                )
            elif number is not None:
                held[factor.name] = Held(factor.name, number)
    return tuple(held.values()), tuple(exactly)


def _keep(reading: TypedSettings, text: str) -> float | None:
    """Return a share: ``0.9``, ``90 %`` or ``9 in 10``."""
    compact = text.replace(" ", "").lower()
    share: float | None = None
    try:
        if "in" in compact:
            good, of = compact.split("in", 1)
            share = float(good) / float(of)
        elif compact.endswith("%"):
            share = float(compact[:-1]) / 100
        else:
            share = float(compact)
    except (ValueError, ZeroDivisionError):
        share = None
    if share is None or not 0 < share < 1:
        reading.wrong.append(
            f'--keep "{text}": write a share between 0 and 1, such as  --keep 0.9  or  '
            '--keep "9 in 10"'
        )
        return None
    return share
