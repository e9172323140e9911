"""``[follows]``: the earlier trial that this one adds coupons to."""

from __future__ import annotations

import re
from collections.abc import Mapping

from weldtrial.shared.follows import Follows
from weldtrial.shared.problems import nearest
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile.draft import Plain
from weldtrial.shared.trialfile.faults import Faults

_HEX = re.compile(r"[0-9a-f]{64}")


def read_follows(raw: Plain, faults: Faults) -> Follows | None:
    """Return what the trial follows, None where it follows nothing or it cannot be read."""
    if "seal" not in raw or "adds" not in raw:
        return None
    folder, seal = str(raw.get("folder", "earlier")), str(raw["seal"])
    if not folder or folder.startswith((".", "/", "\\")) or any(one in folder for one in "/\\:"):
        faults.wrong("follows.folder", "must be the name of a folder inside this one: earlier.")
        return None
    if not _HEX.fullmatch(seal):
        faults.wrong(
            "follows.seal",
            "a seal has 64 hexadecimal digits. Take it from seal.json of the earlier trial.",
            seal,
        )
        return None
    at = raw.get("at", {})
    if not isinstance(at, Mapping):
        faults.wrong("follows.at", 'write settings:  at = { gas = "co2", voltage = 28.5 }.')
        return None
    return Follows(folder, seal, raw["adds"], raw.get("turn"), dict(at))


def check_follows(trial: Trial, faults: Faults) -> None:
    """Report what in ``[follows]`` does not fit the rest."""
    follows, kind = trial.follows, trial.design.kind
    if (kind == "added") != (follows is not None):
        faults.wrong(
            "design.kind" if kind == "added" else "follows",
            'kind = "added" and [follows] belong together: the one says that coupons are added, '
            "the other to what.  weldtrial next  writes both.",
        )
    if follows is None:
        return
    if trial.looks is not None:
        faults.wrong("looks", "a trial that adds to an earlier one has no looks. Take [looks] out.")
    names = [factor.name for factor in trial.easy]
    if follows.turn is not None and (follows.adds != "fold-over" or follows.turn not in names):
        close = nearest(follows.turn, names)
        hint = f"Did you mean '{close}'?" if close else f"Choose one of {', '.join(names)}."
        if follows.adds != "fold-over":
            hint = "Only a fold-over turns something. Take it out."
        faults.wrong("follows.turn", f"'{follows.turn}' cannot be turned. {hint}", follows.turn)
    if follows.adds == "confirm":
        _check_setting(trial, follows, faults)
    elif follows.at:
        faults.wrong("follows.at", "only coupons that confirm have a setting. Take it out.")


def _check_setting(trial: Trial, follows: Follows, faults: Faults) -> None:
    for factor in trial.varied:
        value = follows.at.get(factor.name)
        if value is None:
            faults.wrong(
                "follows.at", f"the setting to confirm does not say {factor.name}. Add it."
            )
        elif factor.kind == "category" and value not in factor.levels:
            close = nearest(str(value), factor.levels)
            hint = f" Did you mean '{close}'?" if close else ""
            faults.wrong(
                f"follows.at.{factor.name}",
                f"'{value}' is no level of {factor.name} ({', '.join(factor.levels)}).{hint}",
            )
        elif factor.kind == "numeric" and (
            isinstance(value, (str, bool)) or not isinstance(value, (int, float))
        ):
            faults.wrong(
                f"follows.at.{factor.name}", f"{factor.name} is a number in {factor.unit}."
            )
    strange = [name for name in follows.at if name not in {one.name for one in trial.varied}]
    for name in strange:
        faults.wrong("follows.at", f"'{name}' is not a factor that is varied here. Take it out.")
