"""One response as a surface over the settings: its mean, how well that is known, a new coupon.

The fit is the one of `analyse` (`weldtrial.analysis.model.fit_model`): set-ups random by
Kenward-Roger, blocks fixed and averaged out, readings past a gauge limit by the censored
likelihood.  A surface adds nothing to it but the questions one asks of a map.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import nan, sqrt

import numpy as np

from weldtrial.analysis.censored import CensoredFit
from weldtrial.analysis.censored_setups import CensoredSetupFit
from weldtrial.analysis.least_squares import LeastSquaresFit
from weldtrial.analysis.linear import Denominator, Estimate, Floats
from weldtrial.analysis.mixed import SetupFit
from weldtrial.analysis.model import ModelFit, fit_model
from weldtrial.analysis.model_frame import WITHIN_SETUPS
from weldtrial.analysis.observations import Observation, observe
from weldtrial.analysis.quadratic import Quadratic, per_category
from weldtrial.shared.coding import Point, model_matrix
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.record import Record
from weldtrial.shared.responses import Response
from weldtrial.shared.terms import Term, trial_terms
from weldtrial.shared.trial import Trial

__all__ = ["Quadratic", "Surface", "fit_surface", "per_category", "surface_of"]


@dataclass(frozen=True, slots=True, eq=False)
class Surface:
    """One response, fitted over the settings.

    Attributes
    ----------
    response, unit
        Its name and unit.
    factors
        Varied factors, categories among them.
    terms
        Terms kept, without the intercept.
    coefficients
        Shape (p,), the intercept first, at the average block; response unit per coded unit.
    covariance
        Of the coefficients, shape (p, p).
    df
        Degrees of freedom of the scatter between coupons (of one set-up, where there are set-ups).
    df_setup
        Degrees of freedom of the scatter between set-ups; None where coupons are the units.
    sd_coupon
        Standard deviation of coupons welded alike in one set-up, response unit.
    sd_setup
        Of set-ups, held at or above 0; 0 where coupons are the units; not a number where set-ups
        were welded and nothing shows how they scatter.
    at_limit
        Whether readings past a gauge limit went in.
    fit
        The fit behind it; without one, `df` serves for every contrast.
    welded
        Coded points of the coupons that went in.
    """

    response: str
    unit: str
    factors: tuple[Factor, ...]
    terms: tuple[Term, ...]
    coefficients: Floats
    covariance: Floats
    df: float
    df_setup: float | None
    sd_coupon: float
    sd_setup: float
    at_limit: bool = False
    fit: ModelFit | None = field(default=None, repr=False)
    welded: tuple[Point, ...] = field(default=(), repr=False)

    def rows(self, points: Sequence[Point]) -> Floats:
        """Return the model's columns at coded points, shape (m, p)."""
        return np.asarray(model_matrix(self.factors, self.terms, points).matrix)

    def mean(self, points: Sequence[Point]) -> Floats:
        """Return the fitted mean at coded points, shape (m,), at the average block."""
        return np.asarray(self.rows(points) @ self.coefficients)

    def se_mean(self, points: Sequence[Point]) -> Floats:
        """Return the standard error of the fitted mean, shape (m,)."""
        rows = self.rows(points)
        return np.asarray(np.sqrt(np.einsum("ij,jk,ik->i", rows, self.covariance, rows)))

    def new_coupon(self, points: Sequence[Point]) -> tuple[Floats, Floats]:
        """Return mean and standard deviation of one new coupon in a fresh set-up, each (m,).

        The standard deviation holds what is not known of the mean, the set-up and the coupon; it
        does not hold how blocks (rounds, days) differ, which are fixed.

        Raises
        ------
        NotEstimable
            When set-ups were welded and nothing shows how they scatter.
        """
        if np.isnan(self.sd_setup):
            raise NotEstimable(
                f"{self.response}: nothing is left between set-ups to show how they scatter, so "
                "what a coupon in a fresh set-up would read cannot be said",
                hint="weld more set-ups at the same settings",
            )
        scatter = self.sd_coupon**2 + self.sd_setup**2
        return self.mean(points), np.sqrt(self.se_mean(points) ** 2 + scatter)

    def estimate(self, row: Floats) -> Estimate:
        """Estimate a contrast (p,) of the coefficients at its own level of error."""
        if self.fit is not None:
            return self.fit.estimate(self.padded(row[None])[0])
        return Estimate(
            float(row @ self.coefficients), float(row @ self.covariance @ row) ** 0.5, self.df
        )

    def denominator(self, rows: Floats) -> Denominator:
        """Return the error degrees of freedom and scale of contrasts, rows (q, p)."""
        if self.fit is None:
            return Denominator(self.df)
        return self.fit.core.denominator(self.padded(rows))

    @property
    def one_stratum(self) -> bool:
        """Whether every contrast is judged by the same degrees of freedom."""
        return self.fit is None or not isinstance(self.fit.core, (SetupFit, CensoredSetupFit))

    def padded(self, rows: Floats) -> Floats:
        """Return rows (q, p) with zeros for the blocks, as the fit asks."""
        if self.fit is None:
            return rows
        blocks = self.fit.x.shape[1] - rows.shape[1]
        return np.pad(rows, ((0, 0), (0, blocks)))


def surface_of(
    trial: Trial,
    record: Record | Sequence[Observation],
    response: Response | str,
    terms: Sequence[Term] | None = None,
    *,
    points: Sequence[Point] | None = None,
) -> Surface:
    """Fit one response of a trial as a surface.

    Parameters
    ----------
    record
        What the bench wrote, or the observations taken from it.
    response
        A response read in numbers, or its name.
    terms
        Terms asked for; None for all of the trial's model (see `weldtrial.analysis.pruned` for a
        rule that keeps fewer).
    points
        Coded points to use instead of the planned ones (settings as run).

    Raises
    ------
    NotEstimable
        When the response is not read in numbers, nothing is left to show scatter, or coupons past
        a gauge limit leave a coefficient without a finite estimate.
    """
    asked = trial.response(response) if isinstance(response, str) else response
    if asked.kind != "number":
        raise NotEstimable(
            f"{asked.name} is read as {asked.kind}, and a surface is fitted to numbers only"
        )
    observations = (
        observe(trial, record, asked).observations if isinstance(record, Record) else record
    )
    if terms is None:
        terms = trial_terms(trial.varied, trial.design.model, trial.design.terms)
    return fit_surface(
        trial.varied, terms, observations, response=asked.name, unit=asked.unit, points=points
    )


def fit_surface(
    factors: Sequence[Factor],
    terms: Sequence[Term],
    observations: Sequence[Observation],
    *,
    response: str = "",
    unit: str = "",
    points: Sequence[Point] | None = None,
) -> Surface:
    """Fit a surface to observations without a trial; raises as `surface_of`."""
    fit = fit_model(factors, terms, observations, points=points)
    p = fit.model.matrix.shape[1]
    kept = tuple(term for term in terms if term.name in fit.model.columns)
    df, df_setup, sd_coupon, sd_setup = _scatter(fit, len(observations))
    if fit.limited:
        _refuse_beyond(fit, p)
    return Surface(
        response,
        unit,
        tuple(factors),
        kept,
        np.asarray(fit.core.coefficients[:p]),
        np.asarray(fit.core.covariance[:p, :p]),
        df,
        df_setup,
        sd_coupon,
        sd_setup,
        at_limit=fit.limited,
        fit=fit,
        welded=tuple(points or [one.point for one in observations]),
    )


def _scatter(fit: ModelFit, coupons: int) -> tuple[float, float | None, float, float]:
    """Return df, df_setup, sd_coupon and sd_setup of a surface."""
    core = fit.core
    if isinstance(core, (SetupFit, CensoredSetupFit)):
        between = sqrt(max(0.0, core.setup_variance))
        return float(core.df_within), float(core.df_setup), sqrt(core.coupon_variance), between
    # Set-ups taken as fixed use up what they could show of their own scatter.
    between = nan if fit.frame.stratum == WITHIN_SETUPS else 0.0
    if isinstance(core, LeastSquaresFit):
        return float(core.df_resid), None, sqrt(core.residual_variance), between
    if isinstance(core, CensoredFit):
        return core.df, None, core.scatter, between
    raise NotEstimable(
        f"{coupons} coupons and {fit.x.shape[1]} coefficients: nothing is left over to show "
        "scatter, so no surface can be judged",
        hint="weld more coupons, or ask for fewer terms",
    )


def _refuse_beyond(fit: ModelFit, p: int) -> None:
    """Refuse a censored fit in which some coefficient runs away."""
    for column, name in enumerate(fit.model.names[:p]):
        found = fit.estimate(fit.vector({column: 1.0}))
        if not np.isfinite(found.estimate):
            raise NotEstimable(
                f"coupons past the gauge limit leave {name} without a finite estimate, so no "
                "surface can be drawn",
                hint="ask for fewer terms, or weld where the gauge can read",
            )
