"""Responses that are worked out: what each quantity needs, and whether the file gives it."""

from __future__ import annotations

from typing import Any

from weldtrial.shared.problems import nearest
from weldtrial.shared.responses import Response, WorkedOut
from weldtrial.shared.trial import Trial
from weldtrial.shared.trialfile.draft import Plain
from weldtrial.shared.trialfile.faults import Faults, as_written
from weldtrial.shared.trialfile.values import plain_number
from weldtrial.shared.units import convert, same_kind
from weldtrial.shared.weld import ImpossibleWeld, thermal_efficiency
from weldtrial.shared.worked_out import LOGGED, RULES, SET, setting_behind

READ_ONLY = ("reads_to", "most", "least", "stops", "sections", "where", "crack_rule", "scale")
"""Settings of a response that only one that is read can have."""
_DEPOSIT = ("deposit-area", "leg-of-deposit", "throat-of-deposit")
_FILLET = ("leg-of-deposit", "throat-of-deposit")


def read_worked_out(raw: Plain, path: str, faults: Faults) -> WorkedOut | None:
    """Return how a response is worked out, None where it is read or cannot be made out.

    Parameters
    ----------
    raw
        The good settings of one ``[[response]]``.
    path
        Its dotted path, such as ``response.1``.
    """
    found: Plain | None = raw.get("worked_out")
    if found is None:
        return None
    name = str(raw.get("name", "?"))
    if raw.get("kind", "number") != "number":
        faults.wrong(f"{path}.kind", f"response '{name}' is worked out, so it is a number.")
    for key in READ_ONLY:
        if key in raw:
            faults.wrong(
                f"{path}.{key}",
                f"response '{name}' is worked out, nobody reads it, so it has no {key}. Take it "
                "out, or put it where the reading is taken.",
            )
    if "quantity" not in found:
        return None
    length = found.get("length")
    return WorkedOut(
        quantity=found["quantity"],
        of=found.get("from", ""),
        length_mm=None if length is None else convert(length.value, length.unit, "mm"),
        efficiency=found.get("efficiency"),
        convexity=found.get("convexity"),
        reads_to=_steps(found, name, path, faults),
    )


def _steps(found: Plain, name: str, path: str, faults: Faults) -> dict[str, float]:
    given: Any = found.get("reads_to", {})
    needed = [need for need in RULES[found["quantity"]].powers if need in LOGGED]
    good = {}
    for column, value in given.items() if isinstance(given, dict) else [("", given)]:
        step = plain_number(value)
        if column in needed and step is not None and step > 0:
            good[column] = float(step)
            continue
        columns = ", ".join(needed) or "no column of the weld log"
        faults.wrong(
            f"{path}.worked_out.reads_to",
            f"reads_to of response '{name}' must give a step above 0 for {columns}, such as  "
            f"{{ {needed[0] if needed else 'throat_mm'} = 0.1 }}; it says {as_written(given)}.",
            given,
        )
        break
    return good


def check_worked_out(trial: Trial, faults: Faults) -> None:
    """Report what worked-out responses lack, against the whole trial."""
    derived = [(n, one) for n, one in enumerate(trial.responses) if one.worked_out is not None]
    if derived and not trial.to_read:
        faults.wrong(
            "response.0.worked_out",
            "every response is worked out, and nobody reads any. Add one that is read.",
        )
    for place, response in derived:
        for key, words in _lacking(trial, response):
            faults.wrong(f"response.{place}.{key}", words)
        if response.name in trial.blind.who:
            faults.wrong(
                "blind.who",
                f"'{response.name}' is worked out, nobody reads it. Name what it comes from.",
            )


def _lacking(trial: Trial, response: Response) -> list[tuple[str, str]]:
    how = response.worked_out
    assert how is not None
    rule, what, name = RULES[how.quantity], how.quantity, response.name
    found: list[tuple[str, str]] = []

    def lacks(key: str, words: str) -> None:
        found.append((f"worked_out.{key}" if key else "worked_out", words))

    if not same_kind(response.unit, rule.unit):
        found.append(
            (
                "unit",
                f"{what} is in {rule.unit} or another unit of its kind; response '{name}' has "
                f"{response.unit}. Change the unit.",
            )
        )
    if "of" in rule.powers:
        found += _source(trial, response)
        if how.length_mm is None:
            lacks("", f"{what} of '{name}' needs  length , the length of weld that was loaded.")
    elif how.of:
        lacks("from", f"{what} is worked out from the weld log alone. Take  from  out.")
    for need in SET:
        if need in rule.powers and setting_behind(trial, need) is None:
            named = "." if need == "volts" else " with wire or feed in its name."
            lacks(
                "",
                f"{what} of '{name}' needs {need.replace('_', ' ')}: add a factor or a [[held]] "
                f"setting in {SET[need][1]}{named}",
            )
    if what in _DEPOSIT and how.efficiency is None:
        lacks("", f"{what} of '{name}' needs  efficiency , the share of the wire laid down.")
    if what in _FILLET and how.convexity is None:
        lacks("", f"{what} of '{name}' needs  convexity  (0 for a flat face).")
    if what in _DEPOSIT and trial.joint.wire_diameter is None:
        lacks("", f"{what} of '{name}' needs the wire's diameter under [joint].")
    if what == "heat-input":
        try:
            thermal_efficiency(trial.joint.process)
        except ImpossibleWeld:
            lacks(
                "",
                f"heat-input of '{name}' needs the process under [joint], such as  \"135\"; "
                "arc-energy needs none.",
            )
    return found


def _source(trial: Trial, response: Response) -> list[tuple[str, str]]:
    how = response.worked_out
    assert how is not None
    rule = RULES[how.quantity]
    known = [one.name for one in trial.to_read if one.kind == "number"]
    if how.of not in known:
        close = nearest(how.of, known)
        hint = f"Did you mean '{close}'?" if close else f"Read numbers are: {', '.join(known)}."
        said = f"'{how.of}' is not one" if how.of else "nothing is said"
        return [
            (
                "worked_out.from" if how.of else "worked_out",
                f"{how.quantity} of '{response.name}' needs  from , a response that is read as a "
                f"number; {said}. {hint}",
            )
        ]
    unit = trial.response(how.of).unit
    if same_kind(unit, rule.of_unit):
        return []
    return [
        (
            "worked_out.from",
            f"{how.quantity} is worked out from a response in {rule.of_unit} or its kind; "
            f"'{how.of}' is in {unit}.",
        )
    ]
