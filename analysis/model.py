"""Fitting one response at the right level of error: which terms, which stratum, which method.

The rule (the same in planning and in analysis): with a hard-to-change factor the set-up is the
experimental unit, set-ups are random and tested by Kenward-Roger with the set-up variance free to
go negative; rounds are fixed.  With one coupon on every set-up, or nothing hard to change, the
coupon is the unit and least squares is the answer.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from weldtrial.analysis.censored import CensoredFit
from weldtrial.analysis.censored_setups import CensoredSetupFit
from weldtrial.analysis.findings import EstimateRow, TermTestRow
from weldtrial.analysis.least_squares import LeastSquaresFit, fit_least_squares
from weldtrial.analysis.limited import (
    CENSORED,
    CENSORED_SETUPS,
    LimitFit,
    estimate_limited,
    fit_limited,
    is_limited,
    test_limited,
)
from weldtrial.analysis.linear import Estimate, TermTest, estimate, term_test
from weldtrial.analysis.mixed import SetupFit, fit_setups
from weldtrial.analysis.model_frame import (
    WITHIN_SETUPS,
    Codes,
    Frame,
    LeftOut,
    Matrix,
    Vector,
    frame_model,
    frame_within,
)
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.unreplicated import UnreplicatedFit, fit_bare, fit_unreplicated
from weldtrial.shared.coding import ModelMatrix, Point
from weldtrial.shared.factors import Factor
from weldtrial.shared.fair import Reading
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.terms import Term

Core = SetupFit | LeastSquaresFit | UnreplicatedFit | CensoredFit | CensoredSetupFit

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
    CENSORED: "censored normal likelihood, profile intervals with a t-matched cut-off (Tobin 1958, "
    "Econometrica 26, 24-36; Olsen 1978, Econometrica 46, 1211-1215)",
    CENSORED_SETUPS: "censored normal likelihood with set-ups random, judged at their degrees of "
    "freedom (restricted likelihood; profile intervals)",
    BARE: "as many unknowns as coupons and too few of them to tell effects from scatter",
}


@dataclass(frozen=True, slots=True)
class ModelFit:
    """A fitted response.

    Attributes
    ----------
    core
        The fit itself; its first columns are those of `model`, blocks follow.
    frame
        What does not depend on the response.
    """

    method: str
    core: Core
    frame: Frame
    y: Vector

    @property
    def model(self) -> ModelMatrix:
        """Coded matrix of the terms kept."""
        return self.frame.model

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        """Terms left out and why."""
        return self.frame.left_out

    @property
    def factors(self) -> tuple[Factor, ...]:
        """Varied factors."""
        return self.frame.factors

    @property
    def x(self) -> Matrix:
        """All columns, blocks and further ones included, shape (n, p)."""
        return self.frame.x

    @property
    def setup(self) -> Codes | None:
        """Set-up of every coupon as 0..k-1, None where coupons are the units."""
        return self.frame.setup

    def vector(self, weights: dict[int, float]) -> Vector:
        """Return a contrast over all columns from weights of single ones."""
        return self.frame.vector(weights)

    def mean_vector(self, factor: Factor, level: str, at: Reading | None = None) -> Vector:
        """Return the contrast of an adjusted mean; see `Frame.mean_vector`."""
        return self.frame.mean_vector(factor, level, at)

    @property
    def limited(self) -> bool:
        """Whether some readings lie beyond a gauge limit or between two stops."""
        return isinstance(self.core, (CensoredFit, CensoredSetupFit))

    def estimate(self, contrast: Vector) -> Estimate:
        """Return the estimate of a contrast over all columns."""
        if isinstance(self.core, (CensoredFit, CensoredSetupFit)):
            return estimate_limited(self.core, contrast)
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
            contrasts = np.eye(self.x.shape[1])[list(columns)]
            if isinstance(self.core, (CensoredFit, CensoredSetupFit)):
                limited = _or_none(test_limited, self.core, contrasts)
                if limited is None:
                    continue
                test = limited
            else:
                test = term_test(self.core, contrasts)
            rows.append(TermTestRow(term, test.df_num, test.df_den, test.statistic, test.p))
        return tuple(rows)

    def coefficients(self, confidence: float = 0.95) -> tuple[EstimateRow, ...]:
        """Return every coefficient of the model, the intercept first."""
        return tuple(
            self._row(name, self.vector({column: 1.0}), confidence)
            for column, name in enumerate(self.model.names)
        )

    def _row(self, term: str, contrast: Vector, confidence: float) -> EstimateRow:
        """Return an estimate as a row, empty where coupons beyond the gauge leave none."""
        try:
            return estimate_row(term, self.estimate(contrast), confidence)
        except NotEstimable:
            if not self.limited:
                raise
            return EstimateRow(term, None, None, None, None, None, None)

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
            rows.append(self._row(term, self.vector({columns[0]: weight}), confidence))
        return tuple(rows)

    @property
    def fitted(self) -> Vector:
        """Fitted values without set-up deviations."""
        return np.asarray(self.x @ self.core.coefficients)


def _or_none(
    test: Callable[[LimitFit, Matrix], TermTest | None], core: LimitFit, contrasts: Matrix
) -> TermTest | None:
    """Return a test, None where the coupons beyond the limit leave it open."""
    try:
        return test(core, contrasts)
    except NotEstimable:
        return None


def estimate_row(term: str, found: Estimate, confidence: float = 0.95) -> EstimateRow:
    """Return an estimate as a row of findings."""
    if math.isnan(found.se):
        return EstimateRow(term, found.estimate, None, None, None, None, None)
    low, high = found.interval(confidence)
    return EstimateRow(term, found.estimate, found.se, found.df, low, high, found.p)


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
    nothing = (None,) * len(observations)
    frame = frame_model(
        factors,
        terms,
        points or [o.point for o in observations],
        [o.round for o in observations],
        [o.setup for o in observations] if setups else nothing,
        extra,
    )
    return fit_frame(
        frame,
        np.array([o.value for o in observations]),
        np.array([[o.low for o in observations], [o.high for o in observations]]),
    )


def fit_frame(frame: Frame, y: Vector, ends: Matrix | None = None) -> ModelFit:
    """Fit one response y (n,) on a frame; raises `NotEstimable` where nothing shows error.

    `ends` (2, n) holds between what each value lies, where some are not one number.
    """
    if ends is not None and is_limited(*ends):
        return ModelFit(*fit_limited(frame, *ends), frame, y)
    if frame.stratum == WITHIN_SETUPS:
        return ModelFit(WITHIN, fit_least_squares(frame.x, y), frame, y)
    contrasts = frame.model.matrix.shape[1] - 1
    return ModelFit(*_fit(frame.x, y, frame.setup, contrasts=contrasts), frame, y)


def _fit(x: Matrix, y: Vector, setup: Codes | None, *, contrasts: int) -> tuple[str, Core]:
    if setup is not None:
        return KENWARD_ROGER, fit_setups(x, setup, y)
    if len(y) == x.shape[1]:
        return _fit_saturated(x, y, contrasts)
    return LEAST_SQUARES, fit_least_squares(x, y)


def _fit_saturated(x: Matrix, y: Vector, contrasts: int) -> tuple[str, Core]:
    if contrasts == 0 or np.ptp(y) == 0:
        few = "1 coupon leaves" if len(y) == 1 else f"{len(y)} coupons leave"
        raise NotEstimable(f"{few} nothing over to show scatter")
    try:
        return LENTH, fit_unreplicated(x, y, contrasts)
    except NotEstimable:
        return BARE, fit_bare(x, y)


def fit_within(
    factors: Sequence[Factor],
    terms: Sequence[Term],
    points: Sequence[Point],
    setup: Codes,
    y: Vector,
) -> ModelFit:
    """Fit with set-ups fixed: what changes only between set-ups cannot be told from them."""
    return fit_frame(frame_within(factors, terms, (), points, setup), y)
