"""Pass or fail by factors: logistic regression penalised as Firth proposed.

Maximum likelihood sends an estimate to infinity as soon as one setting passes (or fails)
throughout, which with eight coupons a gas is common; software then prints a nonsense standard
error.  Half a log determinant of the information added to the log likelihood (Jeffreys' prior)
keeps every estimate finite and takes out its first-order bias.  Tests climb again with the
contrast held, under the penalty of the *full* model, and intervals are profiles of the same.

Coupons are taken as independent.  Coupons of one set-up are not: see `setup_proportions`.

Measured, two gases with equal shares, every outcome counted out (`tests/promises/
test_pass_fail.py`; nominal .05), largest false-alarm rate over all shares:

| coupons | this model | Boschloo's exact test |
|---|---|---|
| 4 + 4 | .070 | .008 |
| 8 + 8 | .053 | .028 |
| 16 + 16 | .050 | .041 |

Below `FEWEST` coupons the exact tests stand alone.  With coupons of set-ups taken as independent
(set-ups of 4, intraclass correlation .3) both alarm in .12 to .18 of trials.

References
----------
Firth, D. (1993). Bias reduction of maximum likelihood estimates. *Biometrika* 80:27-38.
Heinze, G. & Schemper, M. (2002). A solution to the problem of separation in logistic regression.
*Statistics in Medicine* 21:2409-2419 (tests and profile intervals; citation from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from weldtrial.analysis.linear import inverse, orthonormal_basis
from weldtrial.analysis.profiles import Profile, RatioTest, climb, profiled, ratio_test, recedes
from weldtrial.shared.problems import NotEstimable

Floats = NDArray[np.float64]

FEWEST = 16
"""Coupons below which chi-squared is too coarse a yardstick for the loss."""


@dataclass(frozen=True, slots=True, eq=False)
class FirthFit:
    """A penalised logistic regression.

    Attributes
    ----------
    x
        Model matrix, shape (n, p).
    passed
        1 where a coupon passed, else 0; shape (n,).
    coefficients
        Log odds of passing, shape (p,).
    covariance
        Inverse information there, shape (p, p): for plots of correlation, never for a test.
    height
        Penalised log likelihood.
    """

    x: Floats
    passed: Floats
    coefficients: Floats
    covariance: Floats
    height: float

    @property
    def separated(self) -> bool:
        """Whether the settings part passes from failures, at least in part.

        Without the penalty an estimate would then be infinite.
        """
        return recedes((2 * self.passed - 1)[:, None] * self.x)

    @property
    def enough(self) -> bool:
        """Whether there are coupons enough for its p and intervals to be shown."""
        return len(self.passed) >= FEWEST

    def profile(self, contrast: ArrayLike) -> Profile:
        """Profile one contrast of the coefficients, shape (p,): estimate, p and interval."""
        return profiled(self._at, self.coefficients, self.height, contrast)

    def test(self, contrasts: ArrayLike) -> RatioTest:
        """Penalised likelihood-ratio test of contrasts of shape (q, p)."""
        return ratio_test(self._at, self.coefficients, self.height, contrasts)

    def share(self, row: ArrayLike) -> float:
        """Share that passes at one row of the model matrix, 0 to 1."""
        return float(special.expit(np.asarray(row, dtype=float) @ self.coefficients))

    def _at(self, b: Floats) -> tuple[float, Floats, Floats]:
        return penalised(self.x, self.passed, b)


def fit_firth(x: ArrayLike, passed: ArrayLike) -> FirthFit:
    """Fit a penalised logistic regression.

    Parameters
    ----------
    x
        Model matrix (n, p), its columns independent.
    passed
        1 or True where a coupon passed, shape (n,).

    Raises
    ------
    NotEstimable
        Every coupon passed, or none did; or a column can be made from the columns before it.
    """
    matrix = np.asarray(x, dtype=float)
    orthonormal_basis(matrix)
    y = np.asarray(passed, dtype=float)
    if y.shape != (len(matrix),) or not np.all((y == 0) | (y == 1)):
        raise ValueError(f"passed must be {len(matrix)} zeros and ones")
    if y.min() == y.max():
        every = "passed" if y[0] else "failed"
        raise NotEstimable(
            f"all {len(y)} coupons {every}: nothing tells the settings apart",
            hint="the share itself still has an exact interval; a harder test tells more",
        )

    def at(b: Floats) -> tuple[float, Floats, Floats]:
        return penalised(matrix, y, b)

    best, height = climb(at, np.zeros(matrix.shape[1]))
    covariance = inverse(at(best)[2])
    return FirthFit(matrix, y, best, covariance, height)


def penalised(x: Floats, y: Floats, b: Floats) -> tuple[float, Floats, Floats]:
    """Penalised log likelihood at coefficients `b` (p,), its slope and the information."""
    linear = x @ b
    p = special.expit(linear)
    # p (1 - p) in logs: far out the information vanishes, and its logarithm must not.
    log_weight = special.log_expit(linear) + special.log_expit(-linear)
    weight = np.exp(log_weight)
    shift = float(log_weight.max())
    part = x * np.exp((log_weight - shift) / 2)[:, None]
    information = (part.T @ part) * np.exp(shift)
    sign, log_det = np.linalg.slogdet(part.T @ part)
    if sign <= 0 or not np.isfinite(log_det):
        return -np.inf, np.zeros_like(b), information
    likelihood = float(y @ special.log_expit(linear) + (1 - y) @ special.log_expit(-linear))
    leverage = weight * np.einsum("ij,ji->i", x, np.linalg.solve(information, x.T))
    slope = x.T @ (y - p + leverage * (0.5 - p))
    return float(likelihood + (log_det + len(b) * shift) / 2), slope, information
