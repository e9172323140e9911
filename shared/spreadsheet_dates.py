"""Numbers that a spreadsheet has turned into dates: recognised, never turned back."""

from __future__ import annotations

import re

_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan january januar janvier enero",
            "feb february februar fév février febrero",
            "mar march mär märz mrz mars marzo",
            "apr april avr avril abr abril",
            "may mai mayo",
            "jun june juni juin junio",
            "jul july juli juil juillet julio",
            "aug august août ago agosto",
            "sep sept september septembre septiembre",
            "oct october okt oktober octobre octubre",
            "nov november novembre noviembre",
            "dec december dez dezember déc décembre dic diciembre",
        ),
        start=1,
    )
    for name in names.split()
}
_DAY_MONTH = re.compile(r"(\d{1,2})[. \-/]+([^\W\d_]+)\.?([ \-/]+\d{2,4})?")
_MONTH_NUMBER = re.compile(r"([^\W\d_]+)\.?[ \-/]+(\d{1,4})")
_NUMERIC = re.compile(r"\d{4}[\-/.]\d{1,2}[\-/.]\d{1,2}|\d{1,2}[\-/.]\d{1,2}[\-/.](\d{4}|\d{2})")


def date_words(text: str) -> str | None:
    """Say what `text`, if it is a date, was most likely typed as; None if it is no date.

    ``"25 May"`` gives ``"25.5"``; a date in figures alone gives ``"a number"``, since either
    part may have been the day.
    """
    plain = text.strip().casefold()
    plain = re.sub(r"[ t]\d{1,2}:\d{2}(:\d{2})?$", "", plain)
    if (found := _DAY_MONTH.fullmatch(plain)) and found[2] in _MONTHS:
        return f"{int(found[1])}.{_MONTHS[found[2]]}"
    if (found := _MONTH_NUMBER.fullmatch(plain)) and found[1] in _MONTHS:
        return f"{_MONTHS[found[1]]}.{found[2]}"
    return "a number" if _NUMERIC.fullmatch(plain) else None
