"""What the results of an earlier trial say of scatter: the figures to plan the next one with.

Only scatter and the mean over everything are taken, so a pilot whose codes are closed may be used:
nothing here tells one gas from another.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from statistics import fmean

from weldtrial.analysis.censored import CensoredFit
from weldtrial.analysis.censored_setups import CensoredSetupFit
from weldtrial.analysis.least_squares import LeastSquaresFit
from weldtrial.analysis.mixed import SetupFit
from weldtrial.analysis.model import fit_model
from weldtrial.analysis.observations import observe
from weldtrial.shared.problems import NotEnough, ProblemsFound
from weldtrial.shared.record import Record
from weldtrial.shared.responses import Response, Typical
from weldtrial.shared.terms import trial_terms
from weldtrial.shared.trial import Trial

FIGURES = 4
"""Significant figures of a mean and of standard deviations, as they are written in a file."""


@dataclass(frozen=True, slots=True)
class Pilot:
    """Scatter of one response in an earlier trial.

    Attributes
    ----------
    mean, sd_coupon, sd_setup
        In the response's unit, rounded to what is written in a file; `sd_setup` None where the
        pilot cannot show it, 0 where set-ups agreed as well as (or better than) chance.
    df_coupon, df_setup
        Degrees of freedom behind them.
    coupons, setups
        How many were read; `setups` None where every coupon was set up anew.
    """

    mean: float
    sd_coupon: float
    sd_setup: float | None
    df_coupon: int
    df_setup: int | None
    coupons: int
    setups: int | None

    @property
    def pilot_setups(self) -> int | None:
        """Set-ups of one gas in one go that would know as much: one more than `df_setup`."""
        return None if self.df_setup is None else self.df_setup + 1

    @property
    def pilot_coupons(self) -> int:
        """Coupons pooled within so many set-ups that would know as much."""
        return self.df_coupon + (self.pilot_setups or 1)

    def typical(self, source: str, before: Typical | None) -> Typical:
        """Return the figures to plan with; what the pilot cannot show stays as it was `before`."""
        setup, setups = self.sd_setup, self.pilot_setups
        if setup is None and before is not None:
            setup, setups = before.sd_setup, None
        return Typical(
            self.mean,
            self.sd_coupon,
            setup or 0.0,
            source,
            pilot_coupons=self.pilot_coupons,
            pilot_setups=setups,
        )


def pilot_of(trial: Trial, record: Record, response: Response) -> Pilot:
    """Return what a trial's results say of the scatter of one of its responses.

    The model of that trial is taken out first (gases, rounds, settings); scatter is what it
    leaves, at the level it belongs to, with the degrees of freedom that are left there (a coupon
    past a gauge limit counting half).

    Raises
    ------
    ProblemsFound
        When the record has to be mended first.
    NotEnough
        When too little has been read to show any scatter.
    """
    if record.errors:
        raise ProblemsFound(record.errors)
    seen = observe(trial, record, response).observations
    if not seen:
        raise NotEnough(f"Nothing of {response.title.lower()} has been read in this pilot yet.")
    terms = trial_terms(trial.varied, trial.design.model, trial.design.terms)
    fit = fit_model(trial.varied, terms, seen)
    setups = len({one.setup for one in seen}) if fit.setup is not None else None
    core = fit.core
    df_setup = sd_setup = None
    if isinstance(core, SetupFit):
        variance, df_coupon = core.coupon_variance, core.df_within
        df_setup, sd_setup = core.df_setup, sqrt(max(0.0, core.setup_variance))
    elif isinstance(core, CensoredSetupFit) and core.df_within >= 1:
        variance, df_coupon = core.coupon_variance, int(core.df_within)
        if core.df_known >= 1:
            df_setup, sd_setup = core.df_known, sqrt(max(0.0, core.setup_variance))
    elif isinstance(core, LeastSquaresFit) and core.df_resid >= 1:
        variance, df_coupon = core.residual_variance, int(core.df_resid)
    elif isinstance(core, CensoredFit) and core.df >= 1:
        variance, df_coupon = core.scatter**2, int(core.df)
    else:
        raise NotEnough(
            f"The {len(seen)} coupons of {response.title.lower()} leave nothing over to show "
            "scatter: as many unknowns as coupons."
        )
    if variance <= 0:
        raise NotEnough(f"All coupons of {response.title.lower()} read the same: no scatter seen.")
    return Pilot(
        # A coupon past the gauge has no value of its own: the fitted means stand for all.
        mean=_rounded(fmean(fit.fitted if fit.limited else (one.value for one in seen))),
        sd_coupon=_rounded(sqrt(variance)),
        sd_setup=None if sd_setup is None else _rounded(sd_setup),
        df_coupon=df_coupon,
        df_setup=df_setup,
        coupons=len(seen),
        setups=setups,
    )


def _rounded(value: float) -> float:
    return float(f"{value:.{FIGURES - 1}e}")
