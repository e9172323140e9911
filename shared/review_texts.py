"""Short texts on the command line of a review: counts, averages, studies, margins.

Each reader returns what it understood beside every problem it found, and nothing where a problem
leaves a gap.  Two sides, the first the new one; between them a comma, or a semicolon, and then
numbers may have decimal commas.
"""

from __future__ import annotations

import re
from dataclasses import replace

from weldtrial.shared.claimed import Evidence, Side, Stated, Study, fits
from weldtrial.shared.problems import Problem, WeldtrialError, nearest
from weldtrial.shared.responses import Margin
from weldtrial.shared.units import parse_number

COUNTS = 'write both sides as events of coupons, the new one first: "new 3/4, before 0/12".'
SUMMARY = (
    "write both sides as name, mean, standard deviation, coupons, the new one first: "
    '"new 68.2 4.4 4, old 70.3 3.8 4".'
)
STUDY = (
    "write a study as name, difference (new minus old), its standard error: "
    '"shop A -2.1 se 0.9"; or with its 95 % interval: "shop A -2.1 -3.9..-0.3".'
)
_KEYWORDS = ("mean", "sd", "se", "n")
_NUMBER = r"[+\-\u2212]?[0-9]*[.,]?[0-9]+"
_RANGE = re.compile(rf"({_NUMBER})\.\.({_NUMBER})")
_COUNT = re.compile(r"(.*?)[\s:]*(\S+)\s*(?:/|\bof\b)\s*(\S+)(?:\s+in\s+(\S+)\s+set-?ups?)?", re.I)


def parse_counts(text: str, *, what: str = "") -> tuple[Evidence | None, list[Problem]]:
    """Read ``new 3/4, before 0/12``; ``3 of 4`` and ``0/12 in 3 set-ups`` are read too.

    Parameters
    ----------
    what
        What was counted, such as ``porous``.
    """
    where, problems, sides = "review --counts", list[Problem](), list[Side]()
    parts = _sides(text)
    if len(parts) != 2:
        return None, [_two_sides(where, text, parts, COUNTS)]
    for place, part in enumerate(parts):
        found = _COUNT.fullmatch(part.strip())
        if found is None:
            problems.append(
                Problem(f"{part.strip()!r} is not a count: {COUNTS}", where, value=part)
            )
            continue
        name = found[1].strip() or ("new", "old")[place]
        side = _counted(where, name, found[2], found[3], found[4], problems)
        if side is not None:
            sides.append(side)
    problems += _same_names(where, sides)
    if problems or len(sides) != 2:
        return None, problems
    return Evidence("counts", sides[0], sides[1], what=what, better="lower"), []


def parse_summary(text: str, *, unit: str = "") -> tuple[Evidence | None, list[Problem]]:
    """Read averages: ``new 68.2 4.4 4, old 70.3 3.8 4``, name, mean, sd and coupons.

    Words may say what a number is: ``new 68.2 se 2.2 n 4``; the 95 % interval of a mean may stand
    for its sd: ``new 68.2 61.2..75.2 4``; where only a p is known: ``new n 4, old n 4, p 0.03``.
    A side of one coupon is a warning: nothing but its place in the other's range can be told.
    """
    where, problems, sides, stated = "review --summary", list[Problem](), list[Side](), Stated()
    parts = []
    for part in _sides(text):
        if re.fullmatch(r"\s*p\s*=?\s*\S+\s*", part, re.I):
            stated = _stated_p(where, part, problems)
        else:
            parts.append(part)
    if len(parts) != 2:
        return None, [*problems, _two_sides(where, text, parts, SUMMARY)]
    for place, part in enumerate(parts):
        side = _averaged(where, part, ("new", "old")[place], stated.p is not None, problems)
        if side is not None:
            sides.append(side)
    problems += _same_names(where, sides)
    if len(sides) == 2 and not any(one.warning is False for one in problems):
        return Evidence("summary", sides[0], sides[1], unit, stated=stated), problems
    return None, problems


def parse_studies(texts: list[str], *, unit: str = "") -> tuple[Evidence | None, list[Problem]]:
    """Read several studies of one difference, each ``shop A -2.1 se 0.9``."""
    where, problems, studies = "review --study", list[Problem](), list[Study]()
    for place, text in enumerate(texts, 1):
        study = _study(where, text, f"study {place}", problems)
        if study is not None:
            studies.append(study)
    names = [one.name for one in studies]
    for name in dict.fromkeys(names):
        if names.count(name) > 1:
            problems.append(
                Problem(f"two studies are called {name!r}. Give each its own name.", where)
            )
    if len(texts) == 1:
        problems.append(
            Problem("one study is nothing to pool: give --study again for each, or use --summary.",
                    where, value=texts[0])
        )  # fmt: skip
    if problems or not studies:
        return None, problems
    blank = Evidence("studies", Side("new", 0), Side("old", 0), unit)
    return replace(blank, studies=tuple(studies)), []


def parse_margin(text: str) -> tuple[Margin | None, list[Problem]]:
    """Read ``5 %`` or ``5 kN`` or ``5``: a loss that would not matter."""
    where, plain = "review --margin", text.strip()
    found = re.fullmatch(rf"({_NUMBER})\s*(%|\S.*)?", plain)
    if found is None:
        return None, [Problem(f"{text!r} is not a margin. Write 5% or 5.", where, value=text)]
    problems = list[Problem]()
    number = _number(where, "the margin", found[1], problems)
    if number is None:
        return None, problems
    if number <= 0 or (found[2] == "%" and number >= 100):
        ends = "above 0 and below 100 %" if found[2] == "%" else "above 0"
        words = f"a margin is the loss that would not matter, {ends}: got {text.strip()!r}."
        return None, [Problem(words, where, value=text)]
    return Margin(number / 100, True) if found[2] == "%" else Margin(number), []


# ------------------------------------------------------------------------------ one side


def _sides(text: str) -> list[str]:
    """Part a text at semicolons, else at commas that do not stand between two figures."""
    parts = text.split(";") if ";" in text else re.split(r",(?![0-9])|(?<![0-9]),", text)
    return [part.strip() for part in parts if part.strip()]


def _two_sides(where: str, text: str, parts: list[str], how: str) -> Problem:
    count = {0: "nothing", 1: "one side only"}.get(len(parts), f"{len(parts)} sides")
    return Problem(f"{text!r} has {count}, a comparison has two: {how}", where, value=text)


def _same_names(where: str, sides: list[Side]) -> list[Problem]:
    if len(sides) == 2 and sides[0].name == sides[1].name:
        words = f"both sides are called {sides[0].name!r}. Name them apart, the new one first."
        return [Problem(words, where, value=sides[0].name)]
    return []


def _counted(
    where: str, name: str, some: str, of: str, setups: str | None, problems: list[Problem]
) -> Side | None:
    got = [
        _whole(where, f"{what} of {name!r}", text, problems)
        for what, text in (("events", some), ("coupons", of), ("set-ups", setups or "1"))
    ]
    if None in got:
        return None
    passed, n, units = (one or 0 for one in got)
    if n == 0:
        problems.append(Problem(f"0 coupons for {name!r}: there is nothing to compare.", where))
    elif passed > n:
        words = f"{passed} of {n} cannot be for {name!r}: no more can fail than there are. "
        turn = f"Did you mean {n}/{passed}?"
        problems.append(Problem(words + turn, where, value=f"{passed}/{n}"))
    elif setups is not None and not 1 <= units <= n:
        words = f"{units} set-ups for {n} coupons of {name!r}: from 1 to {n} can be."
        problems.append(Problem(words, where, value=setups))
    else:
        return Side(name, n, passed=passed, setups=units if setups is not None else None)
    return None


def _averaged(
    where: str, part: str, usual: str, p_known: bool, problems: list[Problem]
) -> Side | None:
    """Read one side of a summary."""
    name, tokens = _named(part, usual)
    said, got, plain = "", dict[str, str](), list[str]()
    interval: tuple[str, str] | None = None
    before = len(problems)
    for token in tokens:
        if said:
            got[said], said = token, ""
        elif token.lower() in _KEYWORDS:
            said = token.lower()
        elif found := _RANGE.fullmatch(token):
            interval = (found[1], found[2])
        elif re.fullmatch(_NUMBER, token):
            plain.append(token)
        else:
            guess = nearest(token.lower(), _KEYWORDS)
            also = f" Did you mean {guess!r}?" if guess else ""
            words = f"{token!r} of {name!r} is neither a number nor sd, se or n.{also}"
            problems.append(Problem(words, where, value=token))
    wanted = [key for key in ("mean", "sd", "n") if key not in got]
    if "se" in got or interval is not None:
        wanted.remove("sd")
    if p_known and len(plain) < len(wanted) and "n" in wanted:
        wanted = ["n"] if len(plain) == 1 else wanted
    if p_known and not plain and "n" in got:
        wanted = []
    if len(problems) > before:
        return None
    if len(plain) != len(wanted):
        words = f"{part!r} has {len(plain)} bare numbers where {len(wanted)} are wanted: {SUMMARY}"
        problems.append(Problem(words, where, value=part))
        return None
    got.update(zip(wanted, plain, strict=True))
    return _side(where, name, got, interval, problems, before)


def _side(
    where: str,
    name: str,
    got: dict[str, str],
    interval: tuple[str, str] | None,
    problems: list[Problem],
    before: int,
) -> Side | None:
    numbers = {
        key: _number(where, f"the {key} of {name!r}", got[key], problems)
        for key in ("mean", "sd", "se")
        if key in got
    }
    n = _whole(where, f"n of {name!r}", got["n"], problems)
    ends: tuple[float | None, ...] = (None, None)
    if interval is not None:
        ends = tuple(_number(where, f"the interval of {name!r}", one, problems) for one in interval)
    for key in ("sd", "se"):
        if (numbers.get(key) or 0) < 0:
            words = f"the {key} of {name!r} is {got[key]}: a spread is never below 0."
            problems.append(Problem(words, where, value=got[key]))
    low, high, mean = *ends, numbers.get("mean")
    if low is not None and high is not None and mean is not None and not low <= mean <= high:
        words = f"the mean of {name!r}, {got['mean']}, lies outside its own interval, "
        words += f"{'..'.join(interval or ())}. Check all three."
        problems.append(Problem(words, where, value=got["mean"]))
    if n == 0:
        problems.append(Problem(f"n = 0 for {name!r}: there is nothing to compare.", where))
    if len(problems) > before or n is None:
        return None
    if n == 1:
        problems.append(Problem(
            f"n = 1 for {name!r}. One coupon has no spread; no interval is possible. I can check "
            "it against the old range only.", where, value="1", warning=True,
        ))  # fmt: skip
    return Side(
        name, n, mean, numbers.get("sd"), decimals=_decimals(got.get("mean")),
        sd_decimals=_decimals(got.get("sd")), se=numbers.get("se"), low=low, high=high,
    )  # fmt: skip


def _named(part: str, usual: str) -> tuple[str, list[str]]:
    """Part a side into its name and the rest: the name ends at a colon, or at a first number."""
    if ":" in part:
        name, _, part = part.partition(":")
        return name.strip() or usual, re.sub(r"[=()\u00b1]|\+/-", " ", part).split()
    loose = re.sub(r"[=()\u00b1]|\+/-", " ", part.strip())
    words = loose.split()
    at = 0
    while at < len(words) and not _begins(words, at):
        at += 1
    return " ".join(words[:at]) or usual, words[at:]


def _begins(words: list[str], at: int) -> bool:
    """Whether the numbers begin at a word, taking "4 %" names such as ``mix 18`` for numbers."""
    word = words[at]
    if re.fullmatch(_NUMBER, word) or _RANGE.fullmatch(word):
        return True
    following = words[at + 1] if at + 1 < len(words) else ""
    return word.lower() in _KEYWORDS and bool(re.fullmatch(_NUMBER, following))


def _stated_p(where: str, part: str, problems: list[Problem]) -> Stated:
    text = re.sub(r"(?i)^\s*p\s*=?\s*", "", part).strip()
    p = _number(where, "the p", text, problems)
    if p is not None and not 0 < p <= 1:
        words = f"a p lies above 0 and at most at 1: got {text}. Write the smallest it can be."
        problems.append(Problem(words, where, value=text))
    return Stated(p=p, p_decimals=_decimals(text))


def _study(where: str, text: str, usual: str, problems: list[Problem]) -> Study | None:
    name, tokens = _named(text, usual)
    plain = [one for one in tokens if re.fullmatch(_NUMBER, one)]
    ranges = [found for one in tokens if (found := _RANGE.fullmatch(one))]
    rest = [one for one in tokens if one not in plain and not _RANGE.fullmatch(one)]
    if set(rest) - {"se"} or len(plain) + len(ranges) != 2 or len(ranges) > 1:
        problems.append(Problem(f"{text!r} is not a study: {STUDY}", where, value=text))
        return None
    values = [_number(where, f"{name!r}", one, problems) for one in plain]
    if ranges:
        values += [_number(where, f"{name!r}", end, problems) for end in ranges[0].groups()]
    if None in values:
        return None
    middle, *others = (value or 0.0 for value in values)
    if not ranges:
        se = others[0]
    else:
        low, high = others
        if not low <= middle <= high:
            words = f"{name!r}: the difference {middle:g} lies outside its interval. Check them."
            problems.append(Problem(words, where, value=text))
            return None
        # 1.959964: an interval of a published difference is read as estimate and 1.96 errors.
        se = (high - low) / 2 / 1.959963984540054
    if se <= 0:
        words = f"{name!r} has no standard error above 0, so it cannot be weighed."
        problems.append(Problem(words, where, value=text))
        return None
    return Study(name, middle, se)


# ------------------------------------------------------------------------------ figures


def _number(where: str, what: str, text: str, problems: list[Problem]) -> float | None:
    try:
        value = parse_number(text, decimal="," if "," in text and "." not in text else ".")
    except WeldtrialError as error:
        problems.append(Problem(f"{what}: {error.words}", where, value=text))
        return None
    if not fits(value):
        size = "large" if abs(value) > 1 else "small"
        words = f"{what}, {text}, is too {size} to be weighed. Write all in a unit that suits it."
        problems.append(Problem(words, where, value=text))
        return None
    return value


def _whole(where: str, what: str, text: str, problems: list[Problem]) -> int | None:
    if not re.fullmatch(r"[0-9]{1,6}", text):
        kind = what.partition(" of ")[0]
        kind = "set-ups" if kind == "set-ups" else "coupons"
        why = f"is not a whole number of {kind}"
        if re.fullmatch("[0-9]+", text):
            why = f"is more {kind} than can be weighed; 999999 are the most"
        words = f"{what}: {text!r} {why}."
        problems.append(Problem(words, where, value=text))
        return None
    return int(text)


def _decimals(text: str | None) -> int | None:
    if text is None:
        return None
    return len(re.split(r"[.,]", text)[1]) if re.search(r"[.,]", text) else 0
