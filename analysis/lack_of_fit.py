"""Lack of fit against pure error, where coupons were repeated at the same settings."""

from __future__ import annotations

import numpy as np
from scipy import special

from weldtrial.analysis.findings import LackOfFit
from weldtrial.analysis.least_squares import LeastSquaresFit
from weldtrial.analysis.linear import Floats, term_test
from weldtrial.analysis.mixed import fit_setups
from weldtrial.analysis.model import ModelFit
from weldtrial.analysis.model_frame import BY_SETUPS
from weldtrial.shared.problems import NotEstimable


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


def lack_of_fit_by_setups(fit: ModelFit) -> LackOfFit:
    """Test whether settings differ by more than the terms explain, with set-ups random.

    Every setting welded is given a mean of its own beside the terms, and what that adds is tested
    by Kenward-Roger at the levels of error it lies in.  `df_den` is the degrees of freedom
    of that error.

    Returns
    -------
    LackOfFit
        All None where set-ups are not random, no setting is left over, or nothing then shows how
        set-ups or coupons scatter.

    References
    ----------
    Gilmour, S. G., Goos, P. & Grossmann, H. (2017). Pure error REML for analyzing data from
    split-plot and multi-stratum designs (from memory; the idea, not their estimator).
    """
    if fit.setup is None or fit.limited or fit.frame.stratum != BY_SETUPS:
        return LackOfFit()
    _, cell = np.unique(np.round(fit.model.matrix, 9), axis=0, return_inverse=True)
    cells = np.eye(int(cell.max()) + 1)[cell.ravel()]
    basis = np.linalg.qr(fit.x)[0]
    left, lengths, _ = np.linalg.svd(cells - basis @ (basis.T @ cells), full_matrices=False)
    extra = left[:, lengths > 1e-9]
    if not extra.shape[1]:
        return LackOfFit()
    x = np.column_stack([fit.x, extra])
    try:
        whole = fit_setups(x, fit.setup, fit.y)
        test = term_test(whole, np.eye(x.shape[1])[fit.x.shape[1] :])
    except NotEstimable:
        return LackOfFit()
    return LackOfFit(test.df_num, test.df_den, test.statistic, test.p)
