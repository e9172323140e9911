"""A search made ready for numbers: who belongs to which unit, what is fixed, what may be chosen.

Positions are the new coupons in the order of their units.  A row is the model row of a coupon with
one column for each block in place of the intercept.  Adding a coupon to a unit that holds T − 1
others whose rows sum to s adds rr'/v to the information, with r = row − γs, v = 1 + γ and
γ = g/(1 + (T − 1)g): its reading given the others of its set-up.  Every exchange is one such
piece taken off and another put on, two ranks, with set-ups as without.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from weldtrial.doe.candidates import Array, Grid, Places, grid_of
from weldtrial.doe.criterion import moments
from weldtrial.doe.optimal_asked import Search
from weldtrial.shared.coding import model_matrix
from weldtrial.shared.problems import PlanRefused


@dataclass(frozen=True, slots=True, eq=False)
class Problem:
    """Everything a search needs besides its starts.

    Attributes
    ----------
    asked, grid
        As they are.
    ratio
        Set-up variance over coupon variance; 0 where units are no set-ups.
    block
        Block of each unit, numbered from 0, shape (units,).
    unit
        Unit of each position, shape (positions,).
    total
        Coupons of each unit, kept ones among them.
    fixed
        Information that no exchange alters: kept coupons, shape (columns, columns).
    held
        Sum of the rows of kept coupons of each unit, shape (units, columns).
    kinds
        Levels of the hard factors, shape (kinds, hard factors); one empty row without any.
    may
        The kinds each unit may have.
    weight
        For I: mean of ff' over the region at an average block, (columns, columns); None for D.
    """

    asked: Search
    grid: Grid
    ratio: float
    block: Places
    unit: Places
    total: Places
    fixed: Array
    held: Array
    kinds: Places
    may: tuple[tuple[int, ...], ...]
    weight: Array | None

    @property
    def blocks(self) -> int:
        """Number of blocks, at least 1."""
        return int(self.block.max()) + 1

    @property
    def columns(self) -> int:
        """Unknowns: blocks and columns of the terms."""
        return int(self.fixed.shape[0])

    @property
    def hard(self) -> list[int]:
        """Where the hard factors stand among the factors."""
        return [at for at, one in enumerate(self.grid.factors) if one.name in self.asked.hard]

    def shrink(self, others: Places | int) -> Array:
        """Return γ of a coupon beside that many others of its unit."""
        return np.asarray(self.ratio / (1 + self.ratio * np.asarray(others)))

    def information(self, rows: Array) -> Array:
        """Return information matrices of designs whose rows, blocks left out, are given.

        Parameters
        ----------
        rows
            Shape (designs, positions, columns − blocks).
        """
        whole = self.with_blocks(rows)
        found = np.swapaxes(whole, 1, 2) @ whole + self.fixed
        if self.ratio:
            sums = self.sums(whole)
            share = self.shrink(self.total)
            found -= np.swapaxes(sums * share[:, None], 1, 2) @ sums
        return np.asarray(found)

    def with_blocks(self, rows: Array) -> Array:
        """Return rows with the columns of their blocks before them."""
        ones = np.eye(self.blocks)[self.block[self.unit]]
        shape = (rows.shape[0], *ones.shape)
        return np.concatenate([np.broadcast_to(ones, shape), rows], axis=2)

    def sums(self, whole: Array) -> Array:
        """Return the sum of the rows of every unit, kept ones among them."""
        member = (np.arange(len(self.total))[:, None] == self.unit).astype(np.float64)
        return np.asarray(member @ whole + self.held)


def make_problem(asked: Search) -> Problem:
    """Return a search made ready.

    Raises
    ------
    PlanRefused
        When there is nothing to place, a kept coupon belongs to no unit, a prescribed level is
        none of the factor's, or the region is empty.
    ValueError
        When a number is out of its range, or a name or unit is not there.
    """
    if asked.ratio < 0 or asked.starts < 1 or any(unit.coupons < 0 for unit in asked.units):
        raise ValueError("a ratio and coupons are at least 0, starts at least 1")
    if not any(unit.coupons for unit in asked.units):
        raise PlanRefused("There is no coupon to place: the plan asks for none.")
    if any(not -1 <= unit < len(asked.units) for unit, _ in asked.kept):
        raise ValueError("a kept coupon belongs to a unit that is not there")
    if not set(asked.hard) <= {factor.name for factor in asked.factors}:
        raise ValueError("a hard factor is none of the factors")
    grid = grid_of(asked)
    block = _blocks(asked)
    unit = np.repeat(np.arange(len(asked.units)), [unit.coupons for unit in asked.units])
    ratio = asked.ratio if asked.hard else 0.0
    fixed, held, total = _kept(asked, grid, block)
    hard = [at for at, one in enumerate(grid.factors) if one.name in asked.hard]
    every = list(product(*(range(len(grid.levels[at])) for at in hard)))
    kinds = np.array(every, dtype=np.intp).reshape(len(every), len(hard))
    return Problem(
        asked=asked,
        grid=grid,
        ratio=ratio,
        block=block,
        unit=unit,
        total=total,
        fixed=fixed,
        held=held,
        kinds=kinds,
        may=tuple(_may(asked, grid, kinds, hard, at) for at in range(len(asked.units))),
        weight=_weight(asked, grid, int(block.max()) + 1) if asked.criterion == "I" else None,
    )


def _blocks(asked: Search) -> Places:
    """Return the block of each unit, numbered from 0; units without a coupon make no block."""
    kept = {unit for unit, _ in asked.kept}
    names = sorted(
        {unit.block for at, unit in enumerate(asked.units) if unit.coupons or at in kept}
    )
    return np.array(
        [names.index(unit.block) if unit.block in names else 0 for unit in asked.units],
        dtype=np.intp,
    )


def _kept(asked: Search, grid: Grid, block: Places) -> tuple[Array, Array, Places]:
    """Return the information, the sums by unit, and the counts of units with kept coupons."""
    blocks = int(block.max()) + 1
    columns = blocks + grid.pieces.shape[1]
    fixed, held = np.zeros((columns, columns)), np.zeros((len(block), columns))
    total = np.array([unit.coupons for unit in asked.units], dtype=np.intp)
    earlier = []
    for at, point in asked.kept:
        row = np.zeros(columns)
        # Kept coupons may lie off the grid, so their rows come from the model itself.
        row[blocks:] = model_matrix(asked.factors, asked.terms, [point]).matrix[0, 1:]
        if at < 0:
            earlier.append(row)
            continue
        row[block[at]] = 1.0
        held[at] += row
        total[at] += 1
        fixed += np.outer(row, row)
    if earlier:
        off = np.array(earlier) - np.mean(earlier, axis=0)
        fixed += off.T @ off
    return fixed, held, total


def _may(asked: Search, grid: Grid, kinds: Places, hard: list[int], unit: int) -> tuple[int, ...]:
    """Return the kinds that agree with what is prescribed for a unit and kept in it."""
    wanted: list[dict[str, str | float]] = []
    if asked.units[unit].hard:
        wanted.append(dict(asked.units[unit].hard or {}))
    for at, point in asked.kept:
        if at == unit:
            wanted.append({name: point[name] for name in asked.hard})
    found = []
    for number, kind in enumerate(kinds):
        levels = {
            grid.factors[at].name: grid.levels[at][place]
            for at, place in zip(hard, kind, strict=True)
        }
        if all(levels.get(name) == level for one in wanted for name, level in one.items()):
            found.append(number)
    if not found:
        said = ", ".join(f"{name} {level}" for one in wanted for name, level in one.items())
        raise PlanRefused(
            f"Set-up {unit + 1} is to hold {said}: no one combination of the hard-to-change "
            "factors is that. Check the levels."
        )
    return tuple(found)


def _weight(asked: Search, grid: Grid, blocks: int) -> Array:
    mean = moments(asked, grid)
    columns = blocks + mean.shape[0] - 1
    lift = np.zeros((mean.shape[0], columns))
    lift[0, :blocks] = 1.0 / blocks
    lift[1:, blocks:] = np.eye(mean.shape[0] - 1)
    return np.asarray(lift.T @ mean @ lift)
