"""One cell of somebody's spreadsheet: a reading, a measure beside it, a time of day."""

from __future__ import annotations

import re
from collections.abc import Mapping

from weldtrial.shared.claimed import fits
from weldtrial.shared.data_file import MISSING, DataFile
from weldtrial.shared.review_columns import Columns
from weldtrial.shared.spreadsheet_dates import date_words
from weldtrial.shared.welded_order import parse_started

_BEYOND = re.compile(r"([<>≥≤])\s*=?\s*(.+)")
_LOST = frozenset(["lost", "spoiled", "spoilt", "scrapped"])


def reading(text: str, cells: DataFile) -> tuple[float | None, str, str]:
    """Return the reading of a cell, on which side of a limit it lies, and what is wrong with it."""
    if text in MISSING or text.casefold() in _LOST:
        return None, "", ""
    beyond = _BEYOND.fullmatch(text)
    number = cells.number(beyond[2] if beyond else text)
    if number is not None and not fits(number):
        words = (
            f"'{text}' is too {'large' if abs(number) > 1 else 'small'} to be weighed. Check it, "
            "or write the column in a unit that suits it."
        )
        return None, "", words
    if number is not None:
        return number, ("" if not beyond else "above" if beyond[1] in ">≥" else "below"), ""
    if (meant := date_words(text)) is not None:
        was = f"{meant} into a date" if meant != "a number" else "a number into a date"
        words = (
            f"'{text}': a spreadsheet has turned {was}. Set the column to Text and type it again "
            "from the paper sheet; the original figure cannot be recovered with certainty."
        )
        return None, "", words
    words = (
        f"'{text}' is not a reading. Write a number, >90 (did not break), lost, or leave it empty."
    )
    return None, "", words


def measure(cells: DataFile, text: str) -> float | None:
    """Return the number of a cell beside the reading, None where it is none that fits."""
    number = cells.number(text)
    return number if number is not None and fits(number) else None


def minute(row: Mapping[str, str], columns: Columns) -> float | None:
    """Return when a row was written, in minutes; None without a time of day."""
    text = row.get(columns.of("time"), "") or row.get(columns.of("day"), "")
    found = parse_started(text)
    if found is None:
        return None
    day = found.day.toordinal() if found.day else hash_of_day(row.get(columns.of("day"), ""))
    return day * 1440.0 + found.minutes


def hash_of_day(text: str) -> int:
    """Return a number that stands for a day's name, so that times of two days never meet."""
    return int.from_bytes(text.strip().casefold().encode("utf-8")[:6], "big")
