"""The canonical form: one row of bytes for one set of values, however the file was typed.

Byte layout, version 1.  The values of a parsed trial file (tables, lists, text, numbers, true
and false; None where a design leaves something open) are written as the JSON Canonicalization
Scheme of RFC 8785 writes them, after two steps that make typing habits irrelevant:

- text, keys included, is brought to Unicode form NFC, and line ends CR LF and CR become LF;
- a whole number and the equal decimal number are the same number: 5 and 5.0 are ``5``.

So there is no white space between tokens, keys stand in the order of their UTF-16 code units,
numbers are the shortest decimal that reads back as the same IEEE 754 double, laid out as
ECMAScript does, and the whole is UTF-8.  Any program that follows RFC 8785 gets the same bytes.
Numbers that no double holds exactly (whole numbers beyond 2**53) and values that are not finite
are refused rather than rounded.

References
----------
RFC 8785 (2020). *JSON Canonicalization Scheme (JCS)*.
ECMA-262, section "Number::toString".
"""

from __future__ import annotations

import hashlib
import json
import math
import unicodedata
from collections.abc import Mapping, Sequence
from decimal import Decimal

CANONICAL_VERSION = 1

Plain = Mapping[str, "Plain"] | Sequence["Plain"] | str | int | float | bool | None
"""What a parsed file or an unordered design is made of."""


def canonical(value: Plain) -> bytes:
    """Return the canonical bytes of `value`.

    Raises
    ------
    TypeError
        For a value of another kind, such as a date.
    ValueError
        For a number that is not finite or too large to hold exactly, for text that is not
        Unicode, and for two keys of one table that are the same in form NFC.
    """
    return _write(value).encode("utf-8")


def fingerprint(value: Plain) -> str:
    """Return the SHA-256 of the canonical bytes, 64 hexadecimal digits; raises as `canonical`."""
    return hashlib.sha256(canonical(value)).hexdigest()


def number_text(number: float) -> str:
    """Return the one decimal form of a finite number: ``5`` for 5.0, ``0.1``, ``1e+21``.

    Raises
    ------
    ValueError
        For a number that is not finite, and a whole number that no double holds exactly.
    """
    double = float(number) if not isinstance(number, int) else _exact(number)
    if not math.isfinite(double):
        raise ValueError(f"{number!r} is not a finite number")
    if double == 0:
        return "0"
    sign, digits, exponent = Decimal(repr(double)).normalize().as_tuple()
    assert isinstance(exponent, int)
    return ("-" if sign else "") + _laid_out("".join(map(str, digits)), exponent)


def plain_text(text: str) -> str:
    """Return `text` in form NFC with LF line ends."""
    return unicodedata.normalize("NFC", text.replace("\r\n", "\n").replace("\r", "\n"))


def _exact(number: int) -> float:
    try:
        double = float(number)
    except OverflowError:
        double = math.inf
    if double != number:
        raise ValueError(f"{number} is too large to be kept exactly")
    return double


def _laid_out(digits: str, exponent: int) -> str:
    """Place the decimal point as ECMA-262 does (k digits, value digits times 10**(n - k))."""
    k = len(digits)
    n = k + exponent
    if k <= n <= 21:
        return digits + "0" * (n - k)
    if 0 < n <= 21:
        return f"{digits[:n]}.{digits[n:]}"
    if -6 < n <= 0:
        return "0." + "0" * -n + digits
    power = f"{'+' if n > 0 else '-'}{abs(n - 1)}"
    return f"{digits[0]}{'.' + digits[1:] if k > 1 else ''}e{power}"


def _write(value: Plain) -> str:
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return number_text(value)
    if isinstance(value, str):
        return json.dumps(plain_text(value), ensure_ascii=False)
    if isinstance(value, Mapping):
        return _write_table(value)
    if isinstance(value, list | tuple):
        return "[" + ",".join(_write(one) for one in value) + "]"
    raise TypeError(f"a {type(value).__name__} has no canonical form")


def _write_table(table: Mapping[str, Plain]) -> str:
    named: dict[str, Plain] = {}
    for key, value in table.items():
        if not isinstance(key, str):
            raise TypeError(f"key {key!r} is not text")
        if plain_text(key) in named:
            raise ValueError(f"key {key!r} stands twice in one table")
        named[plain_text(key)] = value
    keys = sorted(named, key=lambda key: key.encode("utf-16-be", "surrogatepass"))
    return "{" + ",".join(f"{_write(key)}:{_write(named[key])}" for key in keys) + "}"
