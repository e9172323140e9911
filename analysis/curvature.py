"""Curvature seen by centre points: whether the middle lies on the plane of the corners."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from weldtrial.analysis.findings import Check, TermTestRow
from weldtrial.analysis.linear import term_test
from weldtrial.analysis.model import Core, ModelFit, fit_model
from weldtrial.analysis.observations import Observation
from weldtrial.analysis.residual_views import ALARM
from weldtrial.shared.factors import Factor
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.terms import Term


def at_centre(factors: Sequence[Factor], observation: Observation) -> bool:
    """Whether every numeric factor of two levels stood at the middle of its range."""
    numeric = [f for f in factors if f.kind == "numeric" and f.varied]
    return bool(numeric) and all(abs(float(observation.point[f.name])) < 1e-9 for f in numeric)


def curvature(
    factors: Sequence[Factor], terms: Sequence[Term], observations: Sequence[Observation]
) -> TermTestRow | None:
    """Test the centre points against the plane of the corners.

    One column, 1 at a centre point and 0 elsewhere, is added to the model; its test is that of
    all squares together, which centre points cannot tell apart.  At the level of error of the
    coupons, with set-ups where there are any.

    Parameters
    ----------
    factors, terms
        Varied factors and the terms of the model.
    observations
        One entry a coupon.

    Returns
    -------
    TermTestRow or None
        None without centre points, or where the model holds squares or factors of three levels.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 5.5.3.1.1; Montgomery (2013), Design
    and Analysis of Experiments, 8th ed., section 6.8.
    """
    numeric = [f for f in factors if f.kind == "numeric"]
    if any(len(f.levels) > 2 for f in numeric) or any("^" in term.name for term in terms):
        return None
    if any(o.ends is not None for o in observations):
        return None
    middle = [float(at_centre(factors, o)) for o in observations]
    if sum(middle) == 0 or sum(middle) == len(middle):
        return None
    try:
        fit: ModelFit = fit_model(factors, terms, observations, extra=[middle])
        core: Core = fit.core
        test = term_test(core, np.eye(fit.x.shape[1])[-1])
    except NotEstimable:
        return None
    return TermTestRow("curvature", test.df_num, test.df_den, test.statistic, test.p)


def curvature_check(found: TermTestRow | None) -> tuple[Check, ...]:
    """Return the check that centre points allow, none without them."""
    if found is None:
        return ()
    if found.p >= ALARM:
        return (
            Check("curvature", True, "Centre points lie where the corners lead one to expect."),
        )
    words = (
        "Centre points lie off the plane of the corners: something bends between low and high, "
        "and centre points cannot say what. Weld a third level to find out."
    )
    return (Check("curvature", False, words),)
