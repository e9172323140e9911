"""Curvature from centre points against the handbook's split."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from weldtrial.analysis.curvature import curvature
from weldtrial.analysis.observations import Observation
from weldtrial.shared.factors import Factor
from weldtrial.shared.terms import model_terms

DATA = Path(__file__).parents[1] / "reference" / "data"
FACTORS = [
    Factor("x1", "numeric", ("-1", "1"), unit="1", settings={"": (-1, 1)}),
    Factor("x2", "numeric", ("-1", "1"), unit="1", settings={"": (-1, 1)}),
]


def observed(*, centre: bool = True) -> list[Observation]:
    with (DATA / "nist-hb-chemical-phase1.csv").open(encoding="utf-8") as stream:
        table = list(csv.DictReader(stream))
    rows = [
        ({name: float(row[name]) for name in ("x1", "x2")}, float(row["yield"])) for row in table
    ]
    return [
        Observation(f"S{k}", k, None, None, {}, point, value, ())
        for k, (point, value) in enumerate(rows)
        if centre or any(point.values())
    ]


def test_handbook_curvature() -> None:
    """NIST/SEMATECH e-Handbook 5.5.3.1.1: first-order model, F = 0.1577, p = 0.7077 on 1 and 5."""
    expected = json.loads((DATA / "nist-hb-chemical-phase1.json").read_text())["expected"]["anova"]
    found = curvature(FACTORS, model_terms(FACTORS, "main"), observed())
    assert found is not None
    assert (found.df_num, found.df_den) == (1, 5)
    assert found.statistic == pytest.approx(expected["curvature_F"], abs=5e-5)
    assert found.p == pytest.approx(expected["curvature_p"], abs=5e-5)


def test_nothing_to_see_without_centre_points_or_with_squares() -> None:
    assert curvature(FACTORS, model_terms(FACTORS, "main"), observed(centre=False)) is None
    assert curvature(FACTORS, model_terms(FACTORS, "quadratic"), observed()) is None
