"""One letter for each place where a weld may break."""

from __future__ import annotations

from weldtrial.shared.responses import FAILED_AT, Response

_LETTERS = {
    "throat": "h",
    "toe": "t",
    "root": "r",
    "fusion line": "f",
    "HAZ": "z",
    "plate": "p",
    "folded flat": "d",
    "slipped": "s",
}


def letters(response: Response) -> dict[str, str]:
    """Return the places that a response may name, by letter."""
    places = (*response.where, "slipped") if response.where else FAILED_AT
    found: dict[str, str] = {}
    for place in dict.fromkeys(places):
        wanted = [_LETTERS.get(place, ""), *place.casefold(), *"123456789"]
        free = next(one for one in wanted if one.strip() and one not in found)
        found[free] = place
    return found


def spelled(place: str, letter: str) -> str:
    """Return a place with its letter marked: ``t[h]roat``."""
    at = place.casefold().find(letter)
    if at < 0:
        return f"[{letter}] {place}"
    return f"{place[:at]}[{letter}]{place[at + 1 :]}"
