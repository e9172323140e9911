"""Several studies of one difference pooled without pretending that they are one.

The scatter between studies is estimated by Paule & Mandel's method; the interval is Hartung &
Knapp's, its scale held at or above 1, so that few studies that happen to agree do not give an
interval shorter than their own errors allow.  The common-effect interval, which takes all studies
to have the same truth, stands beside it for comparison only.

References
----------
Paule, R. C. & Mandel, J. (1982). Consensus values and weighting factors. *J. Res. Natl. Bur.
Stand.* 87:377-385.
DerSimonian, R. & Laird, N. (1986). Meta-analysis in clinical trials. *Control. Clin. Trials*
7:177-188.
Hartung, J. & Knapp, G. (2001). *Statistics in Medicine* 20:3875-3889; the scale held at or above 1:
Röver, C., Knapp, G. & Friede, T. (2015). *BMC Med. Res. Methodol.* 15:99.
Higgins, J. P. T., Thompson, S. G. & Spiegelhalter, D. J. (2009). *J. R. Stat. Soc. A* 172:137-159
(prediction interval).  Higgins, J. P. T. & Thompson, S. G. (2002). *Statistics in Medicine*
21:1539-1558 (I squared).  Citations from memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import nan, sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from weldtrial.analysis.evidence import Study
from weldtrial.analysis.judge import Bounds

Floats = NDArray[np.float64]
Between = Literal["paule-mandel", "dersimonian-laird"]


@dataclass(frozen=True, slots=True)
class Pooled:
    """Several studies of one difference together.

    Attributes
    ----------
    estimate, se, df
        Random-effects mean, its error (Hartung–Knapp, held), and its degrees of freedom.
    bounds
        Ends of its 95 % and 90 % intervals.
    se_plain
        Its error without Hartung and Knapp's scale; times 1.96 the older interval.
    scale
        Hartung and Knapp's scale before it was held at 1 (of the error, not of the variance).
    common, common_se, common_low, common_high
        The common-effect mean with its error and 95 % interval.
    tau
        Standard deviation between the studies' truths.
    q, q_df, q_p
        Cochran's test of their being one.
    i_squared
        Share of the scatter between results that is not their own error, 0 to 1.
    next_low, next_high
        95 % prediction interval: where the truth of one more such study may lie; NaN for two
        studies.
    weights
        Of every study in the random-effects mean, adding to 1.
    """

    estimate: float
    se: float
    df: int
    bounds: Bounds
    se_plain: float
    scale: float
    common: float
    common_se: float
    common_low: float
    common_high: float
    tau: float
    q: float
    q_df: int
    q_p: float
    i_squared: float
    next_low: float
    next_high: float
    weights: tuple[float, ...]

    @property
    def p(self) -> float:
        """Two-sided p of the random-effects mean."""
        return float(2 * special.stdtr(self.df, -abs(self.estimate) / self.se))


def pool(studies: Sequence[Study], between: Between = "paule-mandel") -> Pooled:
    """Return the studies pooled.

    Parameters
    ----------
    studies
        At least two, each with an error above 0.

    Raises
    ------
    ValueError
        For fewer, or without errors.
    """
    y = np.array([one.estimate for one in studies], dtype=np.float64)
    v = np.array([one.se**2 for one in studies], dtype=np.float64)
    if len(y) < 2 or not (v > 0).all():
        raise ValueError("pooling takes two or more studies, each with an error above 0")
    k = len(y)
    q, common, common_se = _cochran(y, v, 0.0)
    tau2 = paule_mandel(y, v) if between == "paule-mandel" else dersimonian_laird(y, v)
    spread, mean, se_plain = _cochran(y, v, tau2)
    scale = sqrt(spread / (k - 1))
    se = se_plain * max(1.0, scale)
    ends = [_around(mean, se, k - 1, confidence) for confidence in (0.95, 0.90)]
    near = float(special.ndtri(0.975)) * common_se
    weights = 1 / (v + tau2)
    far = _around(mean, sqrt(tau2 + se**2), k - 2, 0.95) if k > 2 else (nan, nan)
    return Pooled(
        mean, se, k - 1, Bounds(*ends[0], *ends[1]), se_plain, scale,
        common, common_se, common - near, common + near,
        sqrt(tau2), q, k - 1, float(special.chdtrc(k - 1, q)),
        max(0.0, 1 - (k - 1) / q) if q > 0 else 0.0, *far,
        tuple(float(one) for one in weights / weights.sum()),
    )  # fmt: skip


def dersimonian_laird(y: Floats, v: Floats) -> float:
    """Return the variance between studies by moments, 0 or more."""
    w = 1 / v
    q = _cochran(y, v, 0.0)[0]
    return max(0.0, float((q - (len(y) - 1)) / (w.sum() - (w**2).sum() / w.sum())))


def paule_mandel(y: Floats, v: Floats) -> float:
    """Return the variance between studies at which their scatter is just what it should be."""
    k = len(y)

    def excess(tau2: float) -> float:
        return _cochran(y, v, tau2)[0] - (k - 1)

    if excess(0.0) <= 0:
        return 0.0
    top = float(np.var(y, ddof=1))
    while excess(top) > 0:
        top *= 2
    return float(optimize.brentq(excess, 0.0, top, xtol=1e-14 * top, rtol=1e-12))


def _cochran(y: Floats, v: Floats, tau2: float) -> tuple[float, float, float]:
    """Return the weighted sum of squares, the weighted mean and its error."""
    w = 1 / (v + tau2)
    mean = float((w * y).sum() / w.sum())
    return float((w * (y - mean) ** 2).sum()), mean, float(1 / np.sqrt(w.sum()))


def _around(mean: float, se: float, df: int, confidence: float) -> tuple[float, float]:
    half = float(special.stdtrit(df, (1 + confidence) / 2)) * se
    return mean - half, mean + half
