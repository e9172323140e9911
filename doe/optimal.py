"""Exact D- and I-optimal designs for whatever the bench allows.

Many random starts are bettered together: by point exchange over the settings that matter, then over
all of them from the best starts; by coordinate exchange where the grid is too large to list.
Both kinds of factor, rules that forbid settings, blocks, set-ups of hard-to-change factors and
coupons that stay are all one problem here.  What is found is compared with a bound that no
design can pass (`continuous_bound`).

References
----------
Meyer & Nachtsheim (1995), *Technometrics* 37(1): 60; Goos & Vandebroek (2001), *J. Quality
Technology* 33(4): 436, and (2003), *Technometrics* 45(3): 235.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from weldtrial.doe.candidates import Array, Places, allowed_places, listable, sampled
from weldtrial.doe.continuous_bound import Bound, continuous_bound
from weldtrial.doe.criterion import log_det
from weldtrial.doe.draw import Draw
from weldtrial.doe.optimal_asked import Found, Search, UnitAsked
from weldtrial.doe.optimal_problem import Problem, make_problem
from weldtrial.doe.optimal_starts import deal_choices, deal_kinds, deal_places
from weldtrial.doe.optimal_ways import ByCoordinates, ByPoints, improve
from weldtrial.doe.point_exchange import Listed, list_places
from weldtrial.shared.problems import PlanRefused

__all__ = ["Found", "Search", "UnitAsked", "coupons_needed", "rank_of", "search"]

_POINTS_UP_TO = 1500
"""Free grids up to this size are searched by points, larger ones by coordinates."""
_MATTER = 300
"""Settings first searched, those nearest to what the continuous optimum uses."""
_POLISH_FROM, _POLISH_OVER = 8, 4000
_BOUND_UP_TO = 3e7
"""Settings times columns squared up to which a bound is worked out: seconds at most."""
_SINGULAR = 1e-9
_SAME = 1e-6
_RANK_STARTS = 8


@dataclass(frozen=True, slots=True, eq=False)
class _Ended:
    """Where starts ended: places, shape (starts, positions, factors), and the criterion."""

    places: Places
    value: Array


def search(asked: Search, draw: Draw) -> Found:
    """Return the best design found.

    Parameters
    ----------
    draw
        Where the random starts come from; the same draw gives the same design.

    Raises
    ------
    PlanRefused
        When no setting is allowed, a set-up can hold nothing, or the coupons cannot tell the
        model's unknowns apart.
    """
    problem = make_problem(asked)
    listed = None
    if listable(problem.grid, asked.allowed):
        listed = list_places(problem, allowed_places(problem.grid, asked.allowed))
        problem = _only_possible(problem, listed)
    _enough(problem, listed)
    bound = _bound(problem, listed)
    if listed is not None and (asked.allowed is not None or len(listed.rows) <= _POINTS_UP_TO):
        ended = _by_points(problem, listed, bound, draw)
    else:
        ended = _by_coordinates(problem, draw)
    sign = 1.0 if asked.criterion == "D" else -1.0
    best = float((sign * ended.value).max())
    if not np.isfinite(best):
        raise _too_few(problem, listed)
    at = int((sign * ended.value >= best - 1e-9 * abs(best)).argmax())
    value = float(ended.value[at])
    # Over a sample of the settings it says which to try first, but bounds nothing.
    limit = None if bound is None or sampled(problem.grid) else bound.value
    efficiency = None
    if limit is not None:
        efficiency = float(np.exp(value - limit)) if asked.criterion == "D" else limit / value
    return Found(
        units=_points(problem, ended.places[at]),
        value=value,
        efficiency=None if efficiency is None else min(1.0, efficiency),
        bound=limit,
        starts=asked.starts,
        same=int((np.abs(ended.value - value) <= _SAME * abs(value)).sum()),
    )


def coupons_needed(asked: Search) -> int:
    """Return how many new coupons the model needs at least, beside those kept."""
    problem = make_problem(asked)
    return problem.columns - _rank(problem.fixed)


def rank_of(asked: Search) -> tuple[int, int]:
    """Return the unknowns of the model, and how many of them the coupons can tell at most.

    Unknowns are the columns of the terms and one for each block.  The second number is the rank
    of the best design found over the allowed settings, kept coupons included: when it is the
    smaller, that is how many coupons differ enough to tell.

    Raises
    ------
    PlanRefused
        As `search`, except for too few coupons.
    """
    problem = make_problem(replace(asked, criterion="D", starts=_RANK_STARTS))
    listed = None
    if listable(problem.grid, asked.allowed):
        listed = list_places(problem, allowed_places(problem.grid, asked.allowed))
        problem = _only_possible(problem, listed)
    return problem.columns, _reach(problem, listed)


def _reach(problem: Problem, listed: Listed | None) -> int:
    problem = replace(
        problem, asked=replace(problem.asked, criterion="D", starts=_RANK_STARTS), weight=None
    )
    draw = Draw(bytes(32))
    if listed is not None:
        # Mostly any coupons will do; only where these do not is the best looked for.
        kind = deal_kinds(problem, draw.child("any"), _RANK_STARTS)
        state = deal_choices(problem, draw.child("any"), kind, listed.kind)
        some = problem.information(problem.grid.rows(listed.places[state]))
        if max(map(_rank, some)) == problem.columns:
            return problem.columns
    if listed is None:
        places = _by_coordinates(problem, draw).places
    else:
        places = _by_points(problem, listed, None, draw).places
    rows = problem.grid.rows(places)
    return max(_rank(one) for one in problem.information(rows))


def _rank(information: Array) -> int:
    """Return the rank of an information matrix, its diagonal brought to one."""
    size = np.sqrt(np.maximum(np.diag(information), 0.0))
    scaled = information / np.where(size > 0, size, 1.0) / np.where(size > 0, size, 1.0)[:, None]
    return int((np.linalg.eigvalsh(scaled) > _SINGULAR).sum())


def _only_possible(problem: Problem, listed: Listed) -> Problem:
    """Return the problem with the kinds that have an allowed setting at all."""
    there = set(listed.kind.tolist())
    may = tuple(tuple(kind for kind in own if kind in there) for own in problem.may)
    for unit, own in enumerate(may):
        if not own and (problem.unit == unit).any():
            names = {
                problem.grid.factors[at].name: problem.grid.levels[at][place]
                for at, place in zip(problem.hard, problem.kinds[problem.may[unit][0]], strict=True)
            }
            said = ", ".join(f"{name} {level}" for name, level in names.items())
            raise PlanRefused(
                f"The limits on settings leave nothing for set-up {unit + 1} ({said}). Widen the "
                "limits, or take that combination out."
            )
    return replace(
        problem, may=tuple(new or old for new, old in zip(may, problem.may, strict=True))
    )


def _enough(problem: Problem, listed: Listed | None) -> None:
    if problem.columns - _rank(problem.fixed) > len(problem.unit):
        raise _too_few(problem, listed)


def _too_few(problem: Problem, listed: Listed | None) -> PlanRefused:
    reach = _reach(problem, listed)
    short = problem.columns - reach
    limits = "after the limits " if problem.asked.allowed is not None else ""
    have = len(problem.unit) + len(problem.asked.kept)
    words = f"The model has {problem.columns} unknowns; {limits}{_coupons(reach)} enough to tell."
    if have < problem.columns:
        return PlanRefused(
            f"{words} Drop terms, or add at least {short} coupon{'s' * (short > 1)}."
        )
    where = "the limits leave" if problem.asked.allowed is not None else "the units leave"
    return PlanRefused(
        f"{words} More coupons alone do not help, since {where} too few different settings: drop "
        f"terms with {short} unknown{'s' * (short > 1)}, or widen what is allowed."
    )


def _coupons(many: int) -> str:
    return "1 coupon differs" if many == 1 else f"{many} coupons differ"


def _bound(problem: Problem, listed: Listed | None) -> Bound | None:
    if listed is None or len(listed.rows) * problem.columns**2 > _BOUND_UP_TO:
        return None
    try:
        return continuous_bound(problem, listed)
    except np.linalg.LinAlgError:
        return None


def _by_points(problem: Problem, listed: Listed, bound: Bound | None, draw: Draw) -> _Ended:
    near = np.arange(len(listed.rows))
    if bound is not None and len(near) > _MATTER:
        near = _nearest(problem, listed, bound.use, max(_MATTER, 6 * problem.columns))
    first = listed.only(near)
    kind = deal_kinds(problem, draw, problem.asked.starts)
    state = deal_choices(problem, draw, kind, first.kind)
    improve(ByPoints(problem, first), problem, state, kind)
    value = _value(problem, first.rows[state])
    state = near[state]
    if len(near) < len(listed.rows) and bound is not None:
        order = np.argsort(-value if problem.weight is None else value, kind="stable")
        top = order[:_POLISH_FROM]
        wide = _nearest(problem, listed, bound.use, _POLISH_OVER)
        place = np.zeros(len(listed.rows), dtype=np.intp)
        place[wide] = np.arange(len(wide))
        again, again_kind = place[state[top]], kind[top]
        more = listed.only(wide)
        improve(ByPoints(problem, more, twins=False), problem, again, again_kind, fresh=False)
        state[top], value[top] = wide[again], _value(problem, more.rows[again])
    return _Ended(listed.places[state], value)


def _nearest(problem: Problem, listed: Listed, use: Array, many: int) -> Places:
    """Return about so many settings nearest to what the optimum uses, some of every kind."""
    # Rounded, so that the last bit of a sum does not decide.
    order = np.argsort(-np.round(use, 6), kind="stable")
    few = max(1, many // len(problem.kinds) // 2)
    chosen = set(order[:many].tolist())
    for kind in range(len(problem.kinds)):
        chosen |= set(order[listed.kind[order] == kind][:few].tolist())
    return np.array(sorted(chosen), dtype=np.intp)


def _by_coordinates(problem: Problem, draw: Draw) -> _Ended:
    kind = deal_kinds(problem, draw, problem.asked.starts)
    places = deal_places(problem, draw, kind)
    improve(ByCoordinates(problem), problem, places, kind)
    return _Ended(places, _value(problem, problem.grid.rows(places)))


def _value(problem: Problem, rows: Array) -> Array:
    """Return the criterion of designs, shape (designs,); the worst there is where singular."""
    information = problem.information(rows)
    size = np.sqrt(np.einsum("sii->si", information))
    size = np.where(size > 0, size, 1.0)
    scaled = information / size[:, :, None] / size[:, None, :]
    fine = np.linalg.eigvalsh(scaled)[:, 0] > _SINGULAR
    if problem.weight is not None:
        lifted = information + np.where(fine, 0.0, 1.0)[:, None, None] * np.eye(problem.columns)
        trace = np.einsum("sij,ij->s", np.linalg.inv(lifted), problem.weight)
        return np.asarray(np.where(fine, trace, np.inf))
    # Blocks are taken out and one intercept put in, so that values compare with the bound.
    part = problem.total / (1 + problem.ratio * problem.total)
    blocks = np.bincount(problem.block, part)
    shift = np.log(part.sum()) - np.log(blocks).sum()
    columns = problem.columns - problem.blocks + 1
    return np.asarray(np.where(fine, (log_det(information) + shift) / columns, -np.inf))


def _points(problem: Problem, places: Places) -> tuple[tuple[dict[str, str | float], ...], ...]:
    """Return the points unit by unit, in the order of the grid."""
    return tuple(
        tuple(problem.grid.point(place) for place in sorted(places[problem.unit == unit].tolist()))
        for unit in range(len(problem.may))
    )
