"""What was asked of ``weldtrial power`` on the command line: read once, all slips named at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from weldtrial.shared.problems import WrongUsage
from weldtrial.shared.responses import Margin

# No reading of a weld is smaller or larger, in any unit; the arithmetic holds between them.
LEAST, MOST = 1e-9, 1e9
MOST_COUPONS = 1_000_000
MOST_GASES = 30
EXAMPLE = "Such as:  weldtrial power --mean 78 --sd 4 --sd-setup 2 --loss 5% --setups 6 --coupons 3"
OPTIONS = (
    "mean",
    "sd",
    "sd_setup",
    "sd_reading",
    "readings",
    "loss",
    "setups",
    "coupons",
    "rounds",
    "gases",
    "against",
    "width",
    "reads_to",
)
"""Options that ask about measured numbers without a folder."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Two gases (or more) and their numbers, in one unit.

    Attributes
    ----------
    loss
        The loss to be shown; None where only the width is asked.
    setups, coupons
        Of each gas; two numbers where the new gas and today's have others.  `setups` is None
        where every coupon is set up anew, and `coupons` then count per gas.
    rounds
        Whether set-ups stand in rounds.
    gases, pairs
        How many gases, and whether all pairs are compared instead of each with today's.
    width, reads_to
        Half-width asked for, and the step of the gauge; None where not said.
    """

    mean: float | None
    sd: float
    sd_setup: float
    sd_reading: float
    readings: int
    loss: Margin | None
    setups: tuple[int, ...] | None
    coupons: tuple[int, ...]
    rounds: bool
    gases: int
    pairs: bool
    width: float | None
    reads_to: float | None

    @property
    def unequal(self) -> bool:
        """Whether the two gases have unequal numbers."""
        return len(set(self.coupons if self.setups is None else self.setups)) > 1


def asked(said: Mapping[str, Any]) -> Asked:
    """Read the options.

    Raises
    ------
    WrongUsage
        When numbers are missing or cannot be; all of them at once.
    """
    wrong: list[str] = []
    mean = _mean(said, wrong)
    sds = {name: _scatter(said, name, mean, wrong) for name in ("sd", "sd_setup", "sd_reading")}
    loss = _loss(said, mean, wrong)
    setups = _counts(said, "setups", "set-ups per gas", wrong)
    coupons = _counts(said, "coupons", "coupons", wrong)
    readings = 1 if said["readings"] is None else said["readings"]
    if not 1 <= readings <= 1000:
        wrong.append(f"--readings {readings} cannot be: use 1 to 1000 readings on a coupon.")
    if said["readings"] is not None and said["sd_reading"] is None and readings > 1:
        wrong.append("--readings needs to know how readings of one coupon scatter: --sd-reading.")
    gases = 2 if said["gases"] is None else said["gases"]
    wrong += _wrong_layout(said, setups, coupons, gases)
    width, reads_to = (_positive(said, name, wrong) for name in ("width", "reads_to"))
    if wrong:
        raise WrongUsage("\n".join(f"weldtrial power: {one}" for one in wrong), hint=EXAMPLE)
    assert coupons is not None
    return Asked(
        mean=mean,
        sd=sds["sd"] or 0.0,
        sd_setup=sds["sd_setup"] or 0.0,
        sd_reading=sds["sd_reading"] or 0.0,
        readings=readings,
        loss=loss,
        setups=setups,
        coupons=coupons,
        rounds=said["rounds"] is not None,
        gases=gases,
        pairs=said["against"] == "all",
        width=width,
        reads_to=reads_to,
    )


def _mean(said: Mapping[str, Any], wrong: list[str]) -> float | None:
    mean: float | None = said["mean"]
    percent = [name for name in ("loss", "sd", "sd_setup", "sd_reading", "width", "reads_to")
               if str(said[name] or "").strip().endswith("%")]  # fmt: skip
    if mean is None:
        wrong += [
            f"--{name.replace('_', '-')} is in percent, and of what is not said. Add --mean."
            for name in percent
        ]
    elif percent and not LEAST <= mean <= MOST:
        named = " and ".join(f"--{name.replace('_', '-')}" for name in percent)
        wrong.append(f"--mean {mean:g} cannot be: {named} in percent needs a mean above 0.")
    elif not abs(mean) <= MOST:
        wrong.append(f"--mean {mean:g} cannot be.")
    return mean


def _scatter(
    said: Mapping[str, Any], name: str, mean: float | None, wrong: list[str]
) -> float | None:
    text, option = said[name], f"--{name.replace('_', '-')}"
    if text is None:
        if name == "sd":
            wrong.append("--sd is missing.")
        return None
    if str(text).strip().rstrip("%").strip() in ("0", "0.0") and name != "sd":
        return 0.0
    found = parse_loss(str(text))
    if found is None:
        why = {
            "sd": "coupons scatter by more than 0. Write 4, or 5% of the mean.",
            "sd_setup": "use 0 or more. Write 2, or 2.5% of the mean.",
            "sd_reading": "use 0 or more. Write 1, or 1% of the mean.",
        }[name]
        wrong.append(f"{option} {text} cannot be: {why}")
        return None
    return found.in_units(mean or 0.0)


def _loss(said: Mapping[str, Any], mean: float | None, wrong: list[str]) -> Margin | None:
    text = said["loss"]
    if text is None:
        if said["width"] is None:
            wrong.append("--loss is missing (or --width, to ask for the width of the interval).")
        return None
    loss = parse_loss(text)
    if loss is None:
        wrong.append(f"--loss {text} is no loss. Write it in percent, 5%, or in units, 4; above 0.")
    elif not loss.percent and mean is not None and 0 < mean <= loss.value:
        wrong.append(
            f"--loss {text} is not below the mean, {mean:g}: nothing would be left. Use a smaller "
            "loss."
        )
    return loss


def _positive(said: Mapping[str, Any], name: str, wrong: list[str]) -> float | None:
    text = said[name]
    if text is None:
        return None
    found = parse_loss(str(text))
    if found is None:
        wrong.append(f"--{name.replace('_', '-')} {text} cannot be: use a number above 0.")
        return None
    return found.in_units(said["mean"] or 0.0)


def _counts(
    said: Mapping[str, Any], name: str, what: str, wrong: list[str]
) -> tuple[int, ...] | None:
    text = said[name]
    if text is None:
        if name == "coupons":
            wrong.append("--coupons is missing.")
        return None
    found = parse_counts(str(text))
    if found is None:
        wrong.append(
            f"--{name} {text} cannot be: use 1 to {MOST_COUPONS} {what}, or two numbers such as "
            "6,4 for the new gas and today's."
        )
    return found


def _wrong_layout(
    said: Mapping[str, Any],
    setups: tuple[int, ...] | None,
    coupons: tuple[int, ...] | None,
    gases: int,
) -> list[str]:
    wrong = []
    rounds, two = said["rounds"], len(setups or ()) > 1
    if rounds is not None and said["setups"] is None:
        wrong.append("--rounds pairs set-ups, and there are none. Add --setups.")
    if rounds is not None and two:
        wrong.append(
            f"--setups {said['setups']} and --rounds disagree: a round holds one set-up of each "
            "gas, so both have as many."
        )
    elif rounds not in (None, "") and setups is not None and rounds != str(setups[0]):
        wrong.append(
            f"--rounds {rounds} and --setups {setups[0]} disagree: a round holds one set-up of "
            "each gas. Write --rounds alone."
        )
    if said["setups"] is not None and len(coupons or ()) > 1:
        wrong.append(
            f"--coupons {said['coupons']} with --setups is coupons a set-up: use one number, the "
            "same for every set-up."
        )
    if not 2 <= gases <= MOST_GASES:
        wrong.append(f"--gases {gases} cannot be: use 2 to {MOST_GASES}.")
    elif gases > 2 and (two or len(coupons or ()) > 1):
        wrong.append("--gases of three or more need the same numbers of each: write one number.")
    if said["against"] is not None and gases < 3:
        wrong.append("--against is for three gases or more. Add --gases 3.")
    return wrong


def parse_counts(text: str) -> tuple[int, ...] | None:
    """Return the one or two whole numbers that ``6`` or ``6,4`` names, or None."""
    try:
        found = tuple(int(one) for one in text.split(","))
    except ValueError:
        return None
    return found if len(found) <= 2 and all(1 <= one <= MOST_COUPONS for one in found) else None


def parse_loss(text: str) -> Margin | None:
    """Return the loss that ``5%`` or ``4`` names, or None when it is neither."""
    plain = text.strip()
    percent = plain.endswith("%")
    try:
        value = float(plain.removesuffix("%").strip())
    except ValueError:
        return None
    if percent:
        return Margin(value / 100, percent=True) if LEAST <= value < 100 else None
    return Margin(value) if LEAST <= value <= MOST else None
