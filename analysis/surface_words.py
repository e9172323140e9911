"""Surfaces in plain sentences and real units; nothing is said beyond what was welded unasked."""

from __future__ import annotations

from collections.abc import Mapping
from math import floor, hypot, isnan, log10

import numpy as np

from weldtrial.analysis.canonical import Axis, Canonical
from weldtrial.analysis.inside import Place
from weldtrial.analysis.left_out_prediction import LeftOutPrediction
from weldtrial.analysis.linear import Estimate, Floats
from weldtrial.analysis.pruned import Pruned
from weldtrial.analysis.quadratic import Quadratic
from weldtrial.analysis.ridge import RidgePath
from weldtrial.analysis.stationary import StationaryPoint
from weldtrial.analysis.steepest import SteepestWay
from weldtrial.analysis.surface import Surface
from weldtrial.shared.rounding import by_uncertainty, decimals_for, fixed, p_value, spaced

NEGLIGIBLE = 0.05
"""Share of the largest part of a direction below which a factor is left out of its words."""
KINDS = {"top": "top", "dip": "lowest point", "saddle": "saddle point"}
BEYOND = "outside what was welded"
FAR = 2.0
"""Times the farthest coupon beyond which not even the place is said unasked."""


def settings_words(quadratic: Quadratic, x: Floats) -> str:
    """Return a coded point (k,) in real units: ``26.9 V, 8.8 m/min``.

    Factors are named where two share a unit or one has none.
    """
    units = [one.unit for one in quadratic.factors]
    bare = len(set(units)) == len(units) and all(units)
    real = quadratic.real(x)
    return ", ".join(
        ("" if bare else f"{one.title} ")
        + f"{fixed(float(value), _places(float(half)))}{spaced(one.unit)}"
        for one, value, half in zip(quadratic.factors, real, quadratic.unit_lengths, strict=True)
    )


def _places(half: float) -> int:
    """Return the decimals that tell a tenth of half the range."""
    return min(6, max(0, -floor(log10(half / 10))))


def _under(levels: Mapping[str, str]) -> str:
    """Return which gas a sentence is about, with the space before it."""
    return f" with {' and '.join(levels.values())}" if levels else ""


def _kept(quadratic: Quadratic, found: Estimate, confidence: float) -> str:
    """Return a mean with its interval: ``80.2 kN (79.5 to 80.9)``."""
    low, high = found.interval(confidence)
    places = decimals_for((high - low) / 2)
    ends = f"{fixed(low, places)} to {fixed(high, places)}"
    return f"{fixed(found.estimate, places)}{spaced(quadratic.surface.unit)} ({ends})"


def stationary_words(
    quadratic: Quadratic, point: StationaryPoint, axes: Canonical, *, beyond: bool = False
) -> tuple[str, ...]:
    """Say where the top, dip or saddle lies, and how well that is known.

    Parameters
    ----------
    beyond
        Whether the reading is said outside what was welded; it is then marked.
    """
    kind, confidence = KINDS[axes.nature], point.region.confidence
    start = f"The {kind} of the fitted surface{_under(quadratic.levels)} lies"
    at = f"at {settings_words(quadratic, point.x)}"
    mean = _kept(quadratic, point.mean, confidence)
    if point.place.inside:
        first = f"{start} {at}, inside what was welded; the fitted mean there is {mean}."
    elif beyond:
        first = (
            f"{start} {at} – BEYOND WHAT WAS WELDED; carried on that far the mean would be {mean}."
        )
    elif point.place.radius > FAR * point.place.largest:
        first = f"{start} far {BEYOND}, so it is not said."
    else:
        first = f"{start} {at} – {BEYOND}, so what it would read there is not said."
    return (first, _region_words(quadratic, point, kind, beyond))


def _region_words(quadratic: Quadratic, point: StationaryPoint, kind: str, beyond: bool) -> str:
    region, welded = point.region, quadratic.welded
    share = round(100 * region.share)
    part = "less than 1" if share == 0 else str(share)
    sure = f"At {100 * region.confidence:g} % confidence"
    nowhere = region.share == 0 and not point.place.inside
    if not region.bounded:
        open_end = (
            f"How far away the {kind} could lie has no bound: the surface could be flat along "
        )
        place = "no part" if nowhere else f"{part} %"
        return f"{open_end}some direction. {sure} {place} of what was welded could be its place."
    if nowhere and not beyond:
        return f"{sure} no part of what was welded could be its place."
    low, high = region.low, region.high
    if not beyond:
        low, high = np.maximum(low, welded.low), np.minimum(high, welded.high)
    spans = " and ".join(
        f"{one.title} {fixed(float(a), _places(float(half)))} to "
        f"{fixed(float(b), _places(float(half)))}{spaced(one.unit)}"
        for one, a, b, half in zip(
            quadratic.factors,
            quadratic.real(low),
            quadratic.real(high),
            quadratic.unit_lengths,
            strict=True,
        )
    )
    cut = not beyond and bool(np.any(low > region.low) or np.any(high < region.high))
    also = f", or {BEYOND}" if cut else ""
    inside = "none" if nowhere else f"{part} %"
    return f"{sure} the {kind} lies at {spans}{also} ({inside} of what was welded)."


def direction_words(quadratic: Quadratic, direction: Floats) -> str:
    """Return a direction (k,) as what goes up and down together: ``voltage up and travel down``."""
    largest = float(np.abs(direction).max())
    parts = [
        f"{one.title.lower()} {'up' if part > 0 else 'down'}"
        for one, part in zip(quadratic.factors, direction, strict=True)
        if abs(part) > NEGLIGIBLE * largest
    ]
    if len(parts) == 1:
        return parts[0]
    return f"{', '.join(parts[:-1])} and {parts[-1]} together"


def canonical_words(quadratic: Quadratic, found: Canonical) -> tuple[str, ...]:
    """Say what the surface is: top, dip, saddle or ridge, and along what it hardly changes."""
    told = {
        "top": "It falls away in every direction: a top.",
        "dip": "It climbs in every direction: a dip.",
        "saddle": "It climbs along some directions and falls along others: a saddle, so the best "
        "lies on the edge of what was welded.",
        "ridge": "It falls away along some directions and along others its bend is not told from "
        "none: a ridge, or a top too broad for this trial to tell.",
        "valley": "It climbs along some directions and along others its bend is not told from "
        "none: a valley, or a dip too broad for this trial to tell.",
        "open": "No bend is told from none: this trial cannot say whether there is a top, a dip or "
        "a saddle.",
    }[found.told]
    lines = [told, *(_axis_words(quadratic, axis, found) for axis in found.flat)]
    if found.unsquared and found.nature == "saddle":
        names = " and ".join(one.title for one in quadratic.factors if one.name in found.unsquared)
        lines.append(
            f"No square of {names} is in the model: whether the surface bends that way was not "
            "asked, and the saddle may be made by the model."
        )
    return tuple(lines)


def _axis_words(quadratic: Quadratic, axis: Axis, found: Canonical) -> str:
    along = direction_words(quadratic, axis.direction)
    way = axis.direction if axis.slope.estimate > 0 else -axis.direction
    climbs = f"; it climbs with {direction_words(quadratic, way)}" if axis in found.rising else ""
    if axis.bend.se == 0:
        return f"Along {along} the model is straight: no bend was asked for{climbs}."
    unit, scatter = quadratic.surface.unit, quadratic.surface.sd_coupon
    low, high = (end * axis.reach**2 for end in (axis.low_together, axis.high_together))
    climb = max(abs(end) for end in axis.slope.interval(found.confidence)) * axis.reach
    farthest = climb + max(abs(low), abs(high))
    if axis.reach > 0 and farthest < scatter:
        return (
            f"Along {along} nothing changes much – less than the scatter of one coupon, "
            f"{by_uncertainty(scatter, scatter)}{spaced(unit)}, over what was welded: a ridge."
        )
    places = decimals_for((high - low) / 2)
    bend = (
        f"Along {along} the bend could be none: what was welded ends between "
        f"{fixed(low, places, signed=True)} and {fixed(high, places, signed=True)}{spaced(unit)} "
        "from where a straight line would"
    )
    return f"{bend}{climbs}."


def steepest_words(quadratic: Quadratic, way: SteepestWay) -> tuple[str, ...]:
    """Say which way is steepest, how far the data bear it out, and by what steps."""
    real = way.direction * quadratic.unit_lengths
    lead = int(np.argmax(np.abs(way.direction)))
    parts = [
        f"{fixed(float(step), _places(float(half)) + 1, signed=True)}{spaced(one.unit)} {one.title}"
        for one, step, half in zip(
            quadratic.factors, real / abs(way.direction[lead]), quadratic.unit_lengths, strict=True
        )
        if abs(step / half) > NEGLIGIBLE / 10
    ]
    verb = "climbs" if way.upward else "falls"
    first = (
        f"From {settings_words(quadratic, way.start)} the fitted surface{_under(quadratic.levels)} "
        f"{verb} fastest by steps of {', '.join(parts)}."
    )
    cone, sure = way.cone, f"{100 * way.confidence:g} %"
    if cone is None:
        return (first,)
    if not cone.told:
        return (first, f"At {sure} confidence no direction is ruled out: any could be steepest.")
    shape = "" if cone.even else " at its widest"
    return (
        first,
        f"At {sure} confidence the true direction lies within {cone.half_angle:.0f}°{shape} of it "
        f"(ranges as welded weigh alike): {100 * cone.excluded:.0f} % of all directions are ruled "
        "out.",
    )


def ridge_words(quadratic: Quadratic, path: RidgePath, confidence: float = 0.95) -> tuple[str, ...]:
    """Say where the best setting goes as one leaves the middle; the edge is shouted."""
    what = "highest" if path.highest else "lowest"
    lines = [
        f"The {what} fitted mean at growing distance from the middle"
        f"{_under(quadratic.levels)}, {100 * confidence:g} % interval:"
    ]
    for one in path.steps:
        mark = "" if one.step.place.inside else f" – BEYOND, {BEYOND}"
        mean = _kept(quadratic, one.mean, confidence)
        lines.append(f"  {settings_words(quadratic, one.step.x)}: {mean}{mark}")
    inside = [one for one in path.steps if one.step.place.inside]
    if inside:
        best = max(inside, key=lambda one: one.mean.estimate * (1 if path.highest else -1))
        if best.step.place.on_edge:
            lines += edge_words(quadratic, best.step.place, best.step.x)
    if path.left_out and len(inside) == len(path.steps):
        lines.append(f"Farther out the {what} mean lies {BEYOND}, so it is not said.")
    return tuple(lines)


def edge_words(quadratic: Quadratic, place: Place, x: Floats) -> tuple[str, ...]:
    """Shout where a point lies on the edge of what was welded, or outside; else nothing."""
    if not place.inside:
        return (f"! {settings_words(quadratic, x)} is {BEYOND}.",)
    real, lines = quadratic.real(x), []
    for ends, word in ((place.at_low, "lowest"), (place.at_high, "highest")):
        for i in ends:
            one = quadratic.factors[i]
            value = fixed(float(real[i]), _places(float(quadratic.unit_lengths[i])))
            lines.append(
                f"! {value}{spaced(one.unit)} is the {word} {one.title} "
                f"welded{_under(quadratic.levels)}. The best may lie beyond; this trial cannot see "
                "there."
            )
    if place.on_edge and not lines:
        lines.append(
            f"! {settings_words(quadratic, x)} lies on the edge of what was "
            "welded. The best may lie beyond; this trial cannot see there."
        )
    return tuple(lines)


def left_out_words(found: LeftOutPrediction, surface: Surface) -> str:
    """Say how far off the surface is on what it was not shown, beside the scatter of one coupon."""
    n = len(found.errors) - len(found.unpredicted) - len(found.at_limit)
    if n == 0:
        return (
            f"No {found.by} can be left out: the rest would not tell the surface and its scatter."
        )
    half, unit = found.rms / 4, spaced(surface.unit)
    text = (
        f"Left out one {found.by} at a time, coupons are missed by "
        f"{by_uncertainty(found.rms, half)}{unit} (root mean square of {n})"
    )
    if not isnan(surface.sd_setup):
        scatter = by_uncertainty(hypot(surface.sd_coupon, surface.sd_setup), half)
        where = "welded alike" if surface.df_setup is None else "in fresh set-ups"
        text += f"; coupons {where} scatter by {scatter}{unit} by themselves"
    text += "."
    if found.unpredicted:
        text += f" {len(found.unpredicted)} could not be left out: the rest would not tell."
    if found.at_limit:
        text += f" {len(found.at_limit)} past the gauge limit have no miss to count."
    return text


def pruned_words(found: Pruned) -> tuple[str, ...]:
    """Say by what rule terms went, and which."""
    if not found.dropped:
        return (found.rule, "No term went.")
    gone = ", ".join(f"{one.term.name} (p {p_value(one.p)})" for one in found.dropped)
    return (
        found.rule,
        f"Gone, in this order: {gone}.",
        "The terms were chosen on the coupons that judge them, so intervals are too narrow: hold "
        f"the surface to fresh coupons. Kept: {', '.join(one.name for one in found.terms)}.",
    )
