"""How far off the surface is where it was not shown the answer: coupons and set-ups left out.

Each coupon is left out in turn, the surface is fitted to the rest, scatter and all, and predicts
it.  With set-ups random a coupon's neighbours in its set-up stay in and give its set-up away only
through the estimates; leaving out the whole set-up asks what a fresh one would be predicted like,
which is what a user of the surface will meet.

For least squares the error is the residual over one less the leverage, without refitting.

References
----------
Allen, D. M. (1974). The relationship between variable selection and data augmentation and a method
for prediction. *Technometrics* 16:125-127 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from weldtrial.analysis.inside import Flags
from weldtrial.analysis.least_squares import LeastSquaresFit
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.model import ModelFit, fit_frame
from weldtrial.analysis.model_frame import Codes
from weldtrial.analysis.observations import Observation
from weldtrial.shared.problems import NotEstimable

CERTAIN = 1e-9
"""One less a leverage below which a coupon settles a coefficient alone."""


@dataclass(frozen=True, slots=True, eq=False)
class LeftOutPrediction:
    """Prediction errors of what was left out.

    Attributes
    ----------
    by
        What was left out at a time.
    errors
        Reading less prediction, shape (n,), response unit; not a number where nothing could be
        predicted.
    press
        Sum of their squares.
    rms
        Root of their mean square: the typical error of a prediction.
    r_squared
        1 - press / (sum of squares about the mean), of the same coupons; below 0 the mean alone
        would have done better.  None where some coupons could not be predicted.
    unpredicted
        Places of the coupons without which some coefficient cannot be told.
    at_limit
        Places of the coupons past a gauge limit, which have no error.
    """

    by: Literal["coupon", "set-up"]
    errors: Floats
    press: float
    rms: float
    r_squared: float | None
    unpredicted: tuple[int, ...]
    at_limit: tuple[int, ...]


def leave_one_out(fit: ModelFit, observations: Sequence[Observation]) -> LeftOutPrediction:
    """Leave out each coupon in turn.

    Parameters
    ----------
    fit
        As `fit_model` made it of the observations.
    observations
        One entry a coupon, in the order fitted.
    """
    if isinstance(fit.core, LeastSquaresFit):
        room = 1.0 - fit.core.leverage
        alone = room < CERTAIN
        errors = np.where(alone, np.nan, fit.core.residuals / np.where(alone, 1.0, room))
        return _summed("coupon", fit, observations, errors)
    return _refitted("coupon", fit, observations, np.arange(len(fit.y)))


def leave_one_setup_out(
    fit: ModelFit, observations: Sequence[Observation]
) -> LeftOutPrediction | None:
    """Leave out each set-up in turn; None where coupons are the units.

    Where rounds or days are blocks the prediction is for the round the set-up was in, as far as its
    other set-ups show it.
    """
    if fit.setup is None:
        return None
    return _refitted("set-up", fit, observations, fit.setup)


def _refitted(
    by: Literal["coupon", "set-up"],
    fit: ModelFit,
    observations: Sequence[Observation],
    group: Codes,
) -> LeftOutPrediction:
    errors = np.full(len(fit.y), np.nan)
    ends = np.array([[o.low for o in observations], [o.high for o in observations]])
    for code in np.unique(group):
        out = group == code
        found = _without(fit, out, ends)
        if found is not None:
            errors[out] = fit.y[out] - fit.x[out] @ found
    return _summed(by, fit, observations, errors)


def _without(fit: ModelFit, out: Flags, ends: Floats) -> Floats | None:
    """Return the coefficients without some coupons; None where they cannot all be told."""
    x = fit.x[~out]
    if np.linalg.matrix_rank(x) < x.shape[1]:
        return None
    setup = None if fit.setup is None else np.unique(fit.setup[~out], return_inverse=True)[1]
    frame = replace(fit.frame, x=x, setup=None if setup is None else setup.astype(np.intp))
    try:
        left = fit_frame(frame, fit.y[~out], ends[:, ~out])
    except NotEstimable:
        return None
    found = np.asarray(left.core.coefficients)
    return found if np.all(np.isfinite(found)) else None


def _summed(
    by: Literal["coupon", "set-up"],
    fit: ModelFit,
    observations: Sequence[Observation],
    errors: Floats,
) -> LeftOutPrediction:
    limited = np.array([o.ends is not None for o in observations])
    lost = np.isnan(errors) & ~limited
    errors = np.where(limited, np.nan, errors)
    told = ~np.isnan(errors)
    press = float(np.sum(errors[told] ** 2))
    y = fit.y[~limited]
    total = float(np.sum((y - y.mean()) ** 2)) if len(y) else 0.0
    return LeftOutPrediction(
        by=by,
        errors=errors,
        press=press,
        rms=(press / int(told.sum())) ** 0.5 if np.any(told) else float("nan"),
        r_squared=None if np.any(lost) or total == 0 else 1.0 - press / total,
        unpredicted=tuple(int(i) for i in np.flatnonzero(lost)),
        at_limit=tuple(int(i) for i in np.flatnonzero(limited)),
    )
