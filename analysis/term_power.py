"""What a plan can show of each factor and interaction, whatever the design.

From the coded matrix of the coupons to be welded, their set-ups and two scatters: the standard
error of every term by generalised least squares at the planned variances, its error degrees of
freedom by the rule of the analysis (Kenward & Roger), and the chance from the noncentral t, or F
for several columns.  In a balanced design that is exact; where set-ups hold unequal parts it is as
good as the degrees of freedom are.

References
----------
Johnson, Kotz & Balakrishnan (1995). *Continuous Univariate Distributions*, vol. 2, 2nd ed.,
chapters 30 and 31 (noncentral F and t; from memory).
Kenward & Roger (1997). *Biometrics* 53:983-997.
Lenth (1989). *Technometrics* 31:469-473, where nothing is welded twice.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from weldtrial.analysis.kenward_roger import State
from weldtrial.analysis.kenward_roger import planned as at_planned
from weldtrial.analysis.lenth import (
    FEWEST,
    chance_to_stand_out,
    chance_within,
    shift_to_stand_out,
)
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.needs import Needs
from weldtrial.analysis.power import ALPHA, CHANCE, Aim, detectable, power_difference, power_f
from weldtrial.analysis.precision import Spread
from weldtrial.analysis.setup_layout import lay_out
from weldtrial.shared.problems import NotEstimable

Judge = Literal["set-ups", "coupons", "effects"]
Codes = NDArray[np.intp]
NONE = 1e-8
"""Share of a column below which nothing of it is left."""
TINY = 1e-9
"""Coupon scatter taken where none is said, as a share of that between set-ups."""


@dataclass(frozen=True, slots=True)
class AskedTerm:
    """A term that something is asked of.

    Attributes
    ----------
    name
        Such as ``gas`` or ``gas:voltage``.
    columns
        Its columns in the matrix.
    effects
        Coefficients of an effect of 1, each row a way that it could lie; shape (ways, columns).
    """

    name: str
    columns: tuple[int, ...]
    effects: Floats


@dataclass(frozen=True, slots=True)
class TermPower:
    """What a plan can show of one term.

    Attributes
    ----------
    term
        Its name.
    judged_by
        ``set-ups``, ``coupons`` (within set-ups, where there are any) or ``effects`` (Lenth).
    columns
        Columns of the model; several are tested together, by F.
    df
        Error degrees of freedom; below 1 nothing can be shown, and 0 for ``effects``.
    se
        Standard error of the effect, low to high; None for several columns.
    detectable
        Smallest effect shown with the chance, in the least noticeable way that it could lie; None
        where none ever is.
    chance
        Chance to show an effect as large as the margin; None without one.
    """

    term: str
    judged_by: Judge
    columns: int
    df: float
    se: float | None
    detectable: float | None
    chance: float | None

    @property
    def half_width(self) -> float | None:
        """Half of the 95 % interval to expect of a single column; None where there is none."""
        if self.se is None or self.df < 1:
            return None
        return float(-special.stdtrit(self.df, ALPHA / 2)) * self.se


def term_powers(
    x: Floats,
    setup: Codes | None,
    spread: Spread,
    terms: Sequence[AskedTerm],
    *,
    margin: float | None = None,
    target: float = CHANCE,
) -> tuple[TermPower, ...]:
    """Work out what a plan can show of each of its terms.

    Parameters
    ----------
    x
        Coded matrix of the counting coupons, shape (n, p): intercept or blocks, and all terms.
    setup
        Set-up of every coupon, shape (n,); None where every coupon is set up anew.
    spread
        Standard deviations to plan with.
    terms
        Terms of the model, each with independent columns.
    margin
        Effect to be shown, above 0, in the unit of `spread`.
    target
        Chance of `detectable`.
    """
    if setup is not None and np.bincount(setup).max() == 1:
        setup = None
    found = planned(x, setup, spread)
    if found is None:
        return tuple(TermPower(one.name, "coupons", len(one.columns), 0.0, None, None,
                               None if margin is None else 0.0) for one in terms)  # fmt: skip
    judges = _judges(x, setup, found, terms)
    many = sum(len(one.columns) for one in terms)
    saturated = setup is None and len(x) == x.shape[1] and many >= FEWEST
    if saturated and all(len(one.columns) == 1 for one in terms):
        return tuple(_by_effects(one, found.covariance, many, margin, target) for one in terms)
    return tuple(
        _by_scatter(one, found.covariance / scale, judge, df, margin, target)
        for one, (judge, df, scale) in zip(terms, judges, strict=True)
    )


@dataclass(frozen=True, slots=True, eq=False)
class Planned:
    """What a fit would know of its coefficients, were the scatters found as planned.

    Attributes
    ----------
    covariance
        Of the coefficients, in the response's unit squared, shape (p, p).  Where set-ups are
        unequal in what they hold it has grown by what two estimated scatters cost (Kenward & Roger
        1997), as in the analysis.
    state
        Judges the contrasts; None without set-ups, or where one of the scatters cannot be told.
    """

    covariance: Floats
    state: State | None

    def df(self, rows: Floats) -> tuple[float, float]:
        """Return degrees of freedom of contrasts (q, p) and the scale of their F, by `state`."""
        assert self.state is not None
        df, scale = self.state.denominators(rows)
        # A whole number stays one: below 1 nothing can be judged.
        return round(float(df[0]), 9), float(scale[0])


def planned(x: Floats, setup: Codes | None, spread: Spread) -> Planned | None:
    """Return what a fit would know at the planned variances, None if columns are not independent.

    Parameters
    ----------
    x, setup, spread
        As for `term_powers`.
    """
    if np.linalg.matrix_rank(x, tol=NONE * max(x.shape)) < x.shape[1]:
        return None
    if setup is None:
        return Planned(np.asarray(spread.alone**2 * np.linalg.inv(x.T @ x)), None)
    coupon = max(spread.seen, TINY * spread.setup)
    if coupon == 0:
        return Planned(np.zeros((x.shape[1], x.shape[1])), None)
    try:
        layout = lay_out(x, setup)
        if min(layout.df_setup, layout.df_within) < 1:
            raise NotEstimable("one of the two scatters cannot be told")
        state = at_planned(layout, (spread.setup / coupon) ** 2)
        turn = np.linalg.inv(layout.r)
        return Planned(np.asarray(coupon**2 * (turn @ state.adjusted[0] @ turn.T)), state)
    except NotEstimable:
        # X'V^-1 X is what lies within the set-ups, and their sums at the variance of their sums.
        sizes, sums, inside = _by_setup(x, setup)
        weights = 1.0 / (sizes * (coupon**2 + sizes * spread.setup**2))
        information = inside.T @ inside / coupon**2 + (sums.T * weights) @ sums
        return Planned(np.asarray(np.linalg.inv(information)), None)


def _by_setup(x: Floats, setup: Codes) -> tuple[Floats, Floats, Floats]:
    """Return the sizes of the set-ups, the sums of the columns in each, and what is left of x."""
    sizes = np.bincount(setup).astype(float)
    sums = np.zeros((len(sizes), x.shape[1]))
    np.add.at(sums, setup, x)
    return sizes, sums, np.asarray(x - (sums / sizes[:, None])[setup])


def _judges(
    x: Floats, setup: Codes | None, found: Planned, terms: Sequence[AskedTerm]
) -> list[tuple[Judge, float, float]]:
    """Return what judges each term, its degrees of freedom, and the scale of its F."""
    if setup is None:
        return [("coupons", float(len(x) - x.shape[1]), 1.0) for _ in terms]
    sizes, _, inside = _by_setup(x, setup)
    by_setups = [bool(np.abs(inside[:, one.columns]).max() < NONE) for one in terms]
    if found.state is not None:
        dfs = [found.df(np.eye(x.shape[1])[list(one.columns)]) for one in terms]
    else:
        within = int(np.linalg.matrix_rank(inside, tol=NONE * max(x.shape)))
        left = {True: len(sizes) + within - x.shape[1], False: len(x) - len(sizes) - within}
        dfs = [(float(max(0, left[between])), 1.0) for between in by_setups]
    return [("set-ups" if between else "coupons", df, scale)
            for between, (df, scale) in zip(by_setups, dfs, strict=True)]  # fmt: skip


def _by_scatter(
    one: AskedTerm,
    covariance: Floats,
    judge: Judge,
    df: float,
    margin: float | None,
    target: float,
) -> TermPower:
    block = covariance[np.ix_(one.columns, one.columns)]
    count = len(one.columns)
    if count == 1:
        se = float(np.sqrt(block[0, 0]) / abs(one.effects[0, 0]))
        seen = detectable(se, df, target)
        chance = None if margin is None else power_difference(margin, se, df)
        return TermPower(one.name, judge, 1, df, se, seen, chance)
    if df < 1:
        return TermPower(one.name, judge, count, df, None, None, None if margin is None else 0.0)
    if not block.any():
        return TermPower(one.name, judge, count, df, None, 0.0, None if margin is None else 1.0)
    # The way it lies that moves F least.
    least = float(np.einsum("wi,ij,wj->w", one.effects, np.linalg.inv(block), one.effects).min())
    needed = _noncentrality(count, df, target)
    chance = None if margin is None else power_f(margin**2 * least, count, df)
    return TermPower(one.name, judge, count, df, None, float(np.sqrt(needed / least)), chance)


def _noncentrality(count: int, df: float, chance: float) -> float:
    top = 10.0
    while power_f(top, count, df) < chance:
        top *= 2
    return float(optimize.brentq(lambda one: power_f(one, count, df) - chance, 0.0, top))


def _by_effects(
    one: AskedTerm, covariance: Floats, many: int, margin: float | None, target: float
) -> TermPower:
    at = one.columns[0]
    se = float(np.sqrt(covariance[at, at]) / abs(one.effects[0, 0]))
    seen = shift_to_stand_out(many, target) * se
    shift = None if margin is None else margin / max(se, TINY * margin)
    chance = None if shift is None else chance_to_stand_out(many, shift)
    return TermPower(one.name, "effects", 1, 0.0, se, seen, chance)


def judged_by_effects(needs: Needs, own: TermPower, effects: int, aim: Aim) -> Needs:
    """Return what a plan shows of its compared factor where effects judge each other.

    Parameters
    ----------
    needs
        What it would show by degrees of freedom, of which there are none.
    own
        The factor's row, judged by `effects` of them.
    aim
        A percent margin is not held against an effect: its chances are then None.
    """
    se, margin = own.se, aim.margin
    ready = se is not None and se > 0 and margin is not None and aim.fraction is None
    shift = margin / se if ready and margin is not None and se is not None else None
    return replace(
        needs,
        power=own.chance,
        detectable=own.detectable,
        no_worse=None if shift is None else chance_within(effects, shift, both=False),
        equal_enough=None if shift is None else chance_within(effects, shift, both=True),
        half_loss_power=None if shift is None else chance_to_stand_out(effects, shift / 2),
        se=se,
    )
