"""What no design can pass: the optimum over shares of coupons, and a rigorous bound beside it.

A continuous design shares the coupons out over settings in any fractions, so it is at least as
good as the best exact one.  It is found by the multiplicative algorithm; whatever it has reached,
the equivalence theorem bounds what is left: no design has a larger determinant than

    log det M(w) + q log( max trace(A M') / q ),   A = M(w)⁻¹,  q unknowns,

and none a smaller trace(M⁻¹W) than trace(M(w)⁻¹W)² / max trace(A M'), A = M(w)⁻¹ W M(w)⁻¹, where
the largest is over all designs M' (by the arithmetic and geometric mean; by Cauchy and Schwarz).
So the bound holds without the algorithm having converged.

With set-ups the largest is taken unit by unit.  A unit of m coupons whose rows sum to y has the
information Σxx' − c yy', concave in what it holds, hence for any fixed y at most

    Σ (x'Ax − 2c y'Ax) + c y'Ay   in the direction A,

and its best content is m times its best single setting.  Blocks are left out of the bound:
their columns can only take information away.

References
----------
Kiefer & Wolfowitz (1960). The equivalence of two extremum problems. *Canadian J. Math.* 12: 363.
Silvey, Titterington & Torsney (1978). An algorithm for optimal designs on a finite design space.
*Communications in Statistics – Theory and Methods* 7(14): 1379.
Varadhan & Roland (2008). Simple and globally convergent methods for accelerating the convergence of
any EM algorithm. *Scandinavian J. Statistics* 35(2): 335 (the steps are lengthened by it).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weldtrial.doe.candidates import Array
from weldtrial.doe.continuous_groups import Groups, make_groups
from weldtrial.doe.optimal_problem import Problem
from weldtrial.doe.point_exchange import Listed

_ROUNDS = 30
_FIRST_STEPS, _STEPS = 10, 20
_CLOSE_ENOUGH = 1e-4
_NEARLY = 0.97
_SEED = 1e-3
_TINY, _FEW, _LEAST = 1e-9, 1e-3, 1e-12


@dataclass(frozen=True, slots=True, eq=False)
class Bound:
    """A bound, and which settings the optimum uses.

    Attributes
    ----------
    value
        What no design passes, in the units of `Found.value`, block columns left out: for D the
        log determinant per column of intercept and terms, for I the average variance.
    gap
        How much of it may be slack, as a share of efficiency.
    use
        For every listed setting its sensitivity over the largest of the same kind: 1 where the
        optimum sits.
    """

    value: float
    gap: float
    use: Array


def continuous_bound(problem: Problem, listed: Listed) -> Bound:
    """Return a rigorous bound on every design over the listed settings.

    Raises
    ------
    numpy.linalg.LinAlgError
        When the model cannot be told over the listed settings.
    """
    whole = make_groups(problem, listed)
    weight = _without_blocks(problem)
    shares = 1.0 / np.bincount(whole.make_of)[whole.make_of]
    best: Bound | None = None
    for number in range(_ROUNDS):
        # The first steps are taken on all settings; later on those that matter, the others
        # being looked at once a round.
        keep, seeded = (
            _matter(whole, shares, weight) if number else (np.arange(len(shares)), shares)
        )
        groups = whole.only(keep)
        own = _shared_out(groups, seeded[keep])
        for _ in range(_STEPS if number else _FIRST_STEPS):
            own = _longer(groups, own, weight)
        shares = np.zeros_like(shares)
        # The content of a kind not used still matters to the bound, so it is kept from vanishing.
        shares[keep] = own * np.maximum(1.0, _LEAST / _used(groups, own))
        bound = _judge(whole, shares, weight, len(listed.rows))
        if best is None or bound.gap < best.gap:
            best = bound
        if best.gap < _CLOSE_ENOUGH:
            break
    assert best is not None
    return best


def _without_blocks(problem: Problem) -> Array | None:
    """Return the moments for intercept and terms; an average block is the intercept."""
    if problem.weight is None:
        return None
    b = problem.blocks
    join = np.zeros((problem.columns - b + 1, problem.columns))
    join[0, :b] = 1.0
    join[1:, b:] = np.eye(problem.columns - b)
    return np.asarray(join @ problem.weight @ join.T)


def _matter(groups: Groups, shares: Array, weight: Array | None) -> tuple[NDArray[np.intp], Array]:
    """Return the settings in use or nearly as sensitive as the best of their group.

    The shares come with them, those settings not in use yet having a little: of what their group
    has, or of what it should have when it rivals the best of its make.
    """
    _, each, _ = _sensitivity(groups, shares, weight)
    top = np.maximum.reduceat(each, groups.begin)
    best = np.zeros(int(groups.make.max()) + 1)
    np.maximum.at(best, groups.make, top)
    used = np.add.reduceat(shares, groups.begin)
    near = each >= _NEARLY * top[groups.of]
    taken = shares > _TINY * used[groups.of]
    fresh = near & ~taken
    due = np.maximum(used, np.where(top >= _NEARLY * best[groups.make], _FEW, 0.0))
    many = np.maximum(np.bincount(groups.of, fresh, len(used)), 1.0)
    return np.flatnonzero(near | taken), shares + (_SEED * due / many)[groups.of] * fresh


def _shared_out(groups: Groups, shares: Array) -> Array:
    make = groups.make_of
    return np.asarray(shares / np.bincount(make, shares)[make])


def _used(groups: Groups, shares: Array) -> Array:
    """Return for every setting the share of its whole group."""
    return np.asarray(np.add.reduceat(shares, groups.begin)[groups.of])


def _information(groups: Groups, shares: Array) -> tuple[Array, Array]:
    """Return the information of shares, and what a unit of each group sums to."""
    used = np.add.reduceat(shares, groups.begin)
    sums = np.add.reduceat(groups.row * shares[:, None], groups.begin)
    middle = sums / np.maximum(used, 1e-300)[:, None]
    y = groups.kept_sum + groups.coupons[:, None] * middle
    each = (groups.units * groups.coupons)[groups.of] * shares
    found = groups.earlier + (groups.row * each[:, None]).T @ groups.row
    found = found + np.einsum("g,gij->ij", groups.units * used, groups.kept)
    found = found - (y * (groups.units * used * groups.shrink)[:, None]).T @ y
    return (found + found.T) / 2, y


def _sensitivity(groups: Groups, shares: Array, weight: Array | None) -> tuple[float, Array, float]:
    """Return the criterion, the sensitivity per coupon of every setting, and that of what is fixed.

    The criterion is log det, or trace(M⁻¹W).
    """
    found, y = _information(groups, shares)
    inverse = np.linalg.inv(found)
    inverse = (inverse + inverse.T) / 2
    if weight is None:
        a, value = inverse, float(np.linalg.slogdet(found)[1])
    else:
        a, value = inverse @ weight @ inverse, float(np.trace(inverse @ weight))
    ya = y @ a
    unit = (
        np.einsum("ij,gij->g", a, groups.kept)
        - 2 * groups.shrink * (ya * groups.kept_sum).sum(axis=1)
        + groups.shrink * (ya * y).sum(axis=1)
    )
    alone = ((groups.row @ a) * groups.row).sum(axis=1)
    beside = 2 * groups.shrink[groups.of] * (groups.row * ya[groups.of]).sum(axis=1)
    each = alone - beside + (unit / groups.coupons)[groups.of]
    return value, each, float((a * groups.earlier).sum())


def _step(groups: Groups, shares: Array, weight: Array | None) -> tuple[Array, float]:
    """Return the shares after one multiplicative step, and the criterion before it."""
    value, each, _ = _sensitivity(groups, shares, weight)
    # Where coupons are kept in a unit a sensitivity may come out below nothing.
    pull = np.maximum(each, 1e-12)
    return _shared_out(groups, shares * (pull if weight is None else np.sqrt(pull))), value


def _longer(groups: Groups, shares: Array, weight: Array | None) -> Array:
    """Return the shares after two steps and a longer one in their direction, if that is better."""
    one, _ = _step(groups, shares, weight)
    two, _ = _step(groups, one, weight)
    first, bend = one - shares, two - 2 * one + shares
    if float(bend @ bend) < 1e-30:
        return two
    length = float(np.sqrt((first @ first) / (bend @ bend)))
    if length < 1:
        return two
    far = shares + 2 * length * first + length**2 * bend
    # A kind hardly used would lose its way in a step that suits the others.
    far = np.where(_used(groups, two) > _FEW, np.maximum(far, two / 100), two)
    far = _shared_out(groups, far)
    new, reached = _step(groups, far, weight)
    before = _sensitivity(groups, two, weight)[0]
    worse = reached < before if weight is None else reached > before
    return two if worse else new


def _judge(groups: Groups, shares: Array, weight: Array | None, settings: int) -> Bound:
    value, each, most = _sensitivity(groups, shares, weight)
    top = np.maximum.reduceat(each, groups.begin)
    for make in range(int(groups.make.max()) + 1):
        own = groups.make == make
        most += float(groups.units[own][0] * groups.coupons[own][0] * top[own].max())
    use = np.zeros(settings)
    np.maximum.at(use, groups.setting, each / top[groups.of])
    columns = groups.row.shape[1]
    if weight is None:
        gap = float(np.log(most / columns))
        return Bound(value / columns + gap, gap, use)
    return Bound(value**2 / most, most / value - 1, use)
