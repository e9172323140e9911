"""Frames in, findings out: published split plots and designs from a notebook."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from weldtrial.analysis.frames import (
    analyse_frame,
    comparisons_frame,
    coupons_frame,
    effects_frame,
)

DATA = Path(__file__).parents[1] / "reference" / "data"


def test_oats_split_plot() -> None:
    """Yates (1935), R's numbers in the case: varieties on 10, nitrogen on 45 df."""
    oats = pd.read_csv(DATA / "splitplot-oats.csv")
    found = analyse_frame(
        oats, "Y", ["V", "N"], setup="V", block="B", unit="1", reference={"V": "Victory"}
    )
    tests = {t.term: t for t in found.tests}
    assert found.method == "kenward-roger"
    assert tests["V"].df_den == pytest.approx(10)
    assert tests["V"].statistic == pytest.approx(1.4853, abs=5e-5)
    assert tests["V"].p == pytest.approx(0.2724, abs=5e-5)
    assert tests["N"].statistic == pytest.approx(37.6856, abs=5e-5)
    assert tests["N"].df_den == pytest.approx(45)
    assert tests["V:N"].statistic == pytest.approx(0.3028, abs=5e-5)
    frame = comparisons_frame(found)
    assert set(frame["reference"][frame["factor"] == "V"]) == {"Victory"}
    assert frame["p_adjusted"].notna().all()


def test_steel_bars_with_numbers_as_labels() -> None:
    """Box, Hunter & Hunter, 2nd ed., section 9.1: furnace heats are the whole plots."""
    bars = pd.read_csv(DATA / "splitplot-steel-bars.csv")
    found = analyse_frame(
        bars,
        "resistance",
        ["temperature", "coating"],
        categories=["temperature", "coating"],
        setup="furnace_run",
    )
    tests = {t.term: t for t in found.tests}
    assert tests["temperature"].statistic == pytest.approx(2.75, abs=5e-3)
    assert tests["temperature"].p == pytest.approx(0.209, abs=5e-4)
    assert tests["coating"].statistic == pytest.approx(11.48, abs=5e-3)
    assert tests["temperature:coating"].statistic == pytest.approx(4.376, abs=5e-4)


def test_readings_of_one_coupon_are_averaged() -> None:
    frame = pd.DataFrame(
        {
            "gas": np.repeat(["mix", "co2"], 8),
            "piece": np.repeat(np.arange(8), 2),
            "depth": np.random.default_rng(1).normal(2, 0.2, 16),
        }
    )
    found = analyse_frame(frame, "depth", ["gas"], coupon="piece", unit="mm", margin="10 %")
    assert found.n == 8
    assert found.variance.reading is not None
    assert list(coupons_frame(found)["value"]) == pytest.approx(
        list(frame.groupby("piece")["depth"].mean())
    )
    assert found.comparisons[0].margin_percent == pytest.approx(10)
    assert list(effects_frame(found)["term"]) == ["gas"]


def test_missing_columns_and_levels_are_named() -> None:
    frame = pd.DataFrame({"gas": ["a", "b"], "y": [1.0, 2.0]})
    with pytest.raises(ValueError, match="no column 'load'"):
        analyse_frame(frame, "load", ["gas"])
    with pytest.raises(ValueError, match="'c' is not a level of gas"):
        analyse_frame(frame, "y", ["gas"], reference={"gas": "c"})
