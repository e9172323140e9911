"""``--if KEY=VALUE`` and ``--try rounds=9,coupons=40``: a trial changed in mind, not on disk."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, replace
from typing import Any

from weldtrial.shared.problems import ProblemsFound, WrongUsage, nearest
from weldtrial.shared.trial import Trial

_TYPICAL = (
    "sd_setup",
    "sd_coupon",
    "sd_reading",
    "mean",
    "pilot_coupons",
    "pilot_set_ups",
    "passing",
    "shares",
    "alike",
    "worse_odds",
)
_SECTIONS = (
    "trial",
    "fair",
    "joint",
    "design",
    "budget",
    "order",
    "blind",
    "rules",
    "looks",
    "nuisance",
)
_LISTS = ("factor", "held", "response")
_TRY = {
    "rounds": "design.rounds",
    "set_ups": "design.set_ups",
    "replicates": "design.replicates",
    "coupons": "budget.coupons",
    "spare": "budget.spare",
    "warm_up": "budget.warm_up",
}
# What follows from the rest of the plan, and would contradict a changed one.
_FOLLOWS = {
    "design.rounds": ("design.set_ups", "order.first_at_most"),
    "design.set_ups": ("design.rounds", "order.first_at_most"),
    "budget.coupons": ("design.replicates",),
    "design.kind": ("design.runs", "design.generators", "design.fold_over"),
    "hard_to_change": ("design.set_ups", "order.first_at_most"),
}


@dataclass(frozen=True, slots=True)
class Change:
    """One value changed in mind; `was` is None where the file does not say."""

    key: str
    was: Any
    now: Any


def changed(
    trial: Trial, said: Sequence[str], option: str = "--if"
) -> tuple[Trial, tuple[Change, ...]]:
    """Return the trial with every ``KEY=VALUE`` of `said` applied, checked as a file would be.

    `option` is the one that messages name.

    Raises
    ------
    WrongUsage
        When a key cannot be read or is not known.
    ProblemsFound
        When the changed trial has problems.
    """
    if not said:
        return trial, ()
    pairs = [_pair(text, option) for text in said]
    return _apply(trial, [(_path(trial, key, option), value) for key, value in pairs], option)


def tried(trial: Trial, said: str) -> Trial:
    """Return the trial with ``rounds=9,coupons=40`` applied; raises as `changed`."""
    changes = []
    for text in said.split(","):
        key, value = _pair(text, "--try")
        if key not in _TRY:
            close = nearest(key, _TRY)
            hint = f" Did you mean '{close}'?" if close else f" Use {', '.join(_TRY)}."
            raise WrongUsage(f"weldtrial plan: --try does not know '{key}'.{hint}")
        changes.append((tuple(_TRY[key].split(".")), value))
    return _apply(trial, changes, "--try")[0]


def _pair(text: str, option: str) -> tuple[str, Any]:
    key, equals, value = (part.strip() for part in text.partition("="))
    if not (key and equals and value):
        example = "rounds=9,coupons=40" if option == "--try" else "sd_setup=3"
        raise WrongUsage(
            f"weldtrial plan: {option} needs a key and a value, such as  {option} {example}; "
            f"'{text}' is not one."
        )
    try:
        return key, tomllib.loads(f"value = {value}")["value"]
    except (tomllib.TOMLDecodeError, RecursionError):
        return key, value


def _path(trial: Trial, key: str, option: str) -> tuple[str | int, ...]:
    """Return where a key stands in the parsed file."""
    deciding = trial.responses.index(trial.deciding)
    if key in _TYPICAL:
        return ("response", deciding, "typical", key)
    if key == "margin":
        return ("response", deciding, "margin")
    first, *rest = key.split(".")
    if rest and first in _SECTIONS:
        return (first, *rest)
    for name in _LISTS if rest else ():
        for place, one in enumerate(trial.source.get(name, ())):
            if isinstance(one, Mapping) and one.get("name") == first:
                return (name, place, *rest)
    raise WrongUsage(_unknown(trial, key, option))


def _unknown(trial: Trial, key: str, option: str) -> str:
    sections = ("design", "budget", "order")
    names = [*_TYPICAL, "margin"]
    names += [f"{section}.{name}" for section in sections for name in trial.source.get(section, {})]
    close = nearest(key, names)
    hint = (
        f" Did you mean '{close}'?"
        if close
        else " Use sd_setup, sd_coupon, mean, margin, or a key of the file such as budget.coupons "
        f"or {trial.deciding.name}.typical.sd_setup."
    )
    return f"weldtrial plan: {option} does not know '{key}'.{hint}"


def _apply(
    trial: Trial, changes: Sequence[tuple[tuple[str | int, ...], Any]], option: str
) -> tuple[Trial, tuple[Change, ...]]:
    from weldtrial.shared.trialfile import reread_trial

    source: Any = deepcopy(dict(trial.source))
    keys = {".".join(map(str, path)) for path, _ in changes}
    for key in keys:
        follows = _FOLLOWS["hard_to_change"] if key.endswith(".hard_to_change") else ()
        for other in _FOLLOWS.get(key, follows):
            if other not in keys:
                section, name = other.split(".")
                source.get(section, {}).pop(name, None)
    done = tuple(
        Change(_spoken(trial, path), _put(source, path, value, option), value)
        for path, value in changes
    )
    found, problems = reread_trial(source, trial.lines)
    if found is None:
        raise ProblemsFound(
            (problem for problem in problems if not problem.warning),
            hint=f"With {option} the file would read like this; nothing was written.",
        )
    kept = replace(found, earlier=trial.earlier, stamps_taken=trial.stamps_taken)
    return kept, done


def _spoken(trial: Trial, path: tuple[str | int, ...]) -> str:
    if path[0] in _LISTS:
        return ".".join([str(trial.source[str(path[0])][path[1]]["name"]), *map(str, path[2:])])
    return ".".join(map(str, path))


def _put(source: Any, path: tuple[str | int, ...], value: Any, option: str) -> Any:
    """Set the value at `path`, making tables on the way, and return what stood there."""
    place = source
    for step in path[:-1]:
        if isinstance(place, dict) and step not in place:
            place[step] = {}
        place = place[step]
        if not isinstance(place, (dict, list)):
            raise WrongUsage(f"weldtrial plan: {option}: there is no '{path[-1]}' in '{step}'.")
    was = place.get(path[-1]) if isinstance(place, dict) else None
    place[path[-1]] = value
    return was
