"""Censored tests of one contrast in thousands of responses on one layout, for power and rehearsal.

The same fits and the same t as `fit_censored` with `profile`, and `fit_censored_setups` with
`profile_setups`, all responses climbing together.  A response that cannot be estimated is flagged
and its t is not a number; nothing is raised for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from weldtrial.analysis.censored import NO_SCATTER, effective_size
from weldtrial.analysis.censored_climb import Coupons, Flags, Readings, climb, held
from weldtrial.analysis.censored_readings import Scaled, cannot, read_in
from weldtrial.analysis.censored_restricted import HIGHEST_RATIO, Setups, SigmaKnown, find_ratio
from weldtrial.analysis.censored_setups import (
    LEAST_SETUP_DF,
    inside_model,
    known_df,
    membership,
    within_setups,
)
from weldtrial.analysis.linear import Floats, contrast_rows
from weldtrial.analysis.setup_layout import lay_out

CHUNK = 4000
SETUP_CHUNK = 400
NODES = 12
GRID = 8
REFINE = 4
ENOUGH = 1e-7
ALONE = 1e-10
"""Newton decrement at which a climb stops, with set-ups and without."""


@dataclass(frozen=True, slots=True, eq=False)
class CensoredBatch:
    """One contrast in m responses, tested at k values.

    Attributes
    ----------
    estimate
        Shape (m,), response unit; very far out where a level lies wholly beyond a limit.
    t
        Shape (k, m): above 0 where the estimate is higher than the value.
    df
        Degrees of freedom, shape (m,).
    cannot
        Responses that cannot be estimated, shape (m,); their estimate and t are not numbers.
    beyond
        Coupons beyond a limit, shape (m,).
    """

    estimate: Floats
    t: Floats
    df: Floats
    cannot: Flags
    beyond: Floats

    @property
    def p(self) -> Floats:
        """Two-sided p of the contrast having each value, shape (k, m)."""
        return np.asarray(2.0 * special.stdtr(self.df, -np.abs(self.t)))

    def above(self, confidence: float = 0.95) -> Flags:
        """Whether the two-sided interval lies wholly above each value, shape (k, m)."""
        return np.asarray(self.t > special.stdtrit(self.df, 0.5 + confidence / 2.0))

    def below(self, confidence: float = 0.95) -> Flags:
        """Whether the two-sided interval lies wholly below each value, shape (k, m)."""
        return np.asarray(self.t < -special.stdtrit(self.df, 0.5 + confidence / 2.0))


def batch_censored(
    x: ArrayLike,
    lows: ArrayLike,
    highs: ArrayLike,
    contrast: ArrayLike,
    values: Sequence[float] = (0.0,),
    setup: ArrayLike | None = None,
) -> CensoredBatch:
    """Test one contrast (p,) at `values` in every column of `lows`, `highs` (n, m).

    Parameters
    ----------
    x
        Model matrix (n, p), independent columns.
    lows, highs
        Ends of the readings.
    values
        k values of the contrast, response unit.
    setup
        Set-up of every coupon (n,); None where every coupon varies on its own.

    Raises
    ------
    NotEstimable
        Columns repeat one another, or set-up and coupon scatter cannot be told apart.
    """
    low, high = np.asarray(lows, dtype=float), np.asarray(highs, dtype=float)
    size = CHUNK if setup is None else SETUP_CHUNK
    parts = [
        _part(x, low[:, i : i + size], high[:, i : i + size], contrast, values, setup)
        for i in range(0, low.shape[1], size)
    ]
    return CensoredBatch(
        np.concatenate([part.estimate for part in parts]),
        np.concatenate([part.t for part in parts], axis=1),
        np.concatenate([part.df for part in parts]),
        np.concatenate([part.cannot for part in parts]),
        np.concatenate([part.beyond for part in parts]),
    )


def _part(
    x: ArrayLike,
    low: Floats,
    high: Floats,
    contrast: ArrayLike,
    values: Sequence[float],
    setup: ArrayLike | None,
) -> CensoredBatch:
    row = contrast_rows(contrast, np.shape(x)[1])[0]
    if setup is not None and within_setups(lay_out(x, setup), row):
        x, row = inside_model(lay_out(x, setup), row)
        setup = None
    scaled = read_in(x, low, high)
    refused = cannot(scaled)
    readings = scaled.readings
    beyond = (readings.above | readings.below).sum(axis=1).astype(float)
    m = len(refused)
    estimate, t, df = np.full(m, np.nan), np.full((len(values), m), np.nan), np.full(m, np.nan)
    keep = ~refused
    if keep.any():
        part = Scaled(
            scaled.q,
            scaled.r,
            scaled.ones,
            readings.rows(keep),
            scaled.centre[keep],
            scaled.scale[keep],
        )
        solve = _alone(part, row, values) if setup is None else _setups(x, part, row, values, setup)
        estimate[keep], t[:, keep], df[keep], bad = solve
        refused[np.flatnonzero(keep)[bad]] = True
        estimate[refused], t[:, refused], df[refused] = np.nan, np.nan, np.nan
    return CensoredBatch(estimate, t, df, refused, beyond)


_Solved = tuple[Floats, Floats, Floats, Flags]


def _alone(scaled: Scaled, row: Floats, values: Sequence[float]) -> _Solved:
    """Every coupon on its own: likelihood ratio, turned into t."""
    peaks = climb(Coupons(scaled.q, scaled.readings), enough=ALONE)
    size = effective_size(scaled.q, scaled.readings, peaks)
    df = size - scaled.q.shape[1]
    line = scaled.contrast(row)
    estimate = _in_units(scaled, row, peaks.gamma @ line / peaks.theta)
    free, shift = held(scaled.q, line)
    start = (peaks.gamma @ np.linalg.svd(line[None, :])[2][1:].T, peaks.theta)
    t = []
    for value in values:
        moved = _moved(scaled, row, value, shift)
        lost = 2.0 * (
            peaks.log_likelihood - climb(Coupons(free, moved), start, enough=ALONE).log_likelihood
        )
        square = df * np.expm1(np.minimum(np.maximum(lost, 0.0) / size, 700.0))
        t.append(np.copysign(np.sqrt(square), estimate - value))
    return estimate, np.array(t), df, (peaks.theta > NO_SCATTER) | ~peaks.met


def _setups(
    x: ArrayLike, scaled: Scaled, row: Floats, values: Sequence[float], setup: ArrayLike
) -> _Solved:
    """Set-ups random: likelihood ratio at the scatter of the restricted likelihood."""
    layout = lay_out(x, setup)
    hill = Setups(scaled.q, scaled.readings, membership(layout), NODES, ENOUGH)
    ratio, gamma, theta = find_ratio(hill, GRID, REFINE)
    peaks = hill.climb(ratio, (gamma, theta), SigmaKnown)
    line = scaled.contrast(row)
    estimate = _in_units(scaled, row, peaks.gamma @ line / theta)
    free, shift = held(scaled.q, line)
    start = (peaks.gamma @ np.linalg.svd(line[None, :])[2][1:].T, theta)
    t = []
    for value in values:
        moved = Setups(free, _moved(scaled, row, value, shift), hill.member, NODES, ENOUGH)
        lower = moved.climb(ratio, start, SigmaKnown).log_likelihood
        square = 2.0 * np.maximum(peaks.log_likelihood - lower, 0.0)
        t.append(np.copysign(np.sqrt(square), estimate - value))
    read = scaled.readings.exact | scaled.readings.inside
    hidden = (known_df(layout, read) < 1) | (layout.df_setup < LEAST_SETUP_DF)
    bad = (theta > NO_SCATTER) | (ratio > 0.5 * HIGHEST_RATIO) | hidden
    return estimate, np.array(t), np.full(len(bad), float(layout.df_setup)), bad


def _in_units(scaled: Scaled, row: Floats, moved: Floats) -> Floats:
    return np.asarray(moved * scaled.scale + scaled.centre * (row @ scaled.ones))


def _moved(scaled: Scaled, row: Floats, value: float, shift: Floats) -> Readings:
    at = scaled.value(row, np.full(len(scaled.scale), value))
    return scaled.readings.moved(at[:, None] * shift, np.ones(len(at)))
