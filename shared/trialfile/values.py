"""The value of one setting: of the right type, in range, among the choices."""

from __future__ import annotations

import contextlib
import datetime
import math
import re
from typing import Any

from weldtrial.shared.names import name_fault
from weldtrial.shared.problems import nearest
from weldtrial.shared.schema import CONFIDENCE
from weldtrial.shared.setting import Key
from weldtrial.shared.trial import Quantity
from weldtrial.shared.trialfile.faults import Faults, as_number, as_written, shortened
from weldtrial.shared.units import NotANumber, UnknownUnit, canonical, parse_number
from weldtrial.shared.units import kind as kind_of

_SIZE = re.compile(r"\s*([+-]?(?:[0-9]+ +[0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]*\.?[0-9]+))\s*(\D.*)")


def value_of(key: Key, where: str, value: Any, path: str, faults: Faults) -> Any:
    """Return the value in the form its type is handed on in, or None when it is not good.

    Parameters
    ----------
    key
        What the schema says of it.
    where
        What it is, for the message: ``rank of a response``.
    value
        As the TOML reader gave it.
    path
        Dotted path of the value.
    faults
        Gathers what is wrong.
    """
    if key.type in ("number", "whole"):
        return _number(key, where, value, path, faults)
    if key.type == "yes-no":
        if isinstance(value, bool):
            return value
        faults.wrong(path, must(where, "true or false, without quotes", value), value)
        return None
    if key.type in ("text", "name", "unit", "choice"):
        return _words(key, where, value, path, faults)
    if key.type == "texts":
        return _texts(key, where, value, path, faults)
    if key.type == "quantity":
        return _quantity(key, where, value, path, faults)
    return value


def must(where: str, wanted: str, value: object) -> str:
    """Return the sentence for a value that is not what it must be."""
    return f"{where} must be {wanted}; it says {as_written(value)}."


def _number(key: Key, where: str, value: Any, path: str, faults: Faults) -> float | int | None:
    limits = key.range_words
    wanted = ("a whole number" if key.type == "whole" else "a number") + (
        f", {limits}" if limits else ""
    )
    if key.low == key.high == CONFIDENCE:
        wanted = f"{CONFIDENCE:g}, the only one that format 1 allows"
    number = plain_number(value)
    if number is None or (key.type == "whole" and number != int(number)):
        words = must(where, wanted, value)
        if isinstance(value, str):
            with contextlib.suppress(NotANumber):
                words += f" Write it without quotes:  {key.name} = " + as_number(
                    parse_number(value)
                )
        faults.wrong(path, words, value)
        return None
    below = key.low is not None and number < key.low
    beyond = key.high is not None and number > key.high
    if below or beyond or (key.above is not None and number <= key.above):
        faults.wrong(path, must(where, wanted, value), value)
        return None
    return int(number) if key.type == "whole" else number


def plain_number(value: object) -> float | int | None:
    """Return a TOML number that is finite and small enough to calculate with, else None."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    if isinstance(value, int):
        return value if abs(value) < 10**15 else None
    return value if math.isfinite(value) and abs(value) < 1e15 else None


def _words(key: Key, where: str, value: Any, path: str, faults: Faults) -> str | None:
    if not isinstance(value, str):
        wanted = "text in quotes"
        if key.type == "choice":
            wanted = _one_of(key.choices)
        elif isinstance(value, datetime.date):
            wanted = f'text in quotes, such as "{value.isoformat()}"'
        faults.wrong(path, must(where, wanted, value), value)
        return None
    if fault := _text_fault(value, lines=key.type == "text"):
        faults.wrong(path, f"{where} {fault}", value)
        return None
    if key.type == "choice":
        return value if _chosen(key, where, value, path, faults) else None
    if key.type == "unit":
        return _unit(key, where, value, path, faults)
    if not value.strip() and (key.required or key.type == "name"):
        faults.wrong(path, f"{where} is empty. Fill it in.", value)
        return None
    if key.type == "name" and (fault := name_fault(value)):
        faults.wrong(path, f"{where}: {fault}", value)
        return None
    return value


def _text_fault(value: str, *, lines: bool) -> str:
    allowed = "\n\r\t" if lines else ""
    if any((ord(sign) < 32 and sign not in allowed) or ord(sign) == 127 for sign in value):
        return "holds a control character. Type it again."
    return ""


def _one_of(choices: tuple[str, ...]) -> str:
    quoted = [f'"{choice}"' for choice in choices]
    if len(quoted) == 1:
        return quoted[0]
    return f"{', '.join(quoted[:-1])} or {quoted[-1]}"


def _chosen(key: Key, where: str, value: str, path: str, faults: Faults) -> bool:
    if value in key.choices:
        return True
    close = nearest(value, key.choices)
    hint = f' Did you mean "{close}"?' if close else ""
    faults.wrong(path, must(where, _one_of(key.choices), value) + hint, value)
    return False


def _unit(key: Key, where: str, value: str, path: str, faults: Faults) -> str | None:
    try:
        symbol = canonical(value)
    except UnknownUnit as error:
        faults.wrong(path, f"{where}: {error}", value)
        return None
    if key.kind and kind_of(symbol) != key.kind:
        faults.wrong(
            path,
            f"{where} must be a unit of {key.kind}; {symbol} measures {kind_of(symbol)}.",
            value,
        )
        return None
    return symbol


def _texts(key: Key, where: str, value: Any, path: str, faults: Faults) -> tuple[str, ...] | None:
    if not isinstance(value, list) or not all(isinstance(one, str) for one in value):
        faults.wrong(path, must(where, 'a list of texts, such as ["a", "b"]', value), value)
        return None
    good = True
    for place, one in enumerate(value):
        entry = f"{path}.{place}"
        if not one.strip():
            faults.wrong(entry, f"{where} holds an empty text. Fill it in or take it out.", one)
        elif fault := _text_fault(one, lines=False):
            faults.wrong(entry, f"{where} {fault}", one)
        elif one in value[:place]:
            faults.wrong(entry, f'{where} names "{shortened(one)}" twice. Keep one.', one)
        elif not key.choices or _chosen(key, f"an entry of {where}", one, entry, faults):
            continue
        good = False
    return tuple(value) if good else None


def _quantity(key: Key, where: str, value: Any, path: str, faults: Faults) -> Quantity | None:
    form = '{ value = 8, unit = "mm" } or "5/16 in"'
    number: float | int | None = None
    if isinstance(value, str):
        try:
            number, unit = _split(value)
        except (NotANumber, UnknownUnit) as error:
            faults.wrong(path, f"{where}: {error} Write it like {form}.", value)
            return None
    elif isinstance(value, dict) and set(value) == {"value", "unit"}:
        number, unit = plain_number(value["value"]), value["unit"]
    else:
        faults.wrong(path, must(where, form, value), value)
        return None
    if number is None or number <= 0:
        faults.wrong(path, f"{where} must be a number more than 0, written like {form}.", value)
        return None
    symbol = _words(
        Key("unit", "unit", "", kind=key.kind), f"the unit of {where}", unit, path, faults
    )
    return None if symbol is None else Quantity(float(number), symbol)


def _split(text: str) -> tuple[float, str]:
    """Return number and unit of a text such as ``5/16 in``."""
    found = _SIZE.fullmatch(text)
    if found is None:
        raise NotANumber(f"{as_written(text)} is not a number with its unit.")
    unit = canonical(found[2])
    return parse_number(found[1], fractions=unit == "in"), unit
