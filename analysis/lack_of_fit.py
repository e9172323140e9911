"""Lack of fit against pure error, where coupons were repeated at the same settings."""

from __future__ import annotations

import numpy as np
from scipy import special

from weldtrial.analysis.findings import LackOfFit
from weldtrial.analysis.least_squares import LeastSquaresFit
from weldtrial.analysis.linear import Floats


def lack_of_fit(x: Floats, y: Floats, fit: LeastSquaresFit) -> LackOfFit:
    """Split the residual of a least-squares fit into lack of fit and pure error.

    Parameters
    ----------
    x
        Model matrix, shape (n, p); coupons with identical rows were welded alike.
    y
        Response, shape (n,).
    fit
        The fit of `y` on `x`.

    Returns
    -------
    LackOfFit
        All None where there is no pure error, or nothing left to lack.

    References
    ----------
    Draper & Smith (1998), Applied Regression Analysis, 3rd ed., section 2.1.
    """
    _, group = np.unique(np.round(x, 9), axis=0, return_inverse=True)
    group = group.ravel()
    centred = y - y.mean()
    means = np.bincount(group, centred) / np.bincount(group)
    pure = float(((centred - means[group]) ** 2).sum())
    df_pure = len(y) - len(means)
    df_lack = fit.df_resid - df_pure
    if df_pure < 1 or df_lack < 1 or pure <= 0:
        return LackOfFit()
    lack = max(0.0, fit.residual_variance * fit.df_resid - pure)
    statistic = (lack / df_lack) / (pure / df_pure)
    return LackOfFit(df_lack, df_pure, statistic, float(special.fdtrc(df_lack, df_pure, statistic)))
