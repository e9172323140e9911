"""The options of ``weldtrial plan --choose``, and what is wrong with them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from weldtrial.cli.choosing import Wanted
from weldtrial.shared.problems import WrongUsage

_Command = TypeVar("_Command", bound=Callable[..., Any])

NAMES = ("hours", "cost", "coupons", "changes", "chance", "by", "picture")

_OPTIONS = (
    click.option(
        "--choose", is_flag=True, help="Show the best plans for a budget, and choose one."
    ),
    click.option("--hours", type=float, help="With --choose: hours at the bench, at most."),
    click.option("--cost", type=float, help="With --choose: money, at most."),
    click.option("--coupons", type=int, help="With --choose: coupons in all, at most."),
    click.option("--changes", type=int, help="With --choose: set-ups (bottle changes), at most."),
    click.option("--chance", type=float, help="With --choose: the chance to reach (0.8)."),
    click.option(
        "--by", type=click.Choice(["hours", "money"]), help="With --choose: what cheap means."
    ),
    click.option(
        "--picture",
        metavar="FILE",
        type=click.Path(dir_okay=False),
        help="With --choose: draw it, as FILE.svg or FILE.png.",
    ),
)


def choose_options(function: _Command) -> _Command:
    """Put the options of ``--choose`` on a command."""
    for option in reversed(_OPTIONS):
        function = option(function)
    return function


def wanted(said: dict[str, Any]) -> Wanted | None:
    """Return what ``--choose`` is asked, None where it was not said.

    Raises
    ------
    WrongUsage
        When a limit cannot be, or is said without ``--choose``; all of them at once.
    """
    if not said["choose"]:
        alone = [f"--{name}" for name in NAMES if said[name] is not None]
        if alone:
            verb = "goes" if len(alone) == 1 else "go"
            raise WrongUsage(
                f"weldtrial plan: {' and '.join(alone)} {verb} with --choose. Add --choose, or try "
                "a change with  --if KEY=VALUE."
            )
        return None
    wrong = [
        f"--{name} {said[name]:g} cannot be: use more than 0."
        for name in ("hours", "cost", "coupons", "changes")
        if said[name] is not None and not 0 < said[name] < float("inf")
    ]
    chance = 0.8 if said["chance"] is None else said["chance"]
    if not 0.05 < chance < 1:
        wrong.append(
            f"--chance {chance:g} cannot be: use more than 0.05 and less than 1, such as 0.8 for "
            "four times in five."
        )
    picture = said["picture"]
    if picture is not None and not str(picture).lower().endswith((".svg", ".png")):
        wrong.append(f"--picture {picture}: use a name that ends in .svg or .png.")
    if wrong:
        raise WrongUsage("\n".join(f"weldtrial plan: {one}" for one in wrong))
    return Wanted(chance, said["by"], said["hours"], said["cost"], said["coupons"], said["changes"])
