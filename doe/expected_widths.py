"""How wide the interval of every effect is to be, before anything is welded.

The scatter is taken as planned; the interval found will be wider or narrower as the scatter found
is.  Degrees of freedom follow the rule of the analysis (`weldtrial.doe.strata`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from weldtrial.doe.fitted import Fitted, variance_and_df
from weldtrial.doe.information import effect_rows, t_quantile
from weldtrial.shared.factors import Factor


@dataclass(frozen=True, slots=True)
class Width:
    """What is to be expected of one term.

    Attributes
    ----------
    term
        Its name.
    df
        Degrees of freedom of the scatter that judges it, 0 for none: then there is no interval.
        Where set-ups and coupons both judge it they lie in between (Satterthwaite).
    relative
        Variance of its effect in coupon variances; of several effects (levels taken two by two)
        the largest.
    half_width
        Half of the 95 % interval of that effect in the response's unit; None without a scatter to
        plan with, or without degrees of freedom.
    """

    term: str
    df: float
    relative: float
    half_width: float | None


def expected_widths(
    factors: Sequence[Factor], fit: Fitted, coupon: float | None
) -> tuple[Width, ...]:
    """Return the width to expect of every term that is fitted.

    Parameters
    ----------
    factors
        The varied factors.
    coupon
        Standard deviation of coupons (of one set-up) in the response's unit; None when not known.
    """
    found = []
    for term, at in zip(fit.terms, fit.columns, strict=True):
        own = effect_rows(factors, term)
        rows = np.zeros((len(own), len(fit.covariance)))
        rows[:, list(at)] = own
        variances, dfs = variance_and_df(fit, rows)
        widest = int(np.argmax(np.round(variances, 12)))
        variance, df = float(variances[widest]), float(dfs[widest])
        half = None if coupon is None or df <= 0 else t_quantile(df) * coupon * sqrt(variance)
        found.append(Width(term.name, df, variance, half))
    return tuple(found)
