"""How far a result that stands out exaggerates, and how often it has the wrong sign.

Worked out for a truth named beforehand, the margin or the claim, and never for the effect that was
seen: that would only dress up the p anew (Hoenig & Heisey 2001, *American Statistician* 55:19-24).

References
----------
Gelman, A. & Carlin, J. (2014). Beyond power calculations: assessing type S (sign) and type M
(magnitude) errors. *Perspectives on Psychological Science* 9:641-651.
Lu, J., Qiu, Y. & Deng, A. (2019). A note on type S/M errors in hypothesis testing. *Br. J. Math.
Stat. Psychol.* 72:1-17 (the closed form; citation from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isinf

from scipy import special, stats


@dataclass(frozen=True, slots=True)
class Exaggeration:
    """What repeating a comparison of this precision would show if the truth were `truth`.

    Attributes
    ----------
    truth, se, df
        The effect assumed, not 0; the standard error of the comparison; degrees of freedom.
    power
        Chance that it stands out (two-sided at `alpha`).
    wrong_sign
        Share of results standing out that have the wrong sign.
    exaggeration
        How many times too large results that stand out are on average, sign aside; at least 1.
    """

    truth: float
    se: float
    df: float
    power: float
    wrong_sign: float
    exaggeration: float


def exaggeration(truth: float, se: float, df: float = inf, alpha: float = 0.05) -> Exaggeration:
    """Return power, wrong-sign risk and exaggeration of results that stand out.

    As in the paper the estimate is the truth plus `se` times a t of `df` degrees of freedom, and
    stands out when it lies beyond `se` times the critical t.

    Parameters
    ----------
    truth
        Not 0, in the unit of `se`.
    se
        Above 0.
    df
        Above 1; infinite for a normal estimate.
    """
    if truth == 0 or se <= 0 or df <= 1:
        raise ValueError(f"no exaggeration of {truth!r} with error {se!r} and {df!r} df")
    shift = abs(truth) / se
    cut = _quantile(1 - alpha / 2, df)
    right, left = _above(cut - shift, df), _above(cut + shift, df)
    power = right + left
    # Mean of |shift + t| over both tails, each tail's share of t in closed form.
    size = shift * (right - left) + _mean_above(cut - shift, df) + _mean_above(cut + shift, df)
    return Exaggeration(truth, se, df, power, left / power, size / power / shift)


def _quantile(chance: float, df: float) -> float:
    return float(special.ndtri(chance) if isinf(df) else special.stdtrit(df, chance))


def _above(cut: float, df: float) -> float:
    return float(special.ndtr(-cut) if isinf(df) else special.stdtr(df, -cut))


def _mean_above(cut: float, df: float) -> float:
    """Return the integral of t times its density from `cut` on."""
    if isinf(df):
        return float(stats.norm.pdf(cut))
    return float(stats.t.pdf(cut, df)) * (df + cut**2) / (df - 1)
