"""The best of all designs, by looking at every one; written apart from the search it checks.

Rows come from `shared.coding.model_matrix`, the information from X'V⁻¹X with the V of each unit
written out, the moments from Gauss points: nothing of `doe` is used.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations_with_replacement, product
from math import comb

import numpy as np
from numpy.typing import NDArray

from weldtrial.doe.optimal import Search
from weldtrial.shared.coding import Point, model_matrix

Array = NDArray[np.float64]


def levels_of(asked: Search, name: str) -> tuple[str | float, ...]:
    factor = next(one for one in asked.factors if one.name == name)
    return factor.levels if factor.kind == "category" else (asked.grid or {}).get(name, (-1.0, 1.0))


def every_point(asked: Search) -> list[Point]:
    names = [factor.name for factor in asked.factors]
    points = [
        dict(zip(names, levels, strict=True))
        for levels in product(*(levels_of(asked, name) for name in names))
    ]
    return [point for point in points if asked.allowed is None or asked.allowed(point)]


def contents(asked: Search, unit: int) -> list[tuple[Point, ...]]:
    """Everything a unit may hold."""
    kinds: dict[tuple[str | float, ...], list[Point]] = {}
    fixed = dict(asked.units[unit].hard or {})
    for at, point in asked.kept:
        if at == unit:
            fixed |= {name: point[name] for name in asked.hard}
    for point in every_point(asked):
        if all(point[name] == level for name, level in fixed.items()):
            kinds.setdefault(tuple(point[name] for name in asked.hard), []).append(point)
    return [
        held
        for points in kinds.values()
        for held in combinations_with_replacement(points, asked.units[unit].coupons)
    ]


def information(asked: Search, unit: int, held: Sequence[Point]) -> Array:
    """X'V⁻¹X of one unit with its kept coupons, or (-1) of the earlier block.

    Columns: one for each block, one for an earlier block if there is one, then the terms.
    """
    points = [*held, *(point for at, point in asked.kept if at == unit)]
    names = sorted({one.block for one in asked.units})
    many = len(names) + any(at < 0 for at, _ in asked.kept)
    ones = np.zeros((len(points), many))
    ones[:, names.index(asked.units[unit].block) if unit >= 0 else -1] = 1.0
    x = np.hstack([ones, model_matrix(asked.factors, asked.terms, points).matrix[:, 1:]])
    v = np.eye(len(points))
    if asked.hard and unit >= 0:
        v += asked.ratio
    return np.asarray(x.T @ np.linalg.solve(v, x))


def criteria(asked: Search, found: Array) -> Array:
    """The values `Found` promises, of information matrices; infinitely bad where singular."""
    good = asked.criterion == "D"
    rank = np.linalg.matrix_rank(found, hermitian=True, tol=1e-9)
    fine = found[rank == found.shape[1]]
    values = np.full(len(found), -np.inf if good else np.inf)
    blocks = len({unit.block for unit in asked.units})
    extra = int(any(at < 0 for at, _ in asked.kept))
    terms = found.shape[1] - blocks - extra
    if not good:
        # At the average of the present blocks: an earlier one is not welded again.
        lift = np.zeros((terms + 1, found.shape[1]))
        lift[0, :blocks] = 1 / blocks
        lift[1:, blocks + extra :] = np.eye(terms)
        weight = lift.T @ region(asked) @ lift
        values[rank == found.shape[1]] = np.trace(np.linalg.inv(fine) @ weight, axis1=1, axis2=2)
        return values
    # What the terms keep when blocks are known, and one intercept with all present coupons.
    known = fine[:, : blocks + extra, : blocks + extra]
    schur = np.linalg.slogdet(fine)[1] - np.linalg.slogdet(known)[1]
    one = fine[:, :blocks, :blocks].sum(axis=(1, 2))
    values[rank == found.shape[1]] = (schur + np.log(one)) / (terms + 1)
    return values


def earlier(asked: Search) -> Array | float:
    """The information of the earlier block, or nothing."""
    return information(asked, -1, ()) if any(at < 0 for at, _ in asked.kept) else 0.0


def criterion(asked: Search, design: tuple[tuple[Point, ...], ...]) -> float:
    """The value `Found` promises for one design."""
    pieces = [
        information(asked, at, held)
        for at, held in enumerate(design)
        if held or any(unit == at for unit, _ in asked.kept)
    ]
    return float(criteria(asked, np.array([sum(pieces) + earlier(asked)]))[0])


def best_of_all(asked: Search) -> float:
    """The criterion of the best design there is; units that are alike are taken in order."""
    alike: dict[tuple[object, ...], list[int]] = {}
    kept_in = {at for at, _ in asked.kept}
    for at, unit in enumerate(asked.units):
        own = at if at in kept_in else -1
        alike.setdefault((unit.coupons, unit.block, str(unit.hard), own), []).append(at)
    whole = np.array([earlier(asked) + np.zeros((1, 1))])
    for units in alike.values():
        held = contents(asked, units[0])
        assert comb(len(held) + len(units) - 1, len(units)) * len(whole) <= 30_000
        pieces = np.array([information(asked, units[0], one) for one in held])
        chosen = np.array(list(combinations_with_replacement(range(len(held)), len(units))))
        group = pieces[chosen].sum(axis=1)
        whole = (whole[:, None] + group[None, :]).reshape(-1, *group.shape[1:])
    values = criteria(asked, whole)
    return float(values.max() if asked.criterion == "D" else values.min())


def region(asked: Search) -> Array:
    """Mean of ff' over a free region, by Gauss points; over a ruled one not defined here."""
    assert asked.allowed is None
    nodes, weights = np.polynomial.legendre.leggauss(5)
    axes: list[list[tuple[str | float, float]]] = []
    for factor in asked.factors:
        levels = levels_of(asked, factor.name)
        if factor.kind == "category":
            axes.append([(level, 1 / len(levels)) for level in levels])
            continue
        low, high = float(levels[0]), float(levels[-1])
        axes.append(
            [
                (float((low + high) / 2 + node * (high - low) / 2), float(weight) / 2)
                for node, weight in zip(nodes, weights, strict=True)
            ]
        )
    names = [factor.name for factor in asked.factors]
    places = list(product(*axes))
    points = [{n: x for n, (x, _) in zip(names, one, strict=True)} for one in places]
    weight = np.array([np.prod([w for _, w in one]) for one in places])
    rows = model_matrix(asked.factors, asked.terms, points).matrix
    return np.asarray((rows * weight[:, None]).T @ rows)
