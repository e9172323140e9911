"""Fitting one response at the right level of error: which terms, which stratum, which method.

The rule (the same in planning and in analysis): with a hard-to-change factor the set-up is the
experimental unit, set-ups are random and tested by Kenward-Roger with the set-up variance free to
go negative; rounds are fixed.  With one coupon on every set-up, or nothing hard to change, the
coupon is the unit and least squares is the answer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from weldtrial.analysis.findings import EstimateRow, TermTestRow
from weldtrial.analysis.least_squares import LeastSquaresFit, fit_least_squares
from weldtrial.analysis.linear import Estimate, estimate, term_test
from weldtrial.analysis.mixed import SetupFit, fit_setups
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.unreplicated import UnreplicatedFit, fit_bare, fit_unreplicated
from weldtrial.shared.coding import ModelMatrix, Point, contrast_columns, model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.terms import Term

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]
Codes = NDArray[np.intp]
Core = SetupFit | LeastSquaresFit | UnreplicatedFit

KENWARD_ROGER = "kenward-roger"
LEAST_SQUARES = "least-squares"
WITHIN = "least-squares within set-ups"
LENTH = "lenth"
BARE = "estimates only"
SOURCES = {
    KENWARD_ROGER: "Kenward & Roger 1997, Biometrics 53, 983-997 (REML, expected information); "
    "Halekoh & Hojsgaard 2014, J. Stat. Softw. 59(9)",
    LEAST_SQUARES: "ordinary least squares; tests of each term given all the others",
    WITHIN: "ordinary least squares with set-ups fixed",
    LENTH: "Lenth 1989, Technometrics 31, 469-473; critical values simulated as in Ye & Hamada "
    "2000, J. Qual. Technol. 32, 57-66",
    BARE: "as many unknowns as coupons and too few of them to tell effects from scatter",
}


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A term that the coupons cannot estimate, and what it is tied to."""

    term: str
    tied_to: str


@dataclass(frozen=True, slots=True)
class ModelFit:
    """A fitted response.

    Attributes
    ----------
    core
        The fit itself; its first columns are those of `model`, blocks follow.
    model
        Coded matrix of the terms kept.
    left_out
        Terms left out and why.
    """

    method: str
    core: Core
    model: ModelMatrix
    left_out: tuple[LeftOut, ...]
    factors: tuple[Factor, ...]
    y: Vector
    x: Matrix
    setup: NDArray[np.intp] | None

    def vector(self, weights: dict[int, float]) -> Vector:
        """Return a contrast over all columns from weights of single ones."""
        vector = np.zeros(self.x.shape[1])
        for column, weight in weights.items():
            vector[column] = weight
        return vector

    def mean_vector(self, factor: Factor, level: str) -> Vector:
        """Return the contrast of an adjusted mean: others at the coded centre, blocks averaged."""
        weights = {0: 1.0}
        for power in (1, 2):
            term = Term(((factor.name, power),)).name
            columns = self.model.columns.get(term, ())
            if factor.kind == "category":
                values: tuple[float, ...] = contrast_columns(factor, level)
            else:
                owner = next(iter(factor.settings))
                values = (factor.coded(factor.setting(level, owner), owner) ** power,)
            weights.update(dict(zip(columns, values, strict=False)))
        return self.vector(weights)

    def estimate(self, contrast: Vector) -> Estimate:
        """Return the estimate of a contrast over all columns."""
        return estimate(self.core, contrast)

    def tests(self) -> tuple[TermTestRow, ...]:
        """Return the F test of every term kept, given all the others."""
        rows: list[TermTestRow] = []
        if self.method == BARE:
            return ()
        for term, columns in self.model.columns.items():
            if isinstance(self.core, UnreplicatedFit):
                found = self.estimate(self.vector({columns[0]: 1.0}))
                rows.append(TermTestRow(term, 1, found.df, found.estimate / found.se, found.p))
                continue
            test = term_test(self.core, np.eye(self.x.shape[1])[list(columns)])
            rows.append(TermTestRow(term, test.df_num, test.df_den, test.statistic, test.p))
        return tuple(rows)

    def coefficients(self, confidence: float = 0.95) -> tuple[EstimateRow, ...]:
        """Return every coefficient of the model, the intercept first."""
        return tuple(
            estimate_row(name, self.estimate(self.vector({column: 1.0})), confidence)
            for column, name in enumerate(self.model.names)
        )

    def effects(self, confidence: float = 0.95) -> tuple[EstimateRow, ...]:
        """Return the low-to-high (or first minus last) effect of every term with one column.

        The effect of a square is the rise from the centre to either end.
        """
        rows = []
        for term, columns in self.model.columns.items():
            if len(columns) > 1:
                rows.append(EstimateRow(term, None, None, None, None, None, None))
                continue
            weight = 1.0 if "^" in term else 2.0
            found = self.estimate(self.vector({columns[0]: weight}))
            rows.append(estimate_row(term, found, confidence))
        return tuple(rows)

    @property
    def fitted(self) -> Vector:
        """Fitted values without set-up deviations."""
        return np.asarray(self.x @ self.core.coefficients)


def estimate_row(term: str, found: Estimate, confidence: float = 0.95) -> EstimateRow:
    """Return an estimate as a row of findings."""
    if math.isnan(found.se):
        return EstimateRow(term, found.estimate, None, None, None, None, None)
    low, high = found.interval(confidence)
    return EstimateRow(term, found.estimate, found.se, found.df, low, high, found.p)


def sum_to_zero(labels: Sequence[object]) -> Matrix:
    """Return sum-to-zero columns of the distinct labels, shape (n, distinct - 1)."""
    distinct = list(dict.fromkeys(labels))
    codes = np.array([distinct.index(label) for label in labels])
    columns = np.eye(len(distinct))[codes]
    return np.asarray(columns[:, :-1] - columns[:, -1:])


def fit_model(
    factors: Sequence[Factor],
    terms: Sequence[Term],
    observations: Sequence[Observation],
    *,
    points: Sequence[Point] | None = None,
    extra: Sequence[Sequence[float]] = (),
    setups: bool = True,
) -> ModelFit:
    """Fit one response by the rule of this module.

    Parameters
    ----------
    factors, terms
        Varied factors and the terms asked for; terms the coupons cannot estimate are left out.
    observations
        One entry a coupon.
    points
        Coded points to use instead of the planned ones (settings as run).
    extra
        Further columns, such as the order welded, each as long as `observations`.
    setups
        False fits as if every coupon had its own set-up (the naive answer).

    Raises
    ------
    NotEstimable
        When nothing has been read, or nothing is left to estimate error from.
    """
    if not observations:
        raise NotEstimable("nothing has been read yet")
    y = np.array([o.value for o in observations])
    points = list(points or [o.point for o in observations])
    blocks = np.column_stack(
        [sum_to_zero([o.round for o in observations]), *(np.asarray(e)[:, None] for e in extra)]
    )
    use_setups = setups and any(o.setup is not None for o in observations)
    setup = _codes([o.setup for o in observations]) if use_setups else None
    if setup is not None and len(set(setup.tolist())) == len(observations):
        setup = None
    kept, left = _estimable(factors, terms, points, blocks)
    if setup is not None and _setup_df(factors, kept, points, blocks, setup) < 1:
        return fit_within(factors, kept, left, points, setup, y)
    model = model_matrix(factors, kept, points)
    x = np.column_stack([model.matrix, blocks])
    method, core = _fit(x, y, setup, contrasts=model.matrix.shape[1] - 1)
    return ModelFit(method, core, model, tuple(left), tuple(factors), y, x, setup)


def _fit(x: Matrix, y: Vector, setup: Codes | None, *, contrasts: int) -> tuple[str, Core]:
    if setup is not None:
        return KENWARD_ROGER, fit_setups(x, setup, y)
    if len(y) == x.shape[1]:
        return _fit_saturated(x, y, contrasts)
    return LEAST_SQUARES, fit_least_squares(x, y)


def _fit_saturated(x: Matrix, y: Vector, contrasts: int) -> tuple[str, Core]:
    if contrasts == 0 or np.ptp(y) == 0:
        raise NotEstimable(f"{len(y)} coupons leave nothing over to show scatter")
    try:
        return LENTH, fit_unreplicated(x, y, contrasts)
    except NotEstimable:
        return BARE, fit_bare(x, y)


def _codes(labels: Sequence[int | None]) -> NDArray[np.intp]:
    if any(label is None for label in labels):
        raise NotEstimable("a coupon has no set-up number, so its level of error is unknown")
    return np.unique(np.array(labels), return_inverse=True)[1].astype(np.intp)


def _rank(x: Matrix) -> int:
    return int(np.linalg.matrix_rank(x)) if x.size else 0


def _indicator(setup: NDArray[np.intp]) -> Matrix:
    return np.eye(int(setup.max()) + 1)[setup]


def _setup_df(
    factors: Sequence[Factor],
    terms: Sequence[Term],
    points: Sequence[Point],
    blocks: Matrix,
    setup: NDArray[np.intp],
) -> int:
    x = np.column_stack([model_matrix(factors, terms, points).matrix, blocks])
    return _rank(np.column_stack([x, _indicator(setup)])) - _rank(x)


def _estimable(
    factors: Sequence[Factor],
    terms: Sequence[Term],
    points: Sequence[Point],
    base: Matrix,
) -> tuple[list[Term], list[LeftOut]]:
    """Keep terms in order while each adds all its columns; blocks come before any term."""
    whole = np.column_stack([model_matrix(factors, terms, points).matrix, base])
    if _rank(whole) == whole.shape[1]:
        return list(terms), []
    x = np.column_stack([np.ones(len(points)), base])
    names = ["the average", *["round"] * base.shape[1]]
    kept: list[Term] = []
    left: list[LeftOut] = []
    for term in terms:
        columns = model_matrix(factors, [term], points).matrix[:, 1:]
        candidate = np.column_stack([x, columns])
        if _rank(candidate) == _rank(x) + columns.shape[1]:
            x = candidate
            names += [term.name] * columns.shape[1]
            kept.append(term)
        else:
            left.append(LeftOut(term.name, _tied_to(x, names, columns)))
    return kept, left


def _tied_to(x: Matrix, names: Sequence[str], columns: Matrix) -> str:
    weights = np.abs(np.linalg.lstsq(x, columns, rcond=None)[0]).max(axis=1)
    tied = [name for name, weight in zip(names, weights, strict=True) if weight > 1e-8]
    others = [name for name in dict.fromkeys(tied) if name != "the average"]
    return " and ".join(others) if others else "the average (one level only)"


def fit_within(
    factors: Sequence[Factor],
    terms: Sequence[Term],
    left: list[LeftOut],
    points: Sequence[Point],
    setup: NDArray[np.intp],
    y: Vector,
) -> ModelFit:
    """Fit with set-ups fixed: what changes only between set-ups cannot be told from them."""
    blocks = sum_to_zero(setup.tolist())
    kept, tied = _estimable(factors, terms, points, blocks)
    model = model_matrix(factors, kept, points)
    x = np.column_stack([model.matrix, blocks])
    left = [*left, *(LeftOut(t.term, t.tied_to.replace("round", "set-up")) for t in tied)]
    return ModelFit(
        WITHIN, fit_least_squares(x, y), model, tuple(left), tuple(factors), y, x, setup
    )
