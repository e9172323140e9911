"""Units of one make, and the settings their coupons may be shared out over."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from weldtrial.doe.candidates import Array, Places
from weldtrial.doe.criterion import with_intercept
from weldtrial.doe.optimal_problem import Problem
from weldtrial.doe.point_exchange import Listed
from weldtrial.shared.coding import model_matrix


@dataclass(frozen=True, slots=True, eq=False)
class Groups:
    """Units of one make with one kind, and the settings of that kind, end to end.

    A make is a size, what is kept, and the kinds permitted; blocks are left out.

    Attributes
    ----------
    row
        Model row of each setting with its intercept, shape (shares, columns).
    setting
        Its number in the list, (shares,).
    begin, of
        Where each group begins, (groups,); the group of each setting, (shares,).
    make
        Make of each group; shares over all settings of a make sum to 1.
    units, coupons, shrink
        Of each group: units of its make, new coupons in one, and c = g/(1 + gT); with one coupon
        in a unit c is 0 and the units count 1/(1 + g) each.
    kept_sum, kept
        Of each group: sum, (groups, columns), and information of the rows kept in one unit.
    earlier
        Information that is there in any case, (columns, columns).
    """

    row: Array
    setting: Places
    begin: Places
    of: Places
    make: Places
    units: Array
    coupons: Array
    shrink: Array
    kept_sum: Array
    kept: Array
    earlier: Array

    @property
    def make_of(self) -> Places:
        """Make of each setting."""
        return np.asarray(self.make[self.of])

    def only(self, chosen: Places) -> Groups:
        """Return the groups with the given settings alone; every group has to keep one."""
        of = self.of[chosen]
        return replace(
            self,
            row=self.row[chosen],
            setting=self.setting[chosen],
            begin=np.searchsorted(of, np.arange(len(self.make))),
            of=of,
        )


def make_groups(problem: Problem, listed: Listed) -> Groups:
    """Return the makes of a problem's units with the settings open to each."""
    rows = with_intercept(listed.rows)
    b = problem.blocks
    kept, earlier = _kept(problem)
    makes: dict[tuple[object, ...], list[int]] = {}
    for unit, may in enumerate(problem.may):
        new = int((problem.unit == unit).sum())
        if new:
            key = (new, int(problem.total[unit]), may, problem.held[unit][b:].tobytes())
            makes.setdefault(key, []).append(unit)
        else:
            total = _sum(problem, unit)
            share = float(problem.shrink(int(problem.total[unit])))
            earlier = earlier + kept[unit] - share * np.outer(total, total)
    parts: list[tuple[Places, int, int, int]] = []
    for number, units in enumerate(makes.values()):
        for kind in problem.may[units[0]]:
            at = np.flatnonzero(listed.kind == kind)
            if len(at):
                parts.append((at, number, units[0], len(units)))
    first = [unit for _, _, unit, _ in parts]
    sizes = [len(at) for at, *_ in parts]
    setting = np.concatenate([at for at, *_ in parts])
    return Groups(
        row=rows[setting],
        setting=setting,
        begin=np.cumsum([0, *sizes[:-1]]),
        of=np.repeat(np.arange(len(parts)), sizes),
        make=np.array([make for _, make, _, _ in parts]),
        # A set-up of one coupon holds no mixture: it is a coupon of variance 1 + g, no more.
        units=np.array(
            [many / (1 + problem.ratio * (problem.total[unit] == 1)) for _, _, unit, many in parts]
        ),
        coupons=np.array([float((problem.unit == unit).sum()) for unit in first]),
        shrink=np.array(
            [
                float(problem.shrink(int(problem.total[unit]))) * (problem.total[unit] > 1)
                for unit in first
            ]
        ),
        kept_sum=np.array([_sum(problem, unit) for unit in first]),
        kept=kept[first],
        earlier=earlier,
    )


def _sum(problem: Problem, unit: int) -> Array:
    """Return the sum of a unit's kept rows, with intercept."""
    b = problem.blocks
    held = problem.held[unit]
    return np.concatenate([[held[:b].sum()], held[b:]])


def _kept(problem: Problem) -> tuple[Array, Array]:
    """Return the information of the coupons kept in each unit, and of an earlier block."""
    asked = problem.asked
    columns = problem.columns - problem.blocks + 1
    inside = np.zeros((len(problem.may), columns, columns))
    earlier = []
    for unit, point in asked.kept:
        row = model_matrix(asked.factors, asked.terms, [point]).matrix[0]
        if unit < 0:
            earlier.append(row)
        else:
            inside[unit] += np.outer(row, row)
    if not earlier:
        return inside, np.zeros((columns, columns))
    off = np.array(earlier) - np.mean(earlier, axis=0)
    return inside, off.T @ off
