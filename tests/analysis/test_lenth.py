"""Lenth's method against simulated critical values in print and a published weld trial."""

from __future__ import annotations

import csv
from itertools import combinations
from math import sqrt
from pathlib import Path

import numpy as np
import pytest

from weldtrial.analysis.lenth import Lenth, pseudo_standard_error
from weldtrial.shared.problems import NotEstimable

RAILWAY = Path(__file__).parents[1] / "reference" / "data" / "weld-railway-2x9-5.csv"

# Ye & Hamada (2000), J. Qual. Technol. 32, 57-66, 5 % level, individual and experiment-wise.
CRITICAL = {7: (2.297, 4.873), 15: (2.155, 4.226), 31: (2.063, 3.918)}


@pytest.mark.parametrize("m", CRITICAL)
def test_simulated_critical_values(m: int) -> None:
    yardstick = Lenth(m, 1.0, 1.0)
    each, largest = CRITICAL[m]
    assert yardstick.critical() == pytest.approx(each, abs=0.006)
    assert yardstick.critical(together=True) == pytest.approx(largest, abs=0.04)
    assert yardstick.p(yardstick.critical()) == pytest.approx(0.05, abs=1e-4)


def test_weld_strength_fraction() -> None:
    """Taguchi & Wu (1980), Box & Meyer (1986): 16 welds, 15 contrasts; drying and material."""
    with RAILWAY.open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    strength = np.array([float(row.pop("Strength")) for row in rows])
    signs = {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}
    contrasts = {name: float(column @ strength) / 8 for name, column in signs.items()}
    basis = dict(signs)
    for a, b in combinations(signs, 2):
        product = signs[a] * signs[b]
        if all(abs(product @ column) < 1e-9 for column in basis.values()):
            basis[f"{a}:{b}"] = product
            contrasts[f"{a}:{b}"] = float(product @ strength) / 8
    assert len(contrasts) == 15
    s0, pse = pseudo_standard_error(np.array(list(contrasts.values())))
    assert (s0, pse) == pytest.approx((0.45, 0.225))
    yardstick = Lenth.of(np.array(list(contrasts.values())))
    beyond = yardstick.critical(together=True) * pse
    assert {name for name, value in contrasts.items() if abs(value) > beyond} == {
        "Drying", "Material",
    }  # fmt: skip


def test_false_alarms_keep_their_level() -> None:
    generator = np.random.default_rng(7)
    trials, hits = 2_000, 0
    for _ in range(trials):
        contrasts = generator.normal(size=15)
        yardstick = Lenth.of(contrasts)
        hits += abs(contrasts[0]) > yardstick.critical() * yardstick.pse
    assert abs(hits / trials - 0.05) <= 3 * sqrt(0.05 * 0.95 / trials)


def test_too_few_contrasts_are_refused() -> None:
    with pytest.raises(NotEstimable, match="at least 7"):
        Lenth.of(np.arange(1.0, 7.0))
    with pytest.raises(NotEstimable, match="half of the contrasts are zero"):
        Lenth.of(np.zeros(7))
