"""Any record as JSON: plain values, full precision, null for what is not a number."""

from __future__ import annotations

import dataclasses
import datetime
import enum
import json
import math
from collections.abc import Mapping
from pathlib import PurePath
from typing import Any


def plain_value(value: Any) -> Any:
    """Return `value` as dicts, lists, texts, numbers, booleans and None.

    Records become objects, enumerations their value, dates ISO 8601 text, and numbers that are
    not finite None.  Anything else is refused, so that no internal text slips out.
    """
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, enum.Enum):
        return plain_value(value.value)
    if isinstance(value, (str, int)):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, PurePath):
        return value.as_posix()
    if isinstance(value, (datetime.datetime, datetime.date, datetime.time)):
        return value.isoformat()
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain_value(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(plain_value(key)): plain_value(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain_value(one) for one in value]
    if isinstance(value, (set, frozenset)):
        return sorted(plain_value(one) for one in value)
    # numpy scalars and arrays, without importing numpy
    if hasattr(value, "tolist"):
        return plain_value(value.tolist())
    raise TypeError(f"a {type(value).__name__} cannot be written as JSON")


def to_json(value: object, encoding: str | None = "utf-8") -> str:
    """Return `value` as indented JSON text that a stream of `encoding` can carry."""
    plain = plain_value(value)
    text = json.dumps(plain, indent=2, ensure_ascii=False, allow_nan=False)
    try:
        text.encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        text = json.dumps(plain, indent=2, ensure_ascii=True, allow_nan=False)
    return text
