"""What is said of each surface: its top, dip or saddle, its bends, the way up, its prediction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import Literal

from weldtrial.analysis.canonical import Canonical, canonical
from weldtrial.analysis.left_out_prediction import (
    LeftOutPrediction,
    leave_one_out,
    leave_one_setup_out,
)
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.pruned import pruned_terms
from weldtrial.analysis.quadratic import Quadratic, per_category
from weldtrial.analysis.ridge import RidgePath, ridge_path
from weldtrial.analysis.stationary import StationaryPoint, stationary_point
from weldtrial.analysis.steepest import SteepestWay, steepest
from weldtrial.analysis.surface import Surface, surface_of
from weldtrial.analysis.surface_words import (
    canonical_words,
    left_out_words,
    pruned_words,
    ridge_words,
    stationary_words,
    steepest_words,
)
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.trial import Trial

RADII = 5


@dataclass(frozen=True, slots=True, eq=False)
class LevelTold:
    """One surface at one combination of categories; parts that it does not have are None.

    Attributes
    ----------
    ridge
        Where the wanted end lies at growing distance; given where the stationary point is not a
        wanted one inside what was welded.
    way
        The steepest way, of a surface that is straight in some setting.
    words
        All of it, in sentences.
    """

    levels: Mapping[str, str]
    quadratic: Quadratic
    stationary: StationaryPoint | None
    canonical: Canonical | None
    ridge: RidgePath | None
    way: SteepestWay | None
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class SurfaceTold:
    """One response over its surfaces, with how far off it is on what it was not shown."""

    response: str
    levels: tuple[LevelTold, ...]
    left_out: LeftOutPrediction | None
    words: tuple[str, ...]


def tell_surface(
    surface: Surface,
    measured: Sequence[Observation],
    *,
    toward: Literal["higher", "lower"] = "higher",
    beyond: bool = False,
) -> SurfaceTold:
    """Say what one response's surface has.

    Parameters
    ----------
    measured
        The coupons it was fitted to, in their order.
    toward
        Which way is wanted.
    beyond
        Whether anything is said outside what was welded.

    Raises
    ------
    NotEstimable
        When no factor has numbers, or the model is of third order.
    """
    told = tuple(
        _told(levels, quadratic, toward == "higher", beyond)
        for levels, quadratic in per_category(surface)
    )
    left = None
    if surface.fit is not None:
        left = leave_one_setup_out(surface.fit, measured) or leave_one_out(surface.fit, measured)
    words = () if left is None else (left_out_words(left, surface),)
    return SurfaceTold(surface.response, told, left, words)


def tell_pruned(
    trial: Trial,
    surface: Surface,
    measured: Sequence[Observation],
    *,
    toward: Literal["higher", "lower"] = "higher",
    beyond: bool = False,
) -> SurfaceTold:
    """Say what one response's surface has once the terms that show nothing are gone.

    By the rule of `weldtrial.analysis.pruned`; what went is said last.

    Raises
    ------
    NotEstimable
        As `tell_surface` and `weldtrial.analysis.pruned.pruned_terms`.
    """
    found = pruned_terms(surface.factors, surface.terms, measured)
    fitted = surface_of(trial, measured, surface.response, found.terms)
    words = pruned_words(found)
    if not any(trial.factor(name).kind == "numeric" for one in found.terms for name in one.factors):
        nothing = "No setting that is a number shows anything by this rule, so no surface is left."
        return SurfaceTold(surface.response, (), None, (nothing, *words))
    told = tell_surface(fitted, measured, toward=toward, beyond=beyond)
    return replace(told, words=(*told.words, *words))


def _told(
    levels: Mapping[str, str], quadratic: Quadratic, highest: bool, beyond: bool
) -> LevelTold:
    words: list[str] = []
    point, axes, path, way = None, None, None, None
    try:
        point, axes = stationary_point(quadratic), canonical(quadratic)
        words += stationary_words(quadratic, point, axes, beyond=beyond)
        words += canonical_words(quadratic, axes)
    except NotEstimable as error:
        words.append(f"{error.words[0].upper()}{error.words[1:]}.")
    wanted = "top" if highest else "dip"
    if point is None or axes is None:
        try:
            way = steepest(quadratic, upward=highest)
            words += steepest_words(quadratic, way)
        except NotEstimable as error:
            words.append(f"{error.words[0].upper()}{error.words[1:]}.")
    if axes is None or point is None or axes.nature != wanted or not point.place.inside:
        far = quadratic.welded.largest
        radii = [far * step / RADII for step in range(RADII + 1)] if 0 < far < inf else [0.0]
        path = ridge_path(quadratic, radii, highest=highest, beyond=beyond)
        words += ridge_words(quadratic, path)
    return LevelTold(levels, quadratic, point, axes, path, way, tuple(words))
