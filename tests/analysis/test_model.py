"""Which terms, which stratum, which method."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from weldtrial.analysis.model import (
    KENWARD_ROGER,
    LEAST_SQUARES,
    WITHIN,
    fit_model,
)
from weldtrial.analysis.model_frame import sum_to_zero
from weldtrial.analysis.observations import Observation, as_run_points, observe
from weldtrial.shared.problems import NotEstimable
from weldtrial.shared.record import Record
from weldtrial.shared.terms import model_terms
from weldtrial.shared.trial import Trial

Bench = Callable[..., Record]


def seen(trial: Trial, record: Record) -> tuple[Observation, ...]:
    return observe(trial, record, trial.responses[0]).observations


def test_method_follows_the_randomisation(trial: Trial, bench: Bench) -> None:
    terms = model_terms(trial.varied, "two-factor")
    many = seen(trial, bench(trial))
    assert fit_model(trial.varied, terms, many).method == KENWARD_ROGER
    assert fit_model(trial.varied, terms, many, setups=False).method == LEAST_SQUARES
    singles = [o for k, o in enumerate(many) if k % 4 == 0]
    gas = model_terms(trial.varied[:1], "main")
    assert fit_model(trial.varied[:1], gas, singles).method == LEAST_SQUARES
    one_round = [o for o in many if o.round == 1]
    within = fit_model(trial.varied, terms, one_round)
    assert within.method == WITHIN
    assert [left.term for left in within.left_out] == ["gas"]
    assert set(within.model.columns) == {"travel", "gas:travel"}


def test_whole_plot_and_sub_plot_terms_have_their_own_df(trial: Trial, bench: Bench) -> None:
    """Balanced strata: 5 df between 12 set-ups in 6 rounds; within, 36 less two terms."""
    terms = model_terms(trial.varied, "two-factor")
    tests = {t.term: t.df_den for t in fit_model(trial.varied, terms, seen(trial, bench(trial)))
             .tests()}  # fmt: skip
    assert tests["gas"] == pytest.approx(5, rel=1e-6)
    assert tests["travel"] == pytest.approx(34, rel=1e-6)
    assert tests["gas:travel"] == pytest.approx(34, rel=1e-6)


def test_empty_cell_leaves_its_interaction_out_and_names_it(trial: Trial, bench: Bench) -> None:
    terms = model_terms(trial.varied, "two-factor")
    some = [
        o for o in seen(trial, bench(trial))
        if not (o.levels["gas"] == "co2" and o.levels["travel"] == "high")
    ]  # fmt: skip
    fit = fit_model(trial.varied, terms, some)
    assert [left.term for left in fit.left_out] == ["gas:travel"]
    assert "travel" in fit.left_out[0].tied_to


def test_too_few_coupons_is_said_not_guessed(trial: Trial, bench: Bench) -> None:
    terms = model_terms(trial.varied, "two-factor")
    with pytest.raises(NotEstimable):
        fit_model(trial.varied, terms, seen(trial, bench(trial))[:1])


def test_sum_to_zero_columns_of_blocks() -> None:
    columns = sum_to_zero(["a", "a", "b", "c"])
    assert columns.tolist() == [[1, 0], [1, 0], [0, 1], [-1, -1]]
    assert sum_to_zero([None, None]).shape == (2, 0)


def test_as_run_settings_replace_easy_ones_only(trial: Trial, bench: Bench) -> None:
    record = bench(trial)
    written = replace(
        record,
        coupons=tuple(replace(c, as_run={"travel": 45.0, "voltage": 99.0}) for c in record.coupons),
    )
    points = as_run_points(trial.varied, written, seen(trial, written))
    assert points is not None
    assert all(np.isclose(float(point["travel"]), 0.5) for point in points)
    assert as_run_points(trial.varied, record, seen(trial, record)) is None
