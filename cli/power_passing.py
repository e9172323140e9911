"""``weldtrial power --passing``: what coupons that pass or fail can show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from weldtrial.cli.power_asked import OPTIONS, parse_counts
from weldtrial.shared.problems import WrongUsage
from weldtrial.shared.responses import Response
from weldtrial.shared.rounding import brief

if TYPE_CHECKING:
    from weldtrial.analysis.proportion_power import CouponsNeeded, InARow
    from weldtrial.analysis.shape import Shape
    from weldtrial.cli.console import Console

NAMES = ("passing", "falls_to", "no_worse_by", "in_a_row")
"""Options that ask about coupons that pass or fail."""
_MOST = 300
_SMALL = 0.001
_EXAMPLE = (
    "Such as:  weldtrial power --passing 90% --falls-to 70% --coupons 20   or:  weldtrial power "
    "--in-a-row 90%"
)


@dataclass(frozen=True, slots=True)
class Question:
    """One question about two shares, answered.

    `chance` is what the coupons given can show, None where none were given.
    """

    kind: str
    passing: float
    other: float
    coupons: tuple[int, int] | None
    chance: float | None
    needed: CouponsNeeded


@dataclass(frozen=True, slots=True)
class Passing:
    """What was asked about coupons that pass or fail, answered.

    `shows` has the share that the coupons given show, should all of them pass.
    """

    questions: tuple[Question, ...]
    row: InARow | None
    shows: tuple[int, float] | None
    target: float


def from_passing_options(said: Mapping[str, Any], target: float) -> Passing:
    """Answer the options about coupons that pass or fail.

    Raises
    ------
    WrongUsage
        When numbers are missing or cannot be; all of them at once.
    """
    from weldtrial.analysis.proportion_power import (
        chance_no_worse,
        chance_of_fall,
        coupons_for_fall,
        coupons_for_no_worse,
        in_a_row,
    )
    from weldtrial.analysis.proportions import shown_by_passes

    shares, coupons = _read(said)
    passing, questions = shares["passing"], []
    if passing is not None and (fallen := shares["falls_to"]) is not None:
        chance = None if coupons is None else chance_of_fall(*coupons, fallen, passing)
        needed = coupons_for_fall(fallen, passing, target)
        questions.append(Question("fall", passing, fallen, coupons, chance, needed))
    if passing is not None and (margin := shares["no_worse_by"]) is not None:
        chance = None if coupons is None else chance_no_worse(*coupons, margin, passing, passing)
        needed = coupons_for_no_worse(passing, margin, target)
        questions.append(Question("no_worse", passing, margin, coupons, chance, needed))
    row = shares["in_a_row"]
    if row is None:
        return Passing(tuple(questions), None, None, target)
    shows = None if coupons is None else (coupons[0], shown_by_passes(coupons[0]))
    return Passing(tuple(questions), in_a_row(row), shows, target)


def _read(
    said: Mapping[str, Any],
) -> tuple[dict[str, float | None], tuple[int, int] | None]:
    shares: dict[str, float | None] = {}
    wrong: list[str] = []
    for name in NAMES:
        shares[name] = None if said[name] is None else _share(said[name])
        if said[name] is not None and shares[name] is None:
            wrong.append(
                f"--{name.replace('_', '-')} {said[name]} cannot be: use a share above 0 and below "
                "100 in percent, such as 90%."
            )
    passing, fallen, margin = (shares[name] for name in NAMES[:3])
    if said["passing"] is not None and said["falls_to"] is None and said["no_worse_by"] is None:
        wrong.append("--passing alone asks nothing. Add --falls-to 70% or --no-worse-by 10%.")
    if said["passing"] is None and (said["falls_to"] or said["no_worse_by"]):
        wrong.append("--passing is missing: what share of today's coupons pass?")
    if passing is not None and fallen is not None and fallen >= passing:
        wrong.append(
            f"--falls-to {said['falls_to']} is no fall from {said['passing']}: use a smaller share."
        )
    if passing is not None and margin is not None and margin >= passing:
        wrong.append(
            f"--no-worse-by {said['no_worse_by']} is not below {said['passing']}, the share that "
            "passes: use fewer points."
        )
    row = shares["in_a_row"]
    if row is not None and row > 0.999:
        wrong.append(
            f"--in-a-row {said['in_a_row']} cannot be shown by counting: use at most 99.9%."
        )
    coupons = _coupons(said, wrong)
    mixed = [name for name in OPTIONS if name != "coupons" and said[name] is not None]
    if mixed:
        named = ", ".join(f"--{name.replace('_', '-')}" for name in mixed)
        wrong.append(
            f"{named} cannot stand with coupons that pass or fail. Coupons of one set-up are not "
            "independent: give --coupons the number that are set up anew."
        )
    if wrong:
        raise WrongUsage("\n".join(f"weldtrial power: {one}" for one in wrong), hint=_EXAMPLE)
    return shares, coupons


def _coupons(said: Mapping[str, Any], wrong: list[str]) -> tuple[int, int] | None:
    if said["coupons"] is None:
        return None
    found = parse_counts(str(said["coupons"]))
    if found is None or max(found) > _MOST:
        wrong.append(
            f"--coupons {said['coupons']} cannot be: use 1 to {_MOST} per gas, or two numbers such "
            "as 20,30 for the new gas and today's."
        )
        return None
    return found[0], found[-1]


def _share(text: str) -> float | None:
    plain = text.strip()
    try:
        value = float(plain.removesuffix("%").strip()) / (100 if plain.endswith("%") else 1)
    except ValueError:
        return None
    return value if 1e-4 <= value <= 1 - 1e-4 else None


def passing_json(found: Passing) -> dict[str, Any]:
    """Return the answers as plain values; the keys are documented in ``weldtrial help json``."""
    answers: dict[str, Any] = {"fall": None, "no_worse": None}
    for one in found.questions:
        answers[one.kind] = {
            "passing": one.passing,
            "falls_to": one.other if one.kind == "fall" else None,
            "no_worse_by": one.other if one.kind == "no_worse" else None,
            "coupons": None if one.coupons is None else list(one.coupons),
            "power": one.chance,
            "coupons_per_gas": one.needed.coupons,
            "chance_with_that": one.needed.chance,
            "first": one.needed.first,
        }
    row = None
    if found.row is not None:
        row = {
            **asdict(found.row),
            "chances": [list(one) for one in found.row.chances],
            "shown_by_coupons": None if found.shows is None else found.shows[1],
        }
    return {"responses": {}, "passing": {**answers, "in_a_row": row, "chance": found.target}}


def show_passing(console: Console, found: Passing) -> None:
    """Show what coupons that pass or fail can show."""
    console.line("Coupons that pass or fail, each set up anew and shuffled", style="bold")
    if found.questions:
        console.line(f'"Probably" below means a chance of {_percent(found.target)}.')
    for one in found.questions:
        _show_question(console, one)
    if found.row is not None:
        _show_row(console, found.row, found.shows)
    console.line()
    console.line(
        "  Coupons of one set-up pass or fail together, so they count as one here: it is set-ups "
        "that count, not coupons.",
        hang=2,
    )
    console.line()


def _show_question(console: Console, one: Question) -> None:
    fall = one.kind == "fall"
    what = (
        f"a true fall from {_percent(one.passing)} passing to {_percent(one.other)}"
        if fall
        else f"no worse by {brief(100 * one.other)} points, if {_percent(one.passing)} of both pass"
    )
    console.heading("To show " + what)
    if one.coupons is not None and one.chance is not None:
        new, old = one.coupons
        many = (
            f"{new} coupons of each gas"
            if new == old
            else f"{new} coupons of the new gas and {old} of today's"
        )
        console.line(
            f"  With {many}: {_percent(one.chance)}. {_missed(one, fall)}",
            hang=2,
        )
    needed = one.needed
    if needed.coupons is None or needed.chance is None:
        console.line(
            f"  More than {_MOST} coupons of each gas would be needed. Measure something instead: "
            "a load or an angle tells more than pass or fail.",
            hang=2,
        )
    else:
        console.line(
            f"  To probably show it: {needed.coupons} coupons of each gas, "
            f"{2 * needed.coupons} in all ({_percent(needed.chance)}).",
            hang=2,
        )
        if needed.first is not None and needed.first < needed.coupons:
            console.line(
                f"  {needed.first} would do as well, and a few more than that would not: the "
                "chance goes up and down from one number to the next.",
                hang=2,
            )
    test = (
        "Boschloo's exact test, two-sided at 5 % (1970; twice the one-sided p)"
        if fall
        else "an exact test of the score, one-sided at 5 % (Farrington & Manning 1990, Chan 1998)"
    )
    console.line(f"  Judged by {test}.", hang=2)


def _missed(one: Question, fall: bool) -> str:
    times = round(100 * (1 - (one.chance or 0.0)))
    if fall:
        return f"It would miss such a fall {times} times in 100."
    return f'It would end in "not settled" {times} times in 100 although nothing is wrong.'


def _show_row(console: Console, row: InARow, shows: tuple[int, float] | None) -> None:
    console.heading(f"To show that at least {_percent(row.share)} pass, one gas")
    console.line(
        f"  {row.coupons} in a row have to pass, without a failure (95 % confidence, exact).",
        hang=2,
    )
    if shows is not None and shows[0] != row.coupons:
        console.line(
            f"  {shows[0]} in a row would show that at least {_percent(shows[1])} pass.", hang=2
        )
    told = [f"{_percent(true)}: {_percent(chance)}" for true, chance in row.chances]
    console.line(f"  Chance that they all do, if the true share is  {';  '.join(told)}.", hang=2)
    console.line(
        "  One failure is not the end of it, but it takes more coupons then: decide before the "
        "first is bent.",
        hang=2,
    )


def _percent(share: float) -> str:
    if 0 < share < _SMALL:
        return "below 0.1 %"
    if 1 - _SMALL < share < 1:
        return "over 99.9 %"
    return f"{brief(100 * share, 3)} %"


def instead_words(response: Response, shape: Shape) -> str:
    """Return what else can be asked about passes, empty for grades."""
    if response.kind != "pass-fail":
        return ""
    units = shape.setups_per_level or shape.coupons_per_level
    return (
        f"Or ask what {units} independent coupons of each can show, with your own shares:  "
        f"weldtrial power --passing 90% --falls-to 70% --coupons {units}"
    )
