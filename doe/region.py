"""The region that a trial allows: coded points as settings, and which of them its rules forbid."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import product

from weldtrial.shared.coding import Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.limit_box import keeps, rules_of
from weldtrial.shared.trial import Trial

MOST = 200_000
"""More points than this on a grid are refused: a grid so fine is a slip."""


def settings_at(trial: Trial, point: Point) -> dict[str, float | str]:
    """Return what a coded point sets on the machine, every factor of the trial included.

    Parameters
    ----------
    point
        A level for every varied category and a coded number for every varied numeric factor; the
        numbers may lie beyond ±1.

    Returns
    -------
    A number in the factor's unit, the nearest that the machine can be set to, or a level; factors
    with one level are at it.

    Raises
    ------
    KeyError
        When a varied factor is missing.
    """
    categories = {
        one.name: str(point[one.name]) if one.varied else one.levels[0]
        for one in trial.factors
        if one.kind == "category"
    }
    return {
        one.name: categories[one.name]
        if one.kind == "category"
        else _setting(one, point, categories.get(one.slides_with or "", ""))
        for one in trial.factors
    }


def _setting(factor: Factor, point: Point, owner: str) -> float:
    if not factor.varied:
        return factor.setting(factor.levels[0], owner)
    coded = float(point[factor.name])
    if factor.used_as_is:
        return coded
    return factor.settable(coded, owner)


def allowed(trial: Trial) -> Callable[[Point], bool]:
    """Return what tells whether the rules of a trial allow a coded point.

    Parameters
    ----------
    trial
        Checked, so that its rules can be read.  Without rules every point is allowed.
    """
    rules = rules_of(trial)
    if not rules:
        return lambda point: True
    return lambda point: keeps(rules, settings_at(trial, point))


def feasible_points(
    trial: Trial, grid: int | Mapping[str, Sequence[float]]
) -> tuple[dict[str, str | float], ...]:
    """Return the points of a grid that the rules allow, the last factor changing fastest.

    Parameters
    ----------
    grid
        Settings of each numeric factor from -1 to +1, both ends included (2 or more); or the coded
        numbers of each by name.  Categories take all their levels.

    Raises
    ------
    ValueError
        When there are fewer than 2 settings of a factor, or more than `MOST` points.
    KeyError
        When a varied numeric factor is missing.
    """
    rows: list[Sequence[str | float]] = []
    for factor in trial.varied:
        if factor.kind == "category":
            rows.append(factor.levels)
        elif isinstance(grid, int):
            if grid < 2:
                raise ValueError(f"a grid of {grid} leaves no range: use 2 or more")
            rows.append([2 * step / (grid - 1) - 1 for step in range(grid)])
        else:
            rows.append(grid[factor.name])
    count = 1
    for row in rows:
        count *= len(row)
    if count > MOST:
        raise ValueError(f"a grid of {count} points is too fine; {MOST} are the most")
    may, names = allowed(trial), [factor.name for factor in trial.varied]
    every = (dict(zip(names, values, strict=True)) for values in product(*rows))
    return tuple(point for point in every if may(point))


def combinations_of_levels(trial: Trial) -> Iterator[dict[str, str]]:
    """Yield every combination of the levels of the varied categories."""
    categories = [one for one in trial.varied if one.kind == "category"]
    for levels in product(*(one.levels for one in categories)):
        yield dict(zip((one.name for one in categories), levels, strict=True))
