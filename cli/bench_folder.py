"""A trial folder opened for the bench: trial, plan and everything typed so far."""

from __future__ import annotations

import re
from dataclasses import dataclass

from weldtrial.cli.adopted_folder import refuse_adopted
from weldtrial.cli.options import Common
from weldtrial.shared.bench import Bench, read_bench
from weldtrial.shared.csvtable import Decimal
from weldtrial.shared.folder import Folder, find_folder
from weldtrial.shared.journal import codes_opened, read_journal
from weldtrial.shared.plan import Plan
from weldtrial.shared.plancsv import read_plan
from weldtrial.shared.problems import Problem, ProblemsFound, WrongUsage, nearest
from weldtrial.shared.record import Reading
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Trial
from weldtrial.shared.units import canonical

LOG = "weld_log"


@dataclass(frozen=True, slots=True)
class OpenTrial:
    """A folder with a plan, and what it holds."""

    folder: Folder
    trial: Trial
    plan: Plan

    def bench(self) -> Bench:
        """Read the files that people fill in, as they stand now."""
        return read_bench(self.folder.path, self.trial, self.plan)

    @property
    def codes_open(self) -> bool:
        """Whether the reader could know the gas by now."""
        lines, _ = read_journal(self.folder.path)
        return not self.trial.blind.codes or codes_opened(lines)


def open_trial(common: Common) -> OpenTrial:
    """Open the trial folder that the command line names.

    Raises
    ------
    ProblemsFound
        When the trial file cannot be used, or nothing was drawn yet.
    """
    from weldtrial.shared.trialfile import load_trial

    folder = Folder(find_folder(common.folder))
    refuse_adopted(folder.path, "mend its data file and adopt it again")
    trial = load_trial(folder.trial_file)
    if not folder.plan.exists() and not folder.seal.exists():
        words = "This trial is not sealed yet, so no coupon has a stamp and nothing can be entered."
        raise ProblemsFound([Problem(words)], hint="Seal it:  weldtrial seal")
    return OpenTrial(folder, trial, read_plan(folder.plan, trial))


def known_place(name: str, trial: Trial) -> str:
    """Return `name` if it is a response or the weld log.

    Raises
    ------
    WrongUsage
        Otherwise, with the nearest.
    """
    names = [*(response.name for response in trial.to_read), LOG]
    plain = name.strip().removesuffix(".csv").rpartition("/")[2]
    if plain in names:
        return plain
    close = nearest(plain, names)
    hint = f" Did you mean  weldtrial record {close} ?" if close else ""
    raise WrongUsage(f"There is no response '{name}' (there are {', '.join(names)}).{hint}")


def typed_decimal(text: str) -> Decimal:
    """Return the decimal sign that a number typed by hand uses."""
    return "," if re.search(r"\d,\d", text) else "."


def reading_words(reading: Reading, response: Response) -> str:
    """Say a reading in words: ``84.2 kN``, ``more than 90 kN``, ``lost``."""
    unit = canonical(response.unit)
    unit = "" if unit == "1" or response.kind != "number" else f" {unit}"
    words: dict[str, str] = {
        "number": f"{_short(reading.value)}{unit}",
        "above": f"more than {_short(reading.low)}{unit}",
        "below": f"less than {_short(reading.high)}{unit}",
        "between": f"between {_short(reading.low)} and {_short(reading.high)}{unit}",
        "grade": reading.text,
    }
    return words.get(reading.kind, reading.kind)


def _short(value: float | None) -> str:
    return "" if value is None else f"{value:.6g}"


def singular(count: int, one: str, many: str = "") -> str:
    """Return ``1 reading`` or ``3 readings``."""
    return f"{count} {one if count == 1 else many or one + 's'}"
