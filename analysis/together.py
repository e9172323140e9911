"""How the scatter of several responses goes together, from what their fits leave over.

Residuals of the same coupons, centred within set-ups, show how coupons go together; their set-up
means, centred within rounds, show how set-ups do.  A few set-ups say little of the latter, so
their correlation is drawn towards that of the coupons as if `BORROWED` more set-ups had shown it
(a rule of our own).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from weldtrial.analysis.fitted import FittedSurface, Joint, Passing
from weldtrial.analysis.linear import Floats
from weldtrial.analysis.observations import Observation

BORROWED = 4.0
FEWEST = 4
"""Coupons read for both responses, below which nothing is said of how they go together."""


def joint_of(
    surfaces: Sequence[FittedSurface],
    measured: Sequence[Sequence[Observation]],
    passing: Sequence[Passing] = (),
) -> Joint:
    """Put several fitted responses together.

    Parameters
    ----------
    surfaces, measured
        Each response's surface and the observations it was fitted to; coupons are matched by
        their stamps.  A reading past the gauge counts here as the limit it was past.
    passing
        Responses that pass or fail.
    """
    count = len(surfaces)
    by_setups = any(one.df_setup is not None for one in surfaces)
    leftovers = [_left(one, seen) for one, seen in zip(surfaces, measured, strict=True)]
    within, between = np.eye(count), np.eye(count)
    df = min((one.df_setup or 0.0 for one in surfaces), default=0.0)
    for r in range(count):
        for s in range(r):
            coupons, setups = _pair(leftovers[r], leftovers[s], by_setups)
            mixed = (df * setups + BORROWED * coupons) / (df + BORROWED) if by_setups else coupons
            within[r, s] = within[s, r] = coupons
            between[r, s] = between[s, r] = mixed
    sizes = [_size(seen) for seen in measured] if by_setups else [1.0]
    return Joint(
        tuple(surfaces),
        nearest_correlation(within),
        nearest_correlation(between),
        float(np.mean(sizes)),
        tuple(passing),
    )


def nearest_correlation(matrix: Floats) -> Floats:
    """Return a correlation matrix without negative eigenvalues, close to `matrix`.

    Correlations of different pairs of coupons need not fit together; negative eigenvalues are set
    to nearly 0 and the diagonal is brought back to 1.
    """
    values, vectors = np.linalg.eigh(matrix)
    if values[0] > 1e-10:
        return matrix
    kept = (vectors * np.maximum(values, 1e-10)) @ vectors.T
    scale = np.sqrt(np.diag(kept))
    return np.asarray(kept / np.outer(scale, scale))


_Left = dict[str, tuple[float, int, int]]
"""By stamp: what is left over, set-up, round."""


def _left(surface: FittedSurface, measured: Sequence[Observation]) -> _Left:
    means = surface.mean([one.point for one in measured])
    return {
        one.stamp: (one.value - float(mean), one.setup or 0, one.round or 0)
        for one, mean in zip(measured, means, strict=True)
    }


def _pair(first: _Left, second: _Left, by_setups: bool) -> tuple[float, float]:
    """Return the correlation between coupons and between set-up means."""
    both = [stamp for stamp in first if stamp in second]
    if len(both) < FEWEST:
        return 0.0, 0.0
    values = np.array([[first[stamp][0], second[stamp][0]] for stamp in both])
    setup = np.array([first[stamp][1] for stamp in both])
    rounds = np.array([first[stamp][2] for stamp in both])
    if not by_setups:
        return _correlation(_centred(values, rounds)), 0.0
    coupons = _correlation(_centred(values, setup))
    codes, first_of = np.unique(setup, return_index=True)
    means = np.array([values[setup == code].mean(axis=0) for code in codes])
    return coupons, _correlation(_centred(means, rounds[first_of]))


def _centred(values: Floats, groups: np.ndarray[tuple[int], np.dtype[np.int64]]) -> Floats:
    found = values.copy()
    for group in np.unique(groups):
        found[groups == group] -= values[groups == group].mean(axis=0)
    return found


def _correlation(values: Floats) -> float:
    """Return the correlation of two columns centred already, 0 where one of them is nothing."""
    squares = (values**2).sum(axis=0)
    if not np.all(squares > 0):
        return 0.0
    return float(np.clip(values[:, 0] @ values[:, 1] / np.sqrt(np.prod(squares)), -0.999, 0.999))


def _size(measured: Sequence[Observation]) -> float:
    """Return the harmonic mean of the coupons of a set-up."""
    _, counts = np.unique([one.setup or 0 for one in measured], return_counts=True)
    return float(len(counts) / np.sum(1 / counts))
