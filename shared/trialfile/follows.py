"""``[follows]``: the earlier trial that this one adds coupons to."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import fields
from math import isfinite

from weldtrial.shared.follows import Follows, Predicted
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
    return Follows(
        folder,
        seal,
        raw["adds"],
        raw.get("turn"),
        dict(at),
        _predicted(raw.get("predicted", {}), faults),
        raw.get("at_least"),
        raw.get("of"),
        raw.get("share"),
        raw.get("together"),
        raw.get("alike", 0.0),
        raw.get("beyond", False),
    )


def _predicted(raw: object, faults: Faults) -> dict[str, Predicted]:
    """Return the prediction by response, with what of it is no number reported."""
    found: dict[str, Predicted] = {}
    known = [one.name for one in fields(Predicted)]
    if not isinstance(raw, Mapping):
        faults.wrong(
            "follows.predicted", "write one line a response:  predicted.break_load = { ... }."
        )
        return found
    for response, values in raw.items():
        path = f"follows.predicted.{response}"
        if not isinstance(values, Mapping):
            faults.wrong(path, f"write a table {{ ... }} with {', '.join(known)}.")
            continue
        strange = [name for name in values if name not in known]
        for name in strange:
            close = nearest(str(name), known)
            hint = f"Did you mean '{close}'?" if close else f"Use {', '.join(known)}."
            faults.wrong(f"{path}.{name}", f"'{name}' is no part of a prediction. {hint}")
        good = {name: _number(value) for name, value in values.items() if name in known}
        for name in [name for name, value in good.items() if value is None]:
            faults.wrong(f"{path}.{name}", f"{name} must be a number.", values[name])
        found[str(response)] = Predicted(**good)
    return found


def _number(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not isfinite(value):
        return None
    return float(value)


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
        _check_prediction(trial, follows, faults)
        return
    if follows.at:
        faults.wrong("follows.at", "only coupons that confirm have a setting. Take it out.")
    for name in ("predicted", "at_least", "of", "share", "together", "alike", "beyond"):
        if faults.stands(f"follows.{name}"):
            faults.wrong(
                f"follows.{name}", "only coupons that confirm have a prediction. Take it out."
            )


def _check_prediction(trial: Trial, follows: Follows, faults: Faults) -> None:
    """Report a prediction that speaks of nothing here, or a rule that is not whole."""
    names = [one.name for one in trial.responses]
    for name, one in follows.predicted.items():
        path = f"follows.predicted.{name}"
        if name not in names:
            close = nearest(name, names)
            hint = f"Did you mean '{close}'?" if close else f"Use {', '.join(names)}."
            faults.wrong(path, f"'{name}' is no response of this trial. {hint}")
        ends = ((one.low, one.high), (one.mean_low, one.mean_high))
        if any((low is None) != (high is None) for low, high in ends) or any(
            low is not None and high is not None and low > high for low, high in ends
        ):
            faults.wrong(path, "an interval needs both its ends, the lower one first.")
        if one.chance is not None and not 0 <= one.chance <= 1:
            faults.wrong(f"{path}.chance", "a chance lies between 0 and 1.", one.chance)
    rule = (follows.at_least, follows.of, follows.share)
    if any(one is not None for one in rule) and None in rule:
        faults.wrong(
            "follows", "a rule needs at_least, of and share together. Run  weldtrial next  again."
        )
    elif follows.at_least and follows.of and follows.at_least > follows.of:
        faults.wrong(
            "follows.at_least",
            f"{follows.at_least} of {follows.of} coupons cannot pass. Put back what  weldtrial "
            "next  wrote.",
            follows.at_least,
        )


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
