"""Stamps: short codes to punch in plates that cannot be misread, mixed up or turned into dates.

A stamp begins with a letter, so no spreadsheet takes it for a number such as 7E5 or a date.  I,
O, Q, S, Z, B, G, U, W and 0, 1, 5, 8, 9 are left out because a worn punch makes them look like
something else.  The last letter is worked out from the others, so any two stamps differ in at
least two places: one wrong character never turns a stamp into another.

The rule: number the letters 0 to 16.  The last letter is the first plus a shift that belongs to
the digit, modulo 17, and in a four-character stamp plus twice the third as well.  The shifts are
different and not 0, so a stamp read backwards is not a stamp either.

References
----------
Hamming (1950). Error detecting and error correcting codes. *Bell System Technical Journal*
29(2):147 (a check character gives a distance of two: errors are seen, not mended).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

from weldtrial.doe.draw import Draw
from weldtrial.shared.problems import PlanRefused

LETTERS = "ACDEFHJKLMNPRTVXY"
DIGITS = "23467"
_SHIFT = dict(zip(DIGITS, (3, 5, 7, 11, 13), strict=True))

SHORT_STAMPS = len(LETTERS) * len(DIGITS)
"""Stamps of three characters there are: 85."""
MOST_STAMPS = SHORT_STAMPS * len(LETTERS)
"""Stamps of four characters there are: 1445."""

# Pairs that a worn punch, a pencil or a phone screen confuses.  Common practice, no source.
_CONFUSED = (
    "0D OD QD 0C OC QC GC G6 CD 1L IL 1T IT 17 I7 Z2 27 T7 A4 E3 B3 83 EF PR RK KX XY VY UV "
    "WM NM NH HM HK JT LT 56 S6 86 B6 94 97"
)
_LOOK_ALIKE = {frozenset(pair) for pair in _CONFUSED.split()}


def _check_letter(first: int, digit: str, third: int = 0) -> str:
    return LETTERS[(first + _SHIFT[digit] + 2 * third) % len(LETTERS)]


def short_stamps() -> tuple[str, ...]:
    """Return all 85 stamps of three characters, in alphabetical order."""
    return tuple(
        letter + digit + _check_letter(i, digit)
        for i, letter in enumerate(LETTERS)
        for digit in DIGITS
    )


def long_stamps() -> tuple[str, ...]:
    """Return all 1445 stamps of four characters, in alphabetical order."""
    return tuple(
        first + digit + third + _check_letter(i, digit, j)
        for i, first in enumerate(LETTERS)
        for digit in DIGITS
        for j, third in enumerate(LETTERS)
    )


def stamps(draw: Draw, count: int, taken: Collection[str] = ()) -> tuple[str, ...]:
    """Return `count` different stamps in a drawn order that tells nothing of the settings.

    Up to 85 they have three characters, beyond that four; never both in one trial.  Those `taken`
    by coupons of an earlier trial are left out.

    Raises
    ------
    PlanRefused
        If more than 1445 are wanted.
    ValueError
        If `count` is negative.
    """
    if count < 0:
        raise ValueError("a number of stamps is not negative")
    if count > MOST_STAMPS:
        raise PlanRefused(
            f"{count} coupons need more stamps than there are ({MOST_STAMPS}).",
            hint="split the trial in two",
        )
    codes = short_stamps() if count + len(taken) <= SHORT_STAMPS else long_stamps()
    codes = tuple(code for code in codes if code not in taken)
    return draw.shuffle(codes)[:count]


def is_stamp(text: str) -> bool:
    """Tell whether `text` could be a stamp of some trial: right characters, right last letter."""
    if len(text) not in (3, 4) or text[0] not in LETTERS or text[1] not in DIGITS:
        return False
    if text[2] not in LETTERS or text[-1] not in LETTERS:
        return False
    third = LETTERS.index(text[2]) if len(text) == 4 else 0
    return text[-1] == _check_letter(LETTERS.index(text[0]), text[1], third)


def nearest_stamp(text: str, known: Iterable[str]) -> str | None:
    """Return the one known stamp that `text` is nearest to, to ask about and never to assume.

    Case and spaces do not count.  A character that looks like the right one counts as half a
    wrong one, and at most one wrong character is bridged.  When two known stamps are equally
    near there is no answer: the plate has to be looked at.
    """
    typed = "".join(text.split()).upper()
    distances = sorted(
        (_distance(typed, stamp), stamp) for stamp in set(known) if len(stamp) == len(typed)
    )
    if not distances or distances[0][0] > 2:
        return None
    if len(distances) > 1 and distances[1][0] == distances[0][0]:
        return None
    return distances[0][1]


def _distance(typed: str, stamp: str) -> int:
    """Count half wrong characters: 1 for a look-alike, 2 for any other."""
    return sum(
        0 if a == b else 1 if frozenset((a, b)) in _LOOK_ALIKE else 2
        for a, b in zip(typed, stamp, strict=True)
    )
