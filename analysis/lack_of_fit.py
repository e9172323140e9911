"""Lack of fit against pure error, where coupons were repeated at the same settings."""

from __future__ import annotations

import numpy as np
from scipy import special

from weldtrial.analysis.findings import LackOfFit
from weldtrial.analysis.least_squares import LeastSquaresFit
from weldtrial.analysis.model import ModelFit


def lack_of_fit(fit: ModelFit) -> LackOfFit:
    """Split the residual of a least-squares fit into lack of fit and pure error.

    Pure error is the scatter between coupons of identical rows of the model matrix, blocks
    included.  All None where there is no pure error, or nothing left to lack.

    References
    ----------
    Draper & Smith (1998), Applied Regression Analysis, 3rd ed., section 2.1.
    """
    core = fit.core
    if not isinstance(core, LeastSquaresFit):
        return LackOfFit()
    _, group = np.unique(np.round(fit.x, 9), axis=0, return_inverse=True)
    group = group.ravel()
    centred = fit.y - fit.y.mean()
    means = np.bincount(group, centred) / np.bincount(group)
    pure = float(((centred - means[group]) ** 2).sum())
    df_pure = len(fit.y) - len(means)
    df_lack = core.df_resid - df_pure
    if df_pure < 1 or df_lack < 1 or pure <= 0:
        return LackOfFit()
    lack = max(0.0, core.residual_variance * core.df_resid - pure)
    statistic = (lack / df_lack) / (pure / df_pure)
    return LackOfFit(df_lack, df_pure, statistic, float(special.fdtrc(df_lack, df_pure, statistic)))
