"""The settings card: one page for the welder with the setting that was confirmed, or is to be."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil, floor
from typing import TYPE_CHECKING

from weldtrial.cli.sheet_parts import Paper
from weldtrial.cli.trial_cautions import fitting
from weldtrial.shared.factors import Factor
from weldtrial.shared.follows import Follows
from weldtrial.shared.rounding import give_or_take, plain, spaced
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.confirm_records import Confirmation

EVERY_S = 5
MOST_STRIPS = 3
STRIP_MM = 14.0
STATES = {
    "met": "Confirmed",
    "missed": "Not confirmed",
    "unfinished": "Not yet confirmed",
    "cannot_tell": "Not yet confirmed",
    "no_prediction": "Not yet confirmed",
}
AS_PREDICTED = (
    "The prediction holds for the setting as printed{held}; nothing was said of any other."
)


@dataclass(frozen=True, slots=True)
class SettingRow:
    """One setting: what, how it is set, within what it is kept; ``""`` where nobody said."""

    title: str
    value: str
    within: str


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark of the pace line, in mm from the start of its strip; seconds where it is labelled."""

    x: float
    seconds: int | None


@dataclass(frozen=True, slots=True)
class Strip:
    """A piece of the pace line; it goes on where the one before ended."""

    width_mm: float
    ticks: tuple[Tick, ...]


@dataclass(frozen=True, slots=True)
class Pace:
    """The pace line to scale: where the arc is every five seconds."""

    words: str
    strips: tuple[Strip, ...]


@dataclass(frozen=True, slots=True)
class Expected:
    """One response for the welder: what to expect, what is needed, how likely."""

    title: str
    expected: str
    needs: str
    chance: str
    weak: bool


@dataclass(frozen=True, slots=True)
class Card:
    """Everything the template needs."""

    title: str
    state: str
    said: tuple[str, ...]
    beyond: bool
    joint: str
    welder: str
    settings: tuple[SettingRow, ...]
    pace: Pace | None
    expected: tuple[Expected, ...]
    as_predicted: str
    together: str
    weak: str
    cautions: tuple[str, ...]
    follows: str


def settings_card(
    trial: Trial, found: Confirmation | None, earlier_code: str, paper: Paper
) -> Card:
    """Return the card of a trial that confirms a setting.

    Parameters
    ----------
    found
        How far it is confirmed; None while the codes are closed.
    earlier_code
        Seal code of the trial that the setting came from.
    """
    from weldtrial.cli.report_asked import joint_words

    follows = trial.follows
    assert follows is not None
    state = "Not yet confirmed" if found is None else STATES[found.state]
    if found is not None and found.late and found.state == "met":
        state = STATES["missed"]
    head = () if found is None else (found.head,)
    weak, expected = _expected(trial, follows)
    return Card(
        title=trial.title,
        state=state,
        said=head or ("The codes are closed: what was read is not said on a card.",),
        beyond=follows.beyond,
        joint=joint_words(trial),
        welder=trial.welder,
        settings=tuple(_settings(trial, follows)),
        pace=_pace(trial, follows, paper.short_mm - 2 * paper.margin_mm),
        expected=expected,
        as_predicted=_as_predicted(trial),
        together=""
        if follows.together is None
        else f"All limits together: about {100 * follows.together:.0f} coupons in 100.",
        weak=weak,
        cautions=tuple(one.short for one in fitting(trial) if one.id != "not-a-qualification"),
        follows=earlier_code,
    )


def _settings(trial: Trial, follows: Follows) -> Iterator[SettingRow]:
    for factor in trial.factors:
        value = follows.at.get(factor.name)
        if value is None:
            # One level only, or a setting that slides with the gas at its own value.
            value = _fixed(factor, follows)
        if value is None:
            continue
        if isinstance(value, str):
            symbol = factor.about.get(value, {}).get("iso14175", "")
            yield SettingRow(factor.title, value.upper() + (f" ({symbol})" if symbol else ""), "")
            continue
        unit = spaced(factor.unit)
        within = give_or_take(factor.tolerance, factor.unit).lstrip()
        if factor.tolerance is None and factor.step:
            within = f"± {plain(factor.step)}{unit}, one step of the machine"
        yield SettingRow(factor.title, f"{plain(value)}{unit}", within)
    for held in trial.held:
        within = give_or_take(held.tolerance, held.unit).lstrip()
        yield SettingRow(held.title, f"{plain(held.target)} {held.unit}", within)


def _as_predicted(trial: Trial) -> str:
    """Say what the prediction is of: the setting, held as well as the trial file states."""
    held = [one.title.lower() for one in trial.varied if one.tolerance is not None]
    within = f", {' and '.join(held)} kept within ± as printed" if held else ""
    return AS_PREDICTED.format(held=within)


def _fixed(factor: Factor, follows: Follows) -> str | float | None:
    if factor.varied:
        return None
    if factor.kind == "category":
        return factor.levels[0]
    owner = str(follows.at.get(factor.slides_with or "", ""))
    return factor.setting(factor.levels[0], owner)


def _pace(trial: Trial, follows: Follows, width_mm: float) -> Pace | None:
    """Return the pace line of a travel speed that is set or held; None where there is none."""
    from weldtrial.shared.units import convert

    known = [
        (float(follows.at[one.name]), one.unit or "")
        for one in trial.varied
        if one.kind == "numeric" and "travel" in one.name and one.name in follows.at
    ]
    known += [(one.target, one.unit) for one in trial.held if "travel" in one.name]
    if not known:
        return None
    speed, unit = known[0]
    mm_s = convert(speed, unit, "mm/min") / 60
    length = trial.joint.length
    whole = None if length is None else convert(length.value, length.unit, "mm")
    return pace_line(mm_s, width_mm, f"{plain(speed)} {unit}", whole)


def pace_line(mm_s: float, width_mm: float, said: str, length_mm: float | None = None) -> Pace:
    """Return a pace line to scale.

    Parameters
    ----------
    mm_s
        Travel, mm/s, above 0.
    width_mm
        Room for a strip.
    length_mm
        Of the weld; strips go on until it is covered, three at most.  One strip without it.
    """
    a_tick = EVERY_S * mm_s
    per_strip = max(1, floor((width_mm - 1) / a_tick)) if a_tick <= width_mm - 1 else 0
    if not per_strip:
        # Faster than a strip in five seconds: seconds are marked one by one.
        seconds = max(1, floor((width_mm - 1) / mm_s))
        many = _strips(length_mm, seconds * mm_s)
        strips = tuple(_strip(mm_s, at * seconds, seconds, 1) for at in range(many))
        return Pace(f"A mark every second at {said}", strips)
    seconds = per_strip * EVERY_S
    many = _strips(length_mm, seconds * mm_s)
    strips = tuple(_strip(mm_s, at * seconds, seconds, EVERY_S) for at in range(many))
    return Pace(f"A long mark every {EVERY_S} s at {said} ({plain(round(a_tick, 1))} mm)", strips)


def _strips(length_mm: float | None, covered_mm: float) -> int:
    return 1 if length_mm is None else min(MOST_STRIPS, max(1, ceil(length_mm / covered_mm)))


def _strip(mm_s: float, start: int, seconds: int, every: int) -> Strip:
    # Seconds closer than 2 mm would be a grey bar.
    step = 1 if mm_s >= 2 else every
    ticks = tuple(
        Tick(round(second * mm_s, 3), start + second if second % every == 0 else None)
        for second in range(0, seconds + 1, step)
    )
    return Strip(round(seconds * mm_s, 3), ticks)


def _expected(trial: Trial, follows: Follows) -> tuple[str, tuple[Expected, ...]]:
    from weldtrial.analysis.confirmed import weak_link
    from weldtrial.analysis.confirmed_words import percent, reading_words

    limited = [name for name, one in follows.predicted.items() if one.chance is not None]
    weakest = weak_link(follows) if len(limited) > 1 else ""
    rows = []
    for name, one in follows.predicted.items():
        response = trial.response(name)
        needs = [
            f"{word} {plain(end)}{spaced(response.unit)}"
            for word, end in (("at least", response.at_least), ("at most", response.at_most))
            if end is not None
        ]
        if response.kind == "pass-fail":
            needs = ["to pass"]
        rows.append(
            Expected(
                response.title,
                reading_words(response, one),
                " and ".join(needs),
                "" if one.chance is None else percent(one.chance),
                name == weakest,
            )
        )
    return (trial.response(weakest).title if weakest else ""), tuple(rows)
