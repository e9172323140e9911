"""What ``plan --rehearse`` and ``power --simulate`` share: losses, seeds, and whose order."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from weldtrial.shared.folder import Folder
from weldtrial.shared.plan import Plan
from weldtrial.shared.problems import ProblemsFound, SealBroken, WrongUsage
from weldtrial.shared.trial import Trial

if TYPE_CHECKING:
    from weldtrial.analysis.counted_pretend import CountedBench
    from weldtrial.analysis.losses import Losses
    from weldtrial.analysis.pretend_bench import PretendBench

MOST_TRIALS = 1_000_000
MOST_SEED = 2**63
PRETEND_ORDER = "a pretend order (the real one is drawn when the trial is sealed)"
SEALED_ORDER = "the sealed one"
BROKEN_ORDER = "a pretend order (the folder no longer matches its seal)"
CHANGED_ORDER = "a pretend order (the plan was changed in mind with --if)"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What was asked for: trials, seed and losses as typed; `trials` None when not asked for."""

    trials: int | None
    seed: int
    scrap: str | None
    short: str | None
    missing: str | None

    @property
    def losses(self) -> bool:
        """Whether any loss was named."""
        return any(one is not None for one in (self.scrap, self.short, self.missing))


def loss_options(name: str, usual: int, words: str) -> Callable[[Any], Any]:
    """Return the decorator that gives a command ``--NAME [N]``, ``--seed`` and the losses."""
    options = (
        click.option(f"--{name}", is_flag=False, flag_value=str(usual), metavar="[N]", help=words),
        click.option("--seed", type=int, help=f"With --{name}: seed of the random numbers."),
        click.option("--scrap", metavar="5%", help=f"With --{name}: coupons scrapped."),
        click.option("--short", metavar="10%", help=f"With --{name}: set-ups cut short."),
        click.option(
            "--missing",
            metavar="N|RUNS",
            help=f"With --{name}: so many coupons never welded, or these runs: 7,12 or 5-8.",
        ),
    )

    def decorate(function: Any) -> Any:
        for option in reversed(options):
            function = option(function)
        return function

    return decorate


def take_wanted(command: str, name: str, said: dict[str, Any]) -> Wanted:
    """Take what `loss_options` added out of a command's arguments.

    Raises
    ------
    WrongUsage
        When a number cannot be; all of them at once.
    """
    count, seed = said.pop(name), said.pop("seed")
    wrong = []
    trials = None
    if count is not None:
        trials = int(count) if re.fullmatch(r"\d{1,9}", count) else 0
        if not 1 <= trials <= MOST_TRIALS:
            wrong.append(
                f"--{name} {count} cannot be: use 1 to {MOST_TRIALS} pretend trials, or --{name} "
                "alone."
            )
    if seed is not None and not 0 <= seed < MOST_SEED:
        wrong.append(f"--seed {seed} cannot be: use 0 or a whole number above.")
    if wrong:
        raise WrongUsage("\n".join(f"weldtrial {command}: {one}" for one in wrong))
    losses = (said.pop("scrap"), said.pop("short"), said.pop("missing"))
    return Wanted(trials, 1 if seed is None else seed, *losses)


def losses_of(
    command: str, wanted: Wanted, bench: PretendBench | CountedBench, spares: int
) -> Losses:
    """Return the losses that were typed, checked against the coupons there are.

    Raises
    ------
    WrongUsage
        All of what cannot be, at once.
    """
    from weldtrial.analysis.losses import Losses

    wrong: list[str] = []
    scrap, short = _rate("scrap", wanted.scrap, wrong), _rate("short", wanted.short, wrong)
    runs = {o.run for o in bench.blanks if o.run is not None}
    if short and all(o.setup is None for o in bench.blanks):
        wrong.append("--short cuts set-ups short, and this plan has none.")
    elif short and len({o.setup for o in bench.blanks}) == len(bench.blanks):
        wrong.append("--short cuts set-ups short, and each holds one coupon only. Use --scrap.")
    missing, lose = _missing(wanted.missing, runs, wrong)
    if wrong:
        raise WrongUsage("\n".join(f"weldtrial {command}: {one}" for one in wrong))
    return Losses(scrap, short, missing, lose, spares)


def _rate(name: str, text: str | None, wrong: list[str]) -> float:
    if text is None:
        return 0.0
    plain = text.strip()
    try:
        value = float(plain.removesuffix("%")) / (100 if plain.endswith("%") else 1)
    except ValueError:
        value = -1.0
    if not 0 <= value <= 0.9:
        wrong.append(f"--{name} {text} cannot be: write a rate from 0 % to 90 %, such as 5%.")
        return 0.0
    return value


def _missing(text: str | None, runs: set[int], wrong: list[str]) -> tuple[tuple[int, ...], int]:
    """Return the runs named, and how many are drawn by chance."""
    if text is None:
        return (), 0
    plain = text.replace(" ", "")
    if re.fullmatch(r"\d{1,6}", plain):
        if int(plain) >= len(runs):
            wrong.append(f"--missing {text}: there are only {len(runs)} coupons that count.")
        return (), int(plain)
    if not re.fullmatch(r"\d{1,6}(-\d{1,6})?(,(\d{1,6}(-\d{1,6})?)?)*", plain):
        wrong.append(
            f"--missing {text} cannot be: write how many, such as 3, or which runs, such as 7,12 "
            "or 5-8 (one run alone with a comma: 7,)."
        )
        return (), 0
    named: set[int] = set()
    for piece in filter(None, plain.split(",")):
        first, _, last = piece.partition("-")
        named |= set(range(int(first), min(int(last or first), 10**6) + 1))
    strange = sorted(named - runs)
    if strange:
        listed = ", ".join(map(str, strange[:6])) + (" …" if len(strange) > 6 else "")
        wrong.append(
            f"--missing {text}: no coupon that counts is run {listed}. Warm-ups and spares do not "
            f"count; the last run is {max(runs)}."
        )
    elif named >= runs:
        wrong.append(f"--missing {text} leaves no coupon at all.")
    return tuple(sorted(named)), 0


def losses_words(losses: Losses) -> str:
    """Return the losses in words, empty when there are none."""
    from weldtrial.shared.rounding import brief

    parts = []
    if losses.scrap:
        parts.append(f"{brief(100 * losses.scrap, 3)} in 100 coupons scrapped")
    if losses.short:
        parts.append(f"{brief(100 * losses.short, 3)} in 100 set-ups cut short")
    if losses.missing:
        parts.append(f"run{'s' * (len(losses.missing) > 1)} {_runs(losses.missing)} never welded")
    if losses.lose:
        parts.append(f"{losses.lose} coupon{'s' * (losses.lose > 1)} never welded")
    words = ", ".join(parts)
    if losses.scrap and losses.spares:
        each = "spare stands" if losses.spares == 1 else "spares stand"
        words += f"; {losses.spares} {each} in for the first scrapped"
    return words


def _runs(runs: tuple[int, ...]) -> str:
    return ", ".join(map(str, runs[:8])) + (" …" if len(runs) > 8 else "")


def order_of(folder: Folder, trial: Trial, seed: int, *, changed: bool) -> tuple[Plan, str]:
    """Return the order that pretend trials are welded in, and whose it is.

    The sealed order is used where there is one and it fits; else one is drawn from a pretend
    word, so that nothing of the order still to be drawn can be seen.
    """
    from weldtrial.analysis.pretend import pretend_seal
    from weldtrial.cli.sealing import redraw
    from weldtrial.doe.make_plan import make_plan
    from weldtrial.shared.plancsv import read_plan
    from weldtrial.shared.seal import check_seal

    words = PRETEND_ORDER
    if folder.seal.exists() and changed:
        words = CHANGED_ORDER
    elif folder.seal.exists():
        try:
            sealed, problems = check_seal(folder.path, trial, redraw)
            if sealed is not None and all(problem.warning for problem in problems):
                return read_plan(folder.plan, trial), SEALED_ORDER
        except (ProblemsFound, SealBroken):
            pass
        words = BROKEN_ORDER
    return make_plan(trial, pretend_seal(seed)), words
