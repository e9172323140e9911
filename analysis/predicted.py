"""What coupons that confirm a setting should read, worked out before they are welded.

One coupon in a fresh set-up, the mean of all of them, and the chance of every limit come from the
same kind of draws (`weldtrial.analysis.joint`), so few set-ups or coupons make an interval wide.
The interval for one coupon (`weldtrial.analysis.next_coupon`) and the chance are those of
``weldtrial optimise`` at the same setting, held as loosely as the trial file states.  What has
drifted between then and now (another spool, a colder shop) is in no interval: blocks are averaged
out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import floor

import numpy as np

from weldtrial.analysis.inside import NEAR_EDGE, welded_at
from weldtrial.analysis.joint import DRAWS, Held, Joint, Limit, Passing, chances
from weldtrial.analysis.joint_draws import Drawn, root_of
from weldtrial.analysis.next_coupon import (
    MANY,
    SEED,
    Ahead,
    held_of,
    look_ahead,
    means,
    next_coupon,
)
from weldtrial.analysis.observations import Observation, observe
from weldtrial.analysis.pass_rule import PassRule, fewest_coupons, pass_rule
from weldtrial.analysis.settings_grid import Places, places_at
from weldtrial.analysis.surface import Surface, surface_of
from weldtrial.analysis.together import joint_of
from weldtrial.shared.coding import Point, coded_point
from weldtrial.shared.follows import Predicted
from weldtrial.shared.goal import asked_share
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.record import Record
from weldtrial.shared.responses import Response
from weldtrial.shared.trial import Trial

ROUNDED_TO = 0.05
MOST_ALIKE = 0.95


@dataclass(frozen=True, slots=True)
class Prediction:
    """What is sealed before the coupons are welded.

    Attributes
    ----------
    responses
        By response.
    together
        Chance that one coupon passes every limit; None where nothing has a limit.
    alike
        How alike coupons of one set-up are in passing.
    rule
        None where nothing has a limit: the means are what is judged.
    weakest
        The limit least likely to be met, empty without limits.
    beyond
        Factors whose setting lies beyond what was welded at these categories.
    enclosed
        Whether coupons enclose the place (it may lie within every range and far from all).
    edges
        Factors whose setting is the highest or lowest welded.
    left_out
        What could not be predicted, in words.
    on_edge
        Whether the settings together lie on the edge of what was welded there.
    """

    responses: dict[str, Predicted]
    together: float | None
    alike: float
    rule: PassRule | None
    weakest: str
    beyond: tuple[str, ...]
    enclosed: bool
    edges: tuple[str, ...]
    left_out: tuple[str, ...]
    on_edge: bool = False


def predict(
    trial: Trial,
    record: Record,
    at: Point,
    sizes: Sequence[int],
    *,
    asked: float | None = None,
    draws: int = MANY,
    seed: int = SEED,
) -> Prediction:
    """Predict the coupons of fresh set-ups at one setting.

    Parameters
    ----------
    record
        What was welded and read before, codes open, without coupons that confirmed.
    at
        Coded point.
    sizes
        Coupons of each fresh set-up; one number where coupons are the units.
    asked
        Share of coupons that must pass; None for what the goal says, or 8 in 10.  Where the
        earlier results expect fewer to pass, that share (rounded down to 5 in 100) is claimed.
    draws
        Behind the intervals; the chance rests on `DRAWS` of them at most, those of the map that
        ``weldtrial optimise`` draws, so that a setting chosen for 8 in 10 is claimed at 8 in 10.

    Raises
    ------
    NotEstimable
        When a response with a limit cannot be predicted, nothing can, or the coupons are too few
        for any rule that could be missed.
    """
    fits, left_out = _surfaces(trial, record)
    passing = _passing(trial, record)
    if not fits and not passing:
        raise NotEstimable("; ".join(left_out) or "nothing is read in numbers or passes")
    joint = joint_of([one for one, _ in fits], [seen for _, seen in fits], passing)
    limits = _limits(trial)
    held = held_of(trial.varied)
    used = look_ahead(joint, held, draws=draws, seed=seed).drawn
    found = intervals(joint, used, at, sizes, seed, held)
    beyond, enclosed, edges, on_edge = _place(trial, record, at)
    where = beyond, enclosed, edges
    if not limits and not passing:
        return Prediction(found, None, 0.0, None, "", *where, left_out, on_edge)
    places = places_at(trial.varied, [at])
    chance = chances(joint, limits, places, held=held, draws=min(draws, DRAWS), seed=seed)
    for name, own in zip(chance.limits, chance.own[0].tolist(), strict=True):
        found[name] = _with_chance(found.get(name, Predicted()), own)
    together = float(chance.together[0])
    alike = alikeness(joint, used, at, limits, seed, held) if limits and trial.hard else 0.0
    rule = _rule(sizes, _claimed(together, asked or asked_share(trial.goal)), alike, together)
    return Prediction(found, together, alike, rule, chance.weakest(0), *where, left_out, on_edge)


def _claimed(together: float, asked: float) -> float:
    if together >= asked:
        return asked
    return max(ROUNDED_TO, floor(together / ROUNDED_TO + 1e-9) * ROUNDED_TO)


def _rule(sizes: Sequence[int], share: float, alike: float, together: float) -> PassRule:
    share = round(share, 6)
    found = pass_rule(sizes, share, alike)
    if found.at_least < 1:
        raise NotEstimable(
            f"{found.of} coupon{'s' * (found.of > 1)} cannot speak against {100 * share:.0f} in "
            f"100 passing (the earlier results expect {100 * together:.0f}): none might pass by "
            "chance alone",
            hint=f"Weld at least {fewest_coupons(share)}.",
        )
    return found


def _surfaces(
    trial: Trial, record: Record
) -> tuple[list[tuple[Surface, tuple[Observation, ...]]], tuple[str, ...]]:
    fits, words = [], []
    # By rank, as `fit_responses` has them: the same draws then serve the same response.
    for one in sorted(trial.responses, key=lambda one: one.rank):
        if one.kind == "graded":
            words.append(f"{one.title} is graded, and grades are not predicted")
        if one.kind != "number":
            continue
        seen = observe(trial, record, one).observations
        try:
            if not seen:
                raise NotEstimable(f"{one.name} has not been read yet")
            surface = surface_of(trial, seen, one)
            if np.isnan(surface.sd_setup):
                surface.new_coupon([])  # says why nothing can be predicted
            fits.append((surface, seen))
        except NotEstimable as error:
            if one.at_least is not None or one.at_most is not None:
                raise
            words.append(error.words)
    return fits, tuple(words)


def _passing(trial: Trial, record: Record) -> tuple[Passing, ...]:
    """Count passes by the category that ends a set-up, or the first category there is."""
    groups = [one for one in (*trial.hard, *trial.varied) if one.kind == "category"]
    by = groups[0].name if groups else ""
    found = []
    for one in trial.responses:
        if one.kind != "pass-fail":
            continue
        seen = observe(trial, record, one).observations
        if not seen:
            raise NotEstimable(f"{one.name} has not been read yet")
        levels = groups[0].levels if groups else ("",)
        passed = Counter(o.levels.get(by, "") for o in seen if o.value == 1)
        welded = Counter(o.levels.get(by, "") for o in seen)
        found.append(Passing(one.name, tuple((n, (passed[n], welded[n])) for n in levels), by))
    return tuple(found)


def _limits(trial: Trial) -> list[Limit]:
    return [
        Limit(one.name, one.at_least, one.at_most)
        for one in trial.responses
        if one.kind == "number" and has_limit(one)
    ]


def has_limit(response: Response) -> bool:
    """Tell whether a coupon can fail in this response."""
    if response.kind == "pass-fail":
        return True
    return response.kind == "number" and not (
        response.at_least is None and response.at_most is None
    )


def intervals(
    joint: Joint,
    used: Drawn,
    at: Point,
    sizes: Sequence[int],
    seed: int,
    held: Sequence[Held] = (),
) -> dict[str, Predicted]:
    """Return, by response, the intervals for the next coupon and for the mean of all.

    Quantiles of draws; those of the means hold for all responses together (Bonferroni).  Each
    coupon strays by itself from a setting that is held loosely.
    """
    rng = np.random.default_rng([seed, 2])
    of, found = sum(sizes), {}
    tail = 2.5 / max(1, len(joint.surfaces))
    ahead, place = Ahead(joint, tuple(held), used, seed), _place_of(joint, at)
    for r, one in enumerate(joint.surfaces):
        low, high = (float(end[0]) for end in next_coupon(ahead, place, r))
        welded = range(of if held else 1)
        mean = np.mean([means(ahead, place, r, coupon)[0] for coupon in welded], axis=0)
        z = rng.standard_normal((2, len(mean)))
        shared = np.sqrt(sum(size**2 for size in sizes)) / of
        all_of_them = mean + used.sd_setup[r] * shared * z[0] + used.sd_coupon[r] * z[1] / of**0.5
        ends = np.percentile(all_of_them, (tail, 100 - tail))
        centre = float(one.mean([at])[0])
        found[one.response] = Predicted(centre, low, high, float(ends[0]), float(ends[1]))
    return found


def _place_of(joint: Joint, at: Point) -> Places:
    """Return a point as the one place of the factors that the surfaces have."""
    return places_at(joint.surfaces[0].factors, [at]) if joint.surfaces else places_at((), [])


def alikeness(
    joint: Joint,
    used: Drawn,
    at: Point,
    limits: Sequence[Limit],
    seed: int,
    held: Sequence[Held] = (),
) -> float:
    """Return how alike two coupons of one fresh set-up are in passing.

    Both of two coupons of one set-up pass oftener than both of two coupons of different ones; what
    is not known of the map is common to all and is no part of it.
    """
    rng = np.random.default_rng([seed, 3])
    many, names = len(used.scatter[0]), [one.response for one in joint.surfaces]
    within, between = root_of(joint.correlation), root_of(joint.correlation_setup)
    coupons = [within @ rng.standard_normal((len(names), many)) for _ in range(3)]
    first, second = (between @ rng.standard_normal((len(names), many)) for _ in range(2))
    good = [np.ones(many, dtype=bool) for _ in coupons]
    ahead, place = Ahead(joint, tuple(held), used, seed), _place_of(joint, at)
    for limit in limits:
        r = names.index(limit.response)
        for number, (one, setup, met) in enumerate(
            zip(coupons, (first, first, second), good, strict=True)
        ):
            mean = means(ahead, place, r, number)[0]
            met &= limit.met(mean + used.sd_setup[r] * setup[r] + used.sd_coupon[r] * one[r])
    share = float(np.mean([one.mean() for one in good]))
    both, apart = float((good[0] & good[1]).mean()), float((good[0] & good[2]).mean())
    return float(np.clip((both - apart) / (share - apart), 0, MOST_ALIKE)) if share > apart else 0.0


def _place(
    trial: Trial, record: Record, at: Point
) -> tuple[tuple[str, ...], bool, tuple[str, ...], bool]:
    """Return what lies beyond what was welded there, whether coupons enclose it, and the ends.

    Last, whether the settings together lie on the edge of what was welded.
    """
    names = [one.name for one in trial.varied if one.kind == "numeric"]
    groups = [one.name for one in trial.varied if one.kind == "category"]
    points_of = (coded_point(trial.varied, c.levels) for c in record.coupons if c.welded)
    welded = [p for p in points_of if all(p[name] == at[name] for name in groups)]
    if not welded:
        return tuple(groups), False, (), False
    if not names:
        return (), True, (), False
    points = np.array([[float(p[name]) for name in names] for p in welded])
    here = np.array([float(at[name]) for name in names])
    low, high = points.min(axis=0), points.max(axis=0)
    out = [n for n, x, a, b in zip(names, here, low, high, strict=True)
           if x < a - 1e-9 or x > b + 1e-9]  # fmt: skip
    edge = [n for n, x, a, b in zip(names, here, low, high, strict=True)
            if n not in out and (abs(x - a) < 1e-9 or abs(x - b) < 1e-9)]  # fmt: skip
    hull = welded_at(points)
    on_edge = bool(hull.depth(here)[0] <= NEAR_EDGE)
    return tuple(out), hull.place(here).inside, tuple(edge), on_edge


def _with_chance(one: Predicted, chance: float) -> Predicted:
    return replace(one, chance=chance)
