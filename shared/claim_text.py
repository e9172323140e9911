"""A claim in a few plain words: "ratio 0.97", "at least 5 % worse", "2 times", "alike"."""

from __future__ import annotations

import re

from weldtrial.shared.claimed import Claim, Direction, fits
from weldtrial.shared.problems import Problem, WeldtrialError, nearest
from weldtrial.shared.units import parse_number

HOW = (
    "Write it as: ratio 0.97 | breaks at 0.97 of the load | 2 times | 3 % worse | difference -5 | "
    "no difference | at least 5 % worse | at most 5 better | worse | better."
)
_WORDS = (
    "ratio", "times", "difference", "worse", "better", "least", "most", "no", "equal",
    "twice", "double", "half", "at",
)  # fmt: skip
_SIDES: dict[str, Direction] = {
    "worse": "worse", "weaker": "worse", "less": "worse", "lower": "worse", "loss": "worse",
    "better": "better", "stronger": "better", "more": "better", "higher": "better",
    "gain": "better",
}  # fmt: skip
_SIDE = "|".join(_SIDES)
_NUMBER = r"([+\-\u2212]?[0-9]*[.,]?[0-9]+)"
_NAMED = {"twice": 2.0, "double": 2.0, "half": 0.5}
_UNIT = rf"(?!(?:{_SIDE})\b)(%|[a-z/²·]+)"
_ALIKE = r"(?:no|not any) (?:difference|change)|equal|alike|same"
_WHERE = "review --claim"


def parse_claim(text: str) -> tuple[Claim | None, list[Problem]]:
    """Read a claim about new against old.

    "Worse" and "better" are by the response's own good direction; "weaker" and "less" are read as
    worse, "stronger" and "more" as better.

    Returns
    -------
    tuple
        The claim, None with a problem where it cannot be read.
    """
    plain = re.sub(r"\s+", " ", text.strip().lower().replace("\u2212", "-")).rstrip(".")
    if not plain:
        return None, [Problem(f"the claim is empty. {HOW}", _WHERE, value=text)]
    try:
        claim = _read(text.strip(), plain)
    except WeldtrialError as error:
        return None, [Problem(error.words, _WHERE, value=text)]
    if claim is None:
        return None, [Problem(f"{text.strip()!r} is not a claim I can hold against numbers."
                              f"{_meant(plain)} {HOW}", _WHERE, value=text)]  # fmt: skip
    problems = list(_odd(claim, text))
    return (None, problems) if problems else (claim, [])


def _read(text: str, plain: str) -> Claim | None:
    if re.fullmatch(_ALIKE, plain):
        return Claim(text, "no-difference")
    if found := re.fullmatch(rf"(?:ratio|factor) ?=?:? ?{_NUMBER}|{_NUMBER} ?(?:times|x|×)", plain):
        return Claim(text, "ratio", _value(found[1] or found[2]))
    if found := re.fullmatch(rf"({'|'.join(_NAMED)})(?: the .*| as .*)?", plain):
        return Claim(text, "ratio", _NAMED[found[1]])
    if found := re.fullmatch(rf"(?:[a-z ]*\bat |is )?{_NUMBER} ?(%)? of .*", plain):
        # "breaks at 0.97 of the load", "97 % of the mix's load"
        value = _value(found[1])
        return Claim(text, "ratio", value / 100 if found[2] else value)
    if found := re.fullmatch(rf"difference ?=?:? ?{_NUMBER} ?(%|[^\d\s].*)?", plain):
        value, percent = _value(found[1]), found[2] == "%"
        return Claim(text, "difference", value / 100 if percent else value, percent)
    if found := re.fullmatch(rf"{_NUMBER} ?(?:{_UNIT})? ?({_SIDE})", plain):
        return _one_way(text, None, found[1], found[2], _SIDES[found[3]])
    least = r"(?:loses |gains |by )?(?:at least|at most|no more than|up to|more than)"
    if found := re.fullmatch(rf"({least}) {_NUMBER} ?(?:{_UNIT})?(?: ?({_SIDE}))?", plain):
        word = found[4] or ("loss" if "loses" in found[1] else "gain")
        if found[4] is None and not re.match("loses|gains", found[1]):
            return None
        kind = "at-least" if re.search("least|more than", found[1]) else "at-most"
        kind = "at-most" if "no more" in found[1] else kind
        return _one_way(text, kind, found[2], found[3], _SIDES[word])
    if found := re.fullmatch("(?:no|not) (worse|weaker|lower|less)", plain):
        return Claim(text, "at-most", None, False, _SIDES[found[1]])
    if plain in _SIDES:
        return Claim(text, "at-least", 0.0, False, _SIDES[plain])
    return None


def _one_way(text: str, kind: str | None, number: str, unit: str | None, way: Direction) -> Claim:
    value, percent = _value(number), unit == "%"
    size = value / 100 if percent else value
    if kind is None:
        # A bare "3 % worse" is a figure: which sign it has depends on which way is good.
        return Claim(text, "difference", size, percent, way)
    return Claim(text, "at-least" if kind == "at-least" else "at-most", size, percent, way)


def _value(text: str) -> float:
    return parse_number(text, decimal="," if "," in text else ".")


def _odd(claim: Claim, text: str) -> list[Problem]:
    value = claim.value
    if value is not None and not fits(value):
        size = "large" if abs(value) > 1 else "small"
        return [Problem(f"{text.strip()!r} names a figure too {size} to be weighed. Check it.",
                        _WHERE, value=text)]  # fmt: skip
    if claim.kind == "ratio" and value is not None and value <= 0:
        return [Problem(f"a ratio of {value:g} cannot be: new over old is above 0.", _WHERE,
                        value=text)]  # fmt: skip
    if claim.direction is not None and value is not None and value < 0:
        words = f"{text.strip()!r} says a direction twice. Leave out the minus."
        return [Problem(words, _WHERE, value=text)]
    if claim.percent and value is not None and claim.direction == "worse" and value >= 1:
        return [Problem(f"{text.strip()!r}: nothing loses 100 % or more and is still measured.",
                        _WHERE, value=text)]  # fmt: skip
    return []


def _meant(plain: str) -> str:
    """Return the nearest known word for the first unknown one."""
    known = {*_WORDS, *_SIDES, "than", "loses", "gains", "equal", "alike", "more", "up", "to"}
    for word in re.findall(r"[a-z]{3,}", plain):
        if word not in known and (guess := nearest(word, sorted(known))):
            return f" For {word!r} did you mean {guess!r}?"
    return ""
