"""Everything ``weldtrial power`` shows, from a folder or from the command line alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from weldtrial.shared.problems import NotYet, WrongUsage
from weldtrial.shared.responses import Margin, Response, Typical
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.assumed import Assumed
    from weldtrial.analysis.needs import Needs
    from weldtrial.analysis.shape import Shape

_NEEDED = ("sd", "loss", "coupons")
# No reading of a weld is smaller or larger, in any unit; the arithmetic holds between them.
_LEAST, _MOST = 1e-9, 1e9
_MOST_COUPONS = 1_000_000


@dataclass(frozen=True, slots=True)
class PowerFigures:
    """What a plan can show of one response.

    `needs` and `assumed` are None, and `missing` says why, where nothing can be worked out.
    """

    response: Response
    shape: Shape
    levels: tuple[str, str]
    needs: Needs | None
    assumed: Assumed | None
    missing: str = ""


def from_folder(trial: Trial, chance: float) -> tuple[PowerFigures, ...]:
    """Return what the plan of a trial can show, response by response.

    Raises
    ------
    NotYet, PlanRefused
        As `weldtrial.doe.layout.make_layout`; NotYet also when no response is a number.
    """
    from weldtrial.cli.plan_figures import compared_factor, shape_of
    from weldtrial.doe.layout import make_layout

    shape, factor = shape_of(trial, make_layout(trial)), compared_factor(trial)
    if all(response.kind != "number" for response in trial.responses):
        raise NotYet(
            "No response is a number; chances for pass/fail and graded readings are not in this "
            "version yet. Meanwhile plan with a response that is measured."
        )
    other = next(level for level in factor.levels if level != factor.reference)
    return tuple(
        _figures(response, shape, (other, factor.reference), chance) for response in trial.responses
    )


def _figures(
    response: Response, shape: Shape, levels: tuple[str, str], chance: float
) -> PowerFigures:
    from weldtrial.analysis.assumed import assumed, why_not_assumed
    from weldtrial.analysis.needs import needs

    if response.kind != "number":
        missing = f"{response.title} is {response.kind}; its chances are not in this version yet."
        return PowerFigures(response, shape, levels, None, None, missing)
    known = assumed(response)
    if known is None:
        return PowerFigures(response, shape, levels, None, None, why_not_assumed(response))
    found = needs(shape, known.spread, known.aim(response), chance)
    return PowerFigures(response, shape, levels, found, known)


def from_options(said: Mapping[str, Any], chance: float) -> tuple[PowerFigures, ...]:
    """Return what two gases can show, from the numbers on the command line.

    Raises
    ------
    WrongUsage
        When numbers are missing or cannot be; all of them at once.
    """
    wrong = tuple(_wrong(said))
    if wrong:
        raise WrongUsage(
            "\n".join(f"weldtrial power: {one}" for one in wrong),
            hint="Such as:  weldtrial power --mean 78 --sd 4 --sd-setup 2 --loss 5% --setups 6 "
            "--coupons 3",
        )
    loss = parse_loss(said["loss"])
    assert loss is not None
    mean = said["mean"] if said["mean"] is not None else 0.0
    typical = Typical(
        mean,
        said["sd"],
        said["sd_setup"] or 0.0,
        "the command line",
        pilot_coupons=said["pilot_coupons"],
        pilot_setups=said["pilot_setups"],
    )
    response = Response("response", "", margin=loss, ask="no-worse", typical=typical)
    return (_figures(response, _shape(said), ("the new gas", "today's"), chance),)


def _shape(said: Mapping[str, Any]) -> Shape:
    from weldtrial.analysis.shape import Shape

    setups, coupons = said["setups"], said["coupons"]
    if setups is None:
        return Shape(False, 1, combos=2, replicates=coupons)
    if said["rounds"] is not None:
        return Shape(True, setups, replicates=coupons)
    return Shape(True, 1, per_round=setups, replicates=coupons, free=True)


def _wrong(said: Mapping[str, Any]) -> list[str]:
    wrong = [f"--{name} is missing." for name in _NEEDED if said[name] is None]
    loss = None if said["loss"] is None else parse_loss(said["loss"])
    if said["loss"] is not None and loss is None:
        wrong.append(
            f"--loss {said['loss']} is no loss. Write it in percent, 5%, or in units, 4; above 0."
        )
    mean = said["mean"]
    if loss is not None and loss.percent:
        if mean is None:
            wrong.append("--loss is in percent, and of what is not said. Add --mean.")
        elif not _LEAST <= mean <= _MOST:
            wrong.append(f"--mean {mean:g} cannot be: a loss in percent needs a mean above 0.")
    elif mean is not None and not abs(mean) <= _MOST:
        wrong.append(f"--mean {mean:g} cannot be.")
    if said["sd"] is not None and not _LEAST <= said["sd"] <= _MOST:
        wrong.append(f"--sd {said['sd']:g} cannot be: coupons scatter by more than 0.")
    setup = said["sd_setup"]
    if setup is not None and setup != 0 and not _LEAST <= setup <= _MOST:
        wrong.append(f"--sd-setup {setup:g} cannot be: use 0 or more.")
    for name in ("pilot_coupons", "pilot_setups"):
        if said[name] is not None and not 2 <= said[name] <= _MOST_COUPONS:
            option = name.replace("_", "-")
            wrong.append(f"--{option} {said[name]} cannot be: scatter is seen from 2 on.")
    if said["pilot_setups"] is not None and setup is None:
        wrong.append("--pilot-setups is how many set-ups --sd-setup came from. Add --sd-setup.")
    return wrong + _wrong_counts(said)


def _wrong_counts(said: Mapping[str, Any]) -> list[str]:
    wrong = []
    setups, coupons, rounds = said["setups"], said["coupons"], said["rounds"]
    if setups is not None and not 1 <= setups <= _MOST_COUPONS:
        wrong.append(f"--setups {setups} cannot be: use 1 to {_MOST_COUPONS} set-ups per gas.")
    if coupons is not None and not 1 <= coupons <= _MOST_COUPONS:
        wrong.append(f"--coupons {coupons} cannot be: use 1 to {_MOST_COUPONS}.")
    if rounds is not None and setups is None:
        wrong.append("--rounds pairs set-ups, and there are none. Add --setups.")
    if rounds not in (None, "") and rounds != str(setups) and setups is not None:
        wrong.append(
            f"--rounds {rounds} and --setups {setups} disagree: a round holds one set-up of each "
            "gas. Write --rounds alone."
        )
    return wrong


def parse_loss(text: str) -> Margin | None:
    """Return the loss that ``5%`` or ``4`` names, or None when it is neither."""
    plain = text.strip()
    percent = plain.endswith("%")
    try:
        value = float(plain.removesuffix("%").strip())
    except ValueError:
        return None
    if percent:
        return Margin(value / 100, percent=True) if _LEAST <= value < 100 else None
    return Margin(value) if _LEAST <= value <= _MOST else None
