"""Corners that rules about settings strike out, and how far each would have to be pulled in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import product
from math import floor

from weldtrial.doe.region import allowed, combinations_of_levels, settings_at
from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.rounding import plain, spaced
from weldtrial.shared.trial import Trial

STEPS = 200
"""Places looked at on the way in where the machine's step is not known."""
HALVINGS = 40


@dataclass(frozen=True, slots=True)
class StruckOut:
    """A corner that may not be welded.

    Attributes
    ----------
    under
        The levels of the categories.
    corner
        Its coded point, -1 or +1 in every numeric factor.
    factor
        The factor that has to be pulled in least, as a share of its range; None where no one
        factor brings the corner into what is allowed.
    to
        Where to, in the factor's unit and on a step of the machine where that is known.
    coded
        The same on the coded scale.
    """

    under: Mapping[str, str]
    corner: Point
    factor: str | None
    to: float | None
    coded: float | None


@dataclass(frozen=True, slots=True)
class Corners:
    """The corners under one combination of levels: how many there are, and those struck out."""

    under: Mapping[str, str]
    count: int
    struck: tuple[StruckOut, ...]


def corners(trial: Trial) -> tuple[Corners, ...]:
    """Return, for every combination of the categories, which corners the rules strike out."""
    may = allowed(trial)
    numeric = [factor for factor in trial.varied if factor.kind == "numeric"]
    found = []
    for under in combinations_of_levels(trial):
        struck = []
        for signs in product((-1.0, 1.0), repeat=len(numeric)):
            point: dict[str, str | float] = {**under}
            point |= {one.name: sign for one, sign in zip(numeric, signs, strict=True)}
            if not may(point):
                struck.append(_pulled_in(trial, numeric, under, point, may))
        found.append(Corners(under, 2 ** len(numeric), tuple(struck)))
    return tuple(found)


def _pulled_in(
    trial: Trial,
    numeric: list[Factor],
    under: Mapping[str, str],
    corner: dict[str, str | float],
    may: Callable[[Point], bool],
) -> StruckOut:
    best = StruckOut(under, corner, None, None, None)
    least = 2.0
    for factor in numeric:
        coded = _way_in(factor, corner, under, may)
        if coded is None:
            continue
        way = abs(coded - float(corner[factor.name]))
        # Of two that are pulled in alike the first in the file is named.
        if way < least - 1e-9:
            least = way
            to = float(settings_at(trial, {**corner, factor.name: coded})[factor.name])
            best = StruckOut(under, corner, factor.name, to, coded)
    return best


def _way_in(
    factor: Factor,
    corner: Mapping[str, str | float],
    under: Mapping[str, str],
    may: Callable[[Point], bool],
) -> float | None:
    """Return the first coded setting on the way from a corner to its opposite that is allowed."""
    start = float(corner[factor.name])
    owner = under.get(factor.slides_with or "", "")
    half, centre = factor.half_range(owner), factor.centre(owner)

    def fits(coded: float) -> bool:
        return may({**corner, factor.name: coded})

    if factor.step and not factor.used_as_is:
        # The end itself may lie between two steps; the way in goes over whole ones.
        step, end = factor.step, centre + start * half
        first = floor(end / step + 1e-9) if start > 0 else -floor(-end / step + 1e-9)
        for number in range(floor(2 * half / step + 1e-9) + 1):
            setting = (first - start * number) * step
            if abs(setting - centre) <= half * (1 + 1e-9) and fits((setting - centre) / half):
                return (setting - centre) / half
        return None
    before = start
    for number in range(1, STEPS + 1):
        here = start * (1 - 2 * number / STEPS)
        if fits(here):
            for _ in range(HALVINGS):
                middle = (before + here) / 2
                before, here = (before, middle) if fits(middle) else (middle, here)
            return here
        before = here
    return None


def struck_out_words(trial: Trial) -> tuple[str, ...]:
    """Return a sentence without a full stop for each combination of levels that loses corners."""
    words = []
    for one in corners(trial):
        if not one.struck:
            continue
        level = " ".join(one.under.values())
        of = f"{level}'s {one.count} corners" if level else f"the {one.count} corners"
        ways: dict[tuple[str | None, float | None], int] = {}
        for struck in one.struck:
            key = (struck.factor, None if struck.to is None else round(struck.to, 9))
            ways[key] = ways.get(key, 0) + 1
        parts = [_way_words(trial, count, *key) for key, count in ways.items()]
        if len(parts) == 1:
            words.append(parts[0].replace("{of}", f" of {of}"))
        else:
            listed = "; ".join(part.replace("{of}", "") for part in parts)
            words.append(f"{len(one.struck)} of {of} may not be welded: {listed}")
    return tuple(words)


def _way_words(trial: Trial, count: int, name: str | None, to: float | None) -> str:
    if name is None or to is None:
        them = "it" if count == 1 else "them"
        return f"{count}{{of}} struck out, and no one factor pulls {them} in"
    factor = trial.factor(name)
    title = f"{factor.title[:1].lower()}{factor.title[1:]}"
    return f"{count}{{of}} pulled in to {title} {plain(float(f'{to:.4g}'))}{spaced(factor.unit)}"
