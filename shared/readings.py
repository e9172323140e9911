"""The grammar of a reading, and readings that look like a slip of the hand.

::

    84.2        read              >90         held when the gauge stopped
    80..90      happened between  <0.2        below what can be read
    lost        spoiled           (empty)     not read yet
    pass fail   or a grade of the response's own scale

A number may carry another unit of the same kind (``18950 lbf`` in a column of kN).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from statistics import median

from weldtrial.shared.csvtable import clean
from weldtrial.shared.problems import Problem, WeldtrialError, nearest
from weldtrial.shared.record import Reading
from weldtrial.shared.responses import FAILED_AT, Response
from weldtrial.shared.rounding import spaced
from weldtrial.shared.spreadsheet_dates import date_words
from weldtrial.shared.units import canonical, kind, parse_number, parse_quantity

NEVER_NEGATIVE = frozenset({"force", "hardness", "mass", "time", "mass rate"})
"""Kinds of unit in which nothing on a weld can read below zero."""

_BETWEEN = re.compile(r"(.*?\d.*?)(?:\.\.+|…)(.*\d.*)")
_UNIT_AT_END = re.compile(r"[^\d.,<>+\-\s/].*$")


def parse_reading(
    text: str, response: Response, decimal: str = ".", *, unit: str | None = None
) -> Reading | Problem:
    """Return the reading that `text` spells, in the response's unit, or what is wrong with it.

    Parameters
    ----------
    text
        As typed, not empty: an empty cell is no reading.
    decimal
        The decimal sign.
    unit
        The unit of a bare number, where a header names another than the response's.

    Returns
    -------
    Reading or Problem
        The problem has `words`, `column` and `value`; whoever knows the file and the row adds
        them.
    """
    plain = clean(text).replace("\u2212", "-").replace("\uff1e", ">").replace("\uff1c", "<")
    word = plain.casefold()
    if word == "lost":
        return Reading("lost", text=plain)
    if response.kind == "pass-fail":
        found = _pass_or_fail(plain, word)
    elif response.kind == "graded":
        found = _grade(plain, word, response)
    else:
        found = _number(plain, response, decimal, unit or response.unit)
    return found if isinstance(found, Reading) else _wrong(found, plain)


def _wrong(words: str, value: str) -> Problem:
    return Problem(words, column="reading", value=value)


def _pass_or_fail(plain: str, word: str) -> Reading | str:
    if word == "pass":
        return Reading("pass", text=plain)
    if word == "fail":
        return Reading("fail", text=plain)
    meant = _meant(word, ("pass", "fail"))
    return (
        f"'{plain}' is not a reading.{meant} Write pass, fail, lost (with a reason in note), or "
        f"{_NOT}"
    )


def _meant(word: str, choices: Sequence[str]) -> str:
    """Suggest the nearest of the words that are allowed."""
    close = nearest(word, [one.casefold() for one in choices])
    meant = next((one for one in choices if one.casefold() == close), None)
    return f" Did you mean {meant}?" if meant else ""


_NOT = "leave it empty for not-yet-read."


def _grade(plain: str, word: str, response: Response) -> Reading | str:
    for grade in response.scale:
        if grade.casefold() == word:
            return Reading("grade", text=grade)
    grades, meant = ", ".join(response.scale), _meant(word, response.scale)
    return (
        f"'{plain}' is not a grade.{meant} Write one of {grades}, lost (with a reason in note), or "
        f"{_NOT}"
    )


def _number(plain: str, response: Response, decimal: str, unit: str) -> Reading | str:
    instead = date_words(plain)
    if instead is not None:
        return (
            f"'{plain}' – your spreadsheet has turned {instead} into a date. Set the column to "
            "Text and re-enter from the paper sheet; the original figure cannot be recovered "
            "safely."
        )
    try:
        reading = _parts(plain, response.unit, unit, decimal)
    except WeldtrialError as error:
        return _why(plain, response, error)
    if reading is not None and canonical(unit) != canonical(response.unit):
        # A bare number under a header of another unit must not be taken for the response's own.
        reading = replace(reading, text=_with_unit(plain, unit))
    if reading is None:
        return f"'{plain}' is the wrong way round: write the smaller number first, as in 80..90."
    return _within_limits(reading, response) or reading


def _parts(plain: str, wanted: str, unit: str, decimal: str) -> Reading | None:
    """Return the reading; None for a "between" that is upside down."""

    def number(part: str) -> float:
        part = part.strip()
        written = _UNIT_AT_END.search(part)
        return parse_quantity(part if written else f"{part} {unit}", wanted, decimal=decimal)

    if plain.startswith(">"):
        return Reading("above", low=number(plain[1:]), text=plain)
    if plain.startswith("<"):
        return Reading("below", high=number(plain[1:]), text=plain)
    between = _BETWEEN.fullmatch(plain)
    if between is None:
        return Reading("number", value=number(plain), text=plain)
    first, last = between[1], between[2]
    tail = _UNIT_AT_END.search(last)
    if tail is not None and _UNIT_AT_END.search(first) is None:
        first = f"{first} {tail[0]}"
    low, high = number(first), number(last)
    return Reading("between", low=low, high=high, text=plain) if low < high else None


def _with_unit(plain: str, unit: str) -> str:
    return plain if _UNIT_AT_END.search(plain) else f"{plain} {canonical(unit)}"


def _why(plain: str, response: Response, error: WeldtrialError) -> str:
    """Say what is wrong with text that is no reading."""
    stop = 90 if response.most is None else response.most
    if re.match(r"[≥≤]|[<>]=", plain):
        return f"'{plain}': write >{stop:g} for what had not broken when the gauge stopped."
    if re.fullmatch(r"\d[\d.,]* ?[–—-] ?\d[\d.,]*", plain):
        low, high = re.split(r" ?[–—-] ?", plain)
        return f"'{plain}' is not a reading. If it happened between the two, write {low}..{high}"
    words = error.words
    if re.match(r"[<>]?\s*[+-]?[\d.,]", plain) and ":" not in plain and "plain number" not in words:
        return words
    if response.most is None and kind(response.unit) not in ("force", "angle"):
        unit = spaced(canonical(response.unit)).strip()
        number = f"a number ({unit})" if unit else "a number"
        return (
            f"'{plain}' is not a reading. Write {number}, lost (with a reason in note), or {_NOT}"
        )
    return (
        f"'{plain}' is not a reading. Write >{stop:g} (did not break), 80..90 (between), "
        f"lost (with a reason in note), or {_NOT}"
    )


def _within_limits(reading: Reading, response: Response) -> str | None:
    """Say where a reading passes the gauge's limits, or None."""
    ends = [one for one in (reading.value, reading.low, reading.high) if one is not None]
    low, high = min(ends), max(ends)
    shown = reading.text
    if response.most is not None and high > response.most:
        return (
            f"{shown} is above the gauge limit {response.most:g}. Write >{response.most:g} if it "
            "had not broken, or change the limit openly:  weldtrial seal --amend."
        )
    if response.least is not None and low < response.least:
        return (
            f"{shown} is below the gauge limit {response.least:g}. Write <{response.least:g} if "
            "nothing could be read, or change the limit openly:  weldtrial seal --amend."
        )
    if low < 0 and kind(response.unit) in NEVER_NEGATIVE:
        return f"{shown} is below zero, and {response.title} cannot be. Check the paper sheet."
    return None


def same_reading(first: Reading, second: Reading) -> bool:
    """Tell whether two readings say the same, however they are spelt."""

    def key(one: Reading) -> tuple[object, ...]:
        return (one.kind, one.value, one.low, one.high, one.text if one.kind == "grade" else "")

    return key(first) == key(second)


# ------------------------------------------------------------------ where it broke


def parse_failed_at(text: str, response: Response) -> str | Problem:
    """Return where it broke, spelt as the list spells it, or what is wrong."""
    plain = clean(text)
    places = (*response.where, *(place for place in FAILED_AT if place not in response.where))
    word = plain.casefold().replace("-", " ").replace("_", " ")
    if not plain:
        return ""
    for place in places:
        if place.casefold() == word:
            return place
    allowed = dict.fromkeys((*response.where, "slipped") if response.where else FAILED_AT)
    close = nearest(word, [place.casefold() for place in places])
    hint = f" Did you mean '{close}'?" if close else ""
    words = f"'{plain}' is not a place where it breaks.{hint} The list is {', '.join(allowed)}."
    return Problem(words, column="failed_at", value=plain)


def placed(reading: Reading, failed_at: str) -> Reading:
    """Return the reading with where it broke taken into account.

    A plate that tears before the weld makes the number "at least"; a piece that slipped in the
    jig was not tested at all.
    """
    if failed_at == "slipped":
        return replace(reading, kind="lost", value=None, low=None, high=None, failed_at=failed_at)
    if failed_at == "plate" and reading.kind == "number":
        return replace(reading, kind="above", low=reading.value, value=None, failed_at=failed_at)
    return replace(reading, failed_at=failed_at)


def odd_place(reading: Reading, response: Response) -> str:
    """Say that a place is not one of the response's own list; empty where it is."""
    if not response.where or reading.failed_at in ("", "slipped", *response.where):
        return ""
    return (
        f"'{reading.failed_at}' is not among the places listed for {response.title} "
        f"({', '.join(response.where)}). It is kept; look at the paper sheet."
    )


# ------------------------------------------------------------------ limits and stops


def odd_limit(reading: Reading, response: Response) -> str:
    """Say what is odd about a limit or an interval, in words; empty where nothing is."""
    unit = spaced(canonical(response.unit))
    if reading.kind == "above" and reading.failed_at != "plate":
        return _odd_end(reading.text, ">", reading.low, response.most, "most", unit)
    if reading.kind == "below":
        return _odd_end(reading.text, "<", reading.high, response.least, "least", unit)
    if reading.kind == "between" and response.stops is not None:
        assert reading.low is not None
        assert reading.high is not None
        wide, stops = reading.high - reading.low, response.stops
        if abs(wide - stops) > 1e-6 * stops:
            side = "wider" if wide > stops else "narrower"
            return (
                f"{reading.text} is {side} than two neighbouring stops, {stops:g}{unit} apart. "
                "Write the last stop it held and the first it did not; if it is right, say why in "
                "note."
            )
    return ""


def _odd_end(
    text: str, sign: str, end: float | None, limit: float | None, key: str, unit: str
) -> str:
    """Say what is odd about a reading beyond a limit that is not the gauge's."""
    assert end is not None
    side = "at least" if sign == ">" else "at most"
    if limit is None:
        return (
            f"{text}, but trial.toml gives the gauge no limit there ({key}). It counts as {side} "
            f"{end:g}{unit}; if it is right, say in note why nothing was read."
        )
    if abs(end - limit) <= 1e-9 * max(1.0, abs(limit)):
        return ""
    return (
        f"{text}, but the gauge limit is {limit:g}. Write {sign}{limit:g} if the gauge stopped; as "
        f"it stands it counts as {side} {end:g}{unit}, and if that is right say why in note."
    )


# ------------------------------------------------------------------ slips


@dataclass(frozen=True, slots=True)
class Slip:
    """Why a reading looks like a slip, and what may have been meant (empty when unclear)."""

    words: str
    meant: str = ""


def find_slip(
    reading: Reading,
    response: Response,
    others: Sequence[float],
    decimal: str = ".",
    *,
    enough: int = 3,
) -> Slip | None:
    """Return why a reading looks mistyped, or None.

    Doubted are a number ten times or a tenth of what the others read, a number far from all of
    them, and more decimals than the gauge reads to.  A number may still be right: a person
    decides.

    Parameters
    ----------
    others
        The other readings of the response that are numbers.
    enough
        How many others tell something; with fewer, `response.typical` stands in for them.  One
        is enough for a number that is finer than the gauge, too.
    """
    if reading.kind != "number" or reading.value is None:
        return None
    reasons = []
    bare = _bare_decimal(reading.text, decimal)
    finer = bare is not None and _finer(bare, response.reads_to)
    known = list(others) if len(others) >= (1 if finer else enough) else []
    if not known and response.typical is not None:
        known = [response.typical.mean]
    times = _ten_times(reading.value, known)
    unit = canonical(response.unit)
    if times:
        reasons.append(f"is {'ten times' if times == 10 else 'a tenth of'} what the others read")
    elif _far(reading.value, known):
        reasons.append(f"is far from what the others read (about {median(known):g})")
    if finer:
        beginning = "the gauge reads" if reasons else "is finer than the gauge, which reads"
        reasons.append(f"{beginning} to {response.reads_to:g}")
    if not reasons:
        return None
    words = f"{reading.text} {unit if bare is not None else ''}".strip()
    meant = _shifted(bare, times) if bare is not None and times else ""
    return Slip(f"{words} {', and '.join(reasons)}.", meant.replace(".", decimal))


def _ten_times(value: float, others: Sequence[float]) -> int:
    """Return 10, -10 (a tenth) or 0."""
    if not others or min(others) <= 0 or min(others) / 2 <= value <= 2 * max(others):
        return 0
    for times, back in ((10, value / 10), (-10, value * 10)):
        if min(others) / 1.5 <= back <= 1.5 * max(others):
            return times
    return 0


def _far(value: float, others: Sequence[float]) -> bool:
    return (
        len(others) >= 3 and min(others) > 0 and not (min(others) / 5 <= value <= 5 * max(others))
    )


def _bare_decimal(text: str, decimal: str) -> Decimal | None:
    """Return the number as typed, or None where a unit stands with it."""
    try:
        parse_number(text, decimal=decimal)
        return Decimal(text.replace(decimal, "."))
    except (WeldtrialError, InvalidOperation):
        return None


def _finer(typed: Decimal, step: float | None) -> bool:
    """Tell whether a number has digits that the gauge does not read."""
    return bool(step) and Fraction(typed) % Fraction(repr(step)) != 0


def _shifted(typed: Decimal, times: int) -> str:
    """Return the number with its point moved back, in plain digits."""
    return format(typed.scaleb(-1 if times == 10 else 1), "f")
