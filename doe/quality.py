"""What a design can and cannot tell, in numbers: all of it gathered for one laid-out trial."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from weldtrial.doe.blurred import Blurred, Leak, blurred, effects_up_to_two, inflations, leaks
from weldtrial.doe.expected_widths import Width, expected_widths
from weldtrial.doe.fitted import fitted
from weldtrial.doe.information import Codes, Matrix, Scatter
from weldtrial.doe.laid_out import Layout
from weldtrial.doe.left_to_tell import Design
from weldtrial.doe.losses_of_design import Losses, losses
from weldtrial.doe.matrix import PlannedMatrix, planned_matrix
from weldtrial.doe.prediction_error import PredictionError, prediction_error
from weldtrial.shared.coding import contrast_columns
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import Term
from weldtrial.shared.trial import Trial

RATIO = 1.0
"""Set-up variance in coupon variances where nothing is known of it (Goos & Vandebroek 2001)."""


@dataclass(frozen=True, slots=True)
class Quality:
    """What a design can and cannot tell.

    Attributes
    ----------
    widths
        What to expect of every term that the design tells.
    inflations
        How many times the variance of each is what it would be by itself, in the same order.
    blurred
        How closely every two effects travel together, up to two factors.
    leaks
        What effects that the model leaves out do to those it tells.
    prediction
        How well the fitted mean is known over the region allowed; None where the rules leave none.
    losses
        What is lost with a set-up, a coupon or two; None for fewer than three coupons.
    points
        The coded point of every counting coupon, in the order of `losses`.
    setups
        Set-up of every coupon, None where each is set up anew.
    ratio
        Set-up variance in coupon variances that everything is worked out with; 0 without set-ups.
    ratio_known
        Whether the scatters to plan with said it; otherwise it is `RATIO`.
    """

    widths: tuple[Width, ...]
    inflations: tuple[float, ...]
    blurred: Blurred
    leaks: tuple[Leak, ...]
    prediction: PredictionError | None
    losses: Losses | None
    points: tuple[Mapping[str, str | float], ...]
    setups: tuple[int, ...] | None
    ratio: float
    ratio_known: bool


def quality(trial: Trial, layout: Layout, scatter: Scatter | None) -> Quality:
    """Work out what a laid-out trial can and cannot tell.

    Parameters
    ----------
    scatter
        Of the response that decides; None where it is not known: then there are variances and no
        half-widths, and set-ups are taken to scatter as coupons do.  Without set-ups `coupon` is
        the scatter between coupons that are each set up anew.
    """
    planned = planned_matrix(trial, layout)
    blocks = planned.matrix.shape[1] - sum(map(len, planned.columns))
    setup = _worth_telling(planned.setup)
    ratio = 0.0 if setup is None else RATIO if scatter is None else scatter.ratio
    if planned.setup is not None and setup is None and scatter is not None:
        # A set-up of one coupon: the two scatters are one.
        scatter = Scatter(float(np.hypot(scatter.coupon, scatter.setup)))
    coupon = None if scatter is None else scatter.coupon
    strata = layout.strata
    dfs = (strata.between_df, strata.within_df)
    if planned.setup is not None and setup is None:
        dfs = (0, strata.between_df)
    fit = fitted(planned.matrix, planned.terms, planned.columns, setup, ratio, dfs)
    design = Design(
        planned.matrix, blocks, setup, ratio, trial.varied, planned.terms, planned.columns
    )
    return Quality(
        widths=expected_widths(trial.varied, fit, coupon),
        inflations=inflations(planned.matrix, planned.columns, blocks, setup, ratio),
        blurred=_blurred(trial, layout, planned, blocks),
        leaks=_leaks(trial, layout, planned, ratio),
        prediction=prediction_error(trial, fit, coupon),
        losses=losses(design) if len(planned.matrix) > 2 else None,
        points=points_of(trial, layout),
        setups=None if planned.setup is None else tuple(planned.setup.tolist()),
        ratio=ratio,
        ratio_known=scatter is not None,
    )


def _worth_telling(setup: Codes | None) -> Codes | None:
    """Return the set-ups, None where each holds one coupon: nothing is then told within them."""
    return None if setup is None or np.bincount(setup).max() == 1 else setup


def _blurred(trial: Trial, layout: Layout, planned: PlannedMatrix, blocks: int) -> Blurred:
    effects = effects_up_to_two(trial.varied, planned.terms)
    every = planned_matrix(trial, layout, effects)
    matrix = _first_to_last(trial, effects, every)
    return blurred([one.name for one in effects], matrix, every.columns, blocks)


def _first_to_last(trial: Trial, terms: tuple[Term, ...], planned: PlannedMatrix) -> Matrix:
    """Return the matrix with the signs of effects for eyes: from the first level to the last.

    Sum-to-zero columns stand at +1 at the first level of a category.
    """
    matrix = planned.matrix.copy()
    for term, at in zip(terms, planned.columns, strict=True):
        turns = sum(trial.factor(name).kind == "category" for name in term.factors)
        if turns % 2:
            matrix[:, list(at)] *= -1.0
    return matrix


def _leaks(trial: Trial, layout: Layout, planned: PlannedMatrix, ratio: float) -> tuple[Leak, ...]:
    effects = effects_up_to_two(trial.varied, planned.terms)
    out = tuple(term for term in effects if term not in planned.terms)
    if not out:
        return ()
    beside = planned_matrix(trial, layout, out)
    return leaks(
        _first_to_last(trial, planned.terms, planned),
        [one.name for one in planned.terms],
        planned.columns,
        _first_to_last(trial, out, beside),
        [one.name for one in out],
        beside.columns,
        _worth_telling(planned.setup),
        ratio,
    )


def points_of(trial: Trial, layout: Layout) -> tuple[Mapping[str, str | float], ...]:
    """Return the coded point of every counting coupon, in the order of `planned_matrix`."""
    terms = tuple(Term(((factor.name, 1),)) for factor in trial.varied)
    found = planned_matrix(trial, layout, terms)
    return tuple(
        {
            factor.name: _read(factor, row[list(at)])
            for factor, at in zip(trial.varied, found.columns, strict=True)
        }
        for row in found.matrix
    )


def _read(factor: Factor, values: Matrix) -> str | float:
    """Return the coded number, or the level, that the columns of a main effect stand for."""
    if factor.kind == "numeric":
        return float(values[0])
    coded = np.array([contrast_columns(factor, level) for level in factor.levels])
    return factor.levels[int(np.abs(coded - values).sum(axis=1).argmin())]
